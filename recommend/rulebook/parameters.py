"""Named numbers with unit and source, read from ``rules/parameters/*.yaml``.

Each file is one group; ``cutoff`` in ``capture.yaml`` is known as ``capture.cutoff``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from recommend.errors import InputError, Place, RecommendError, nearest
from recommend.reading import Strict, validate
from recommend.reading.texts import Texts

Kind = Literal["published", "derived", "common-practice", "from-memory", "assumption"]


class Figure(Strict):
    """A bare number and where it comes from; its unit and meaning stand where it is used.

    `kind` says what stands behind it: a ``published`` value names its `source` in
    ``rules/sources.yaml``; a ``derived`` one follows from published figures by the arithmetic
    that its `note` states; ``common-practice`` has no source; ``from-memory`` is to be
    verified; an ``assumption`` is our engineering choice. `range` is within what it may
    plausibly lie.
    """

    value: float
    kind: Kind
    source: str | None = None
    note: str = ""
    range_: Annotated[list[float], Field(min_length=2, max_length=2)] | None = Field(
        default=None, alias="range"
    )

    @model_validator(mode="after")
    def _lies_in_its_range(self) -> Figure:
        if self.range_ is not None and not self.range_[0] <= self.value <= self.range_[1]:
            raise ValueError("the value lies outside its own `range` (lowest, highest)")
        return self

    @model_validator(mode="after")
    def _published_names_its_source(self) -> Figure:
        if self.kind == "published" and not self.source:
            raise ValueError("a published value names its `source` (an id in sources.yaml)")
        if self.kind == "derived" and not (self.source and self.note):
            raise ValueError("a derived value names its `source` and its arithmetic in `note`")
        return self


class Sourced(Figure):
    """One named number with its unit, its meaning and where it comes from."""

    unit: str
    title: str


class ParametersFile(Strict):
    """A file of ``parameters/``: one group of numbers."""

    title: str
    values: dict[str, Sourced] = Field(min_length=1)


@dataclass(frozen=True, eq=False)
class Parameters(Mapping[str, float]):
    """All named numbers; indexed by ``group.name`` it gives the bare value."""

    sourced: Mapping[str, Sourced]
    places: Mapping[str, Place]

    @classmethod
    def load(cls, folder: Path) -> Parameters:
        """Read every ``*.yaml`` in `folder`; errors as `of` raises them."""
        return cls.of(Texts.of_folder(folder, "*.yaml"), "")

    @classmethod
    def of(cls, texts: Texts, folder: str = "parameters") -> Parameters:
        """Read every file directly in a folder of `texts`.

        Raises
        ------
        InputError
            If a file does not fit the schema.
        """
        sourced: dict[str, Sourced] = {}
        places: dict[str, Place] = {}
        for file in texts.under(folder or "."):
            document, group = texts.document(file), Path(file).stem
            for name, value in validate(ParametersFile, document).values.items():
                sourced[f"{group}.{name}"] = value
                places[f"{group}.{name}"] = document.place(("values", name), key=True)
        if not sourced:
            raise InputError(texts.place(folder), "no parameter files (*.yaml) are here")
        return cls(sourced, places)

    def __getitem__(self, name: str) -> float:
        try:
            return self.sourced[name].value
        except KeyError:
            group, _, key = name.partition(".")
            hint = nearest(name, self.sourced)
            raise RecommendError(
                f"no parameter is called `{name}`; add `{key}` to parameters/{group}.yaml"
                + (f", or {hint}" if hint else ".")
            ) from None

    def __contains__(self, name: object) -> bool:
        return name in self.sourced

    def since(self, name: str, before: float) -> float:
        """A number that rulebooks of earlier versions do not name; `before` stands for it there."""
        return self.sourced[name].value if name in self.sourced else before

    def __iter__(self) -> Iterator[str]:
        return iter(self.sourced)

    def __len__(self) -> int:
        return len(self.sourced)
