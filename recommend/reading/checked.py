"""From plain data to checked models, with errors that name file, line and column."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from recommend.errors import InputError, nearest
from recommend.reading.allowed import described, keys_of, spot_at, words_of
from recommend.reading.document import Document
from recommend.reading.plain_data import Loc

# A name that rules may use; its plain letters and hyphens mean the same to every engine.
Words = Annotated[str, Field(pattern=r"\S", description="words, for somebody reads them")]
Id = Annotated[
    str,
    Field(
        pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$",
        max_length=80,
        description="small letters and digits joined by hyphens, such as deep-heel-cup",
    ),
]


def kebab(name: str) -> str:
    """The spelling of a field in a file: words joined by hyphens."""
    return name.replace("_", "-")


class Strict(BaseModel):
    """Base of every model read from a file: frozen, no unknown keys, keys with hyphens."""

    model_config = ConfigDict(
        alias_generator=kebab,
        allow_inf_nan=False,
        defer_build=True,  # a nested model is built as part of the one that is read
        extra="forbid",
        frozen=True,
        populate_by_name=True,
        str_strip_whitespace=True,
    )


def told_apart(models: Mapping[str, tuple[Any, ...]]) -> Callable[[Any], str | None]:
    """What tells apart models that may stand in one place, for a `Discriminator`.

    Parameters
    ----------
    models : by tag, the model, and the keys of which it has one that none before it has.
    """

    def tag_of(value: Any) -> str | None:
        for tag, (model, *keys) in models.items():
            written = isinstance(value, dict)
            if any(key in value for key in keys) if written else isinstance(value, model):
                return tag
        return None

    return tag_of


_PLAIN_NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?")
Model = TypeVar("Model", bound=BaseModel)


def validate(
    model: type[Model], document: Document, loc: Loc = (), *, from_text: bool = False
) -> Model:
    """Check the part of `document` at `loc` against `model`.

    Nothing is converted: text in quotes is no number, and true and false are no 1 and 0. Where
    every value is text (the cells and heads of a table), `from_text` lets text be a number.

    Raises
    ------
    InputError
        For the first thing that does not fit, with its place and the nearest known spelling.
    """
    checked, problems = problems_in(model, document, loc, from_text=from_text)
    if checked is None:
        raise problems[0]
    return checked


def problems_in(
    model: type[Model], document: Document, loc: Loc = (), *, from_text: bool = False
) -> tuple[Model | None, list[InputError]]:
    """The checked model, or everything that does not fit, each with its place."""
    data = document.data
    for step in loc:
        data = data[step]
    try:
        checked = model.model_validate(data, strict=not from_text, by_alias=True, by_name=False)
        return checked, []
    except ValidationError as error:
        worth = _worth_saying(error.errors(include_url=False))
    wordings = [_Wording(one, document, loc, model) for one in worth]
    once = {(one.loc, one.raw[-1:] == ("[key]",)): one for one in reversed(wordings)}
    return None, [one.error() for one in reversed(once.values())]


def _worth_saying(errors: list[ErrorDetails]) -> list[ErrorDetails]:
    """Unknown keys first; one explains a missing key beside it, which is then not said."""
    unknown_in = {e["loc"][:-1] for e in errors if e["type"] == "extra_forbidden"}
    kept = [e for e in errors if e["type"] != "missing" or e["loc"][:-1] not in unknown_in]
    return sorted(kept, key=lambda e: e["type"] != "extra_forbidden")


class _Wording:
    """The sentence for one thing that a validation found."""

    def __init__(
        self, first: ErrorDetails, document: Document, base: Loc, model: type[BaseModel]
    ) -> None:
        self.kind, self.input, self.document = first["type"], first["input"], document
        self.raw, self.message = first["loc"], first["msg"].removeprefix("Value error, ")
        self.loc = (*base, *self._resolved(base))
        self.spot = spot_at(model, self.raw)
        self.name = dotted(self.loc) or "the file"

    def error(self) -> InputError:
        if self.raw[-1:] == ("[key]",):
            return self._bad_key()
        if self.kind == "extra_forbidden":
            return self._unknown_key()
        if self.kind == "missing":
            return InputError(
                self.document.place(self.loc[:-1]),
                f"`{self.loc[-1]}` is missing{_inside(self.loc[:-1])}",
                mend=f"add a line `{self.loc[-1]}: ...` there",
            )
        place = self.document.place(self.loc)
        if self.kind == "value_error" and isinstance(self.input, (dict, list)):
            return InputError(place, f"{self._named()}: {self.message}")
        if self.kind in ("too_long", "too_short", "string_too_long", "string_too_short"):
            return self._wrong_size()
        allowed = self.message if self.kind == "value_error" else described(self.spot)
        return InputError(place, f"{self._named()} is {self._shown()}", allowed, self._mend())

    def _shown(self) -> str:
        return _shown(self.input, words=bool(words_of(self.spot)))

    def _named(self) -> str:
        return f"`{self.name}`" if self.loc else "the file"

    def _bad_key(self) -> InputError:
        place = self.document.place(self.loc, key=True)
        allowed = self.message if self.kind == "value_error" else described(self.spot)
        return InputError(
            place,
            f"the key `{self.loc[-1]}` stands{_inside(self.loc[:-1])}",
            allowed,
            "correct its spelling",
        )

    def _unknown_key(self) -> InputError:
        known = keys_of(self.spot)
        return InputError(
            self.document.place(self.loc, key=True),
            f"`{self.loc[-1]}` is not a known key{_inside(self.loc[:-1])}",
            ", ".join(sorted(known)),
            self._decimal_comma()
            or nearest(str(self.loc[-1]), known)
            or "remove it or correct its spelling",
        )

    def _decimal_comma(self) -> str:
        """How to mend ``{sitting: 26,5}``, which YAML reads as two entries; '' if not that."""
        data = self.document.data
        for step in self.loc[:-1]:
            data = data[step]
        keys = list(data)
        *before, key = keys[: keys.index(self.loc[-1]) + 1]
        whole = data[before[-1]] if before else None
        if not key.isdigit() or data[key] is not None or type(whole) is not int:
            return ""
        return f"write a decimal point: {before[-1]}: {whole}.{key}"

    def _wrong_size(self) -> InputError:
        count = len(self.input)
        what = "character" if isinstance(self.input, str) else "entry"
        many = {"character": "characters", "entry": "entries"}[what]
        found = f"has {count or 'no'} {what if count == 1 else many}"
        if isinstance(self.input, str) and not count:
            found = "is empty"
        mend = "shorten it" if self.kind.endswith("too_long") else "fill it in"
        return InputError(
            self.document.place(self.loc),
            f"{self._named()} {found}",
            described(self.spot),
            mend,
        )

    def _mend(self) -> str:
        known = words_of(self.spot)
        if known:
            text = self.input if isinstance(self.input, str) else ""
            return nearest(text, known) or nearest(text.lower(), known) or "choose one of these"
        allowed = described(self.spot)
        if self.input is None:
            return "fill it in, or leave the line out" if self.spot.optional else "fill it in"
        if allowed.startswith(("a number", "a whole number")):
            near = mend_number(self.input, whole="whole" in allowed, mm=allowed.endswith("mm"))
            left_out = ", or leave the line out if it is not known" if self.spot.optional else ""
            a_number = isinstance(self.input, (int, float)) and not isinstance(self.input, bool)
            return near or f"{'correct it' if a_number else 'write a number in digits'}{left_out}"
        if allowed.startswith("a list"):
            return "begin each entry with `- ` on a line of its own"
        if allowed.startswith("a group"):
            return "write each `key: value` on an indented line of its own"
        if self.spot.text and isinstance(self.input, (int, float)):
            return "put it in quotes"
        return "correct it"

    def _resolved(self, base: Loc) -> Loc:
        """The part of a pydantic location that stands in the file.

        Pydantic puts names of union branches between keys; a branch can be called like a key
        of the file, so every reading of the location is tried and the one kept whose value is
        what pydantic complained about.
        """
        data = self.document.data
        for step in base:
            data = data[step]
        raw = self.raw[:-1] if self.raw[-1:] == ("[key]",) else self.raw
        if self.kind == "missing":
            return (*max(_readings(raw[:-1], data), key=self._closeness)[0], raw[-1])
        return max(_readings(raw, data), key=self._closeness)[0]

    def _closeness(self, reading: tuple[Loc, Any]) -> tuple[bool, bool, int]:
        loc, value = reading
        return value is self.input, loc[-1:] == self.raw[-1:], len(loc)


def _readings(raw: tuple[int | str, ...], data: Any) -> Iterator[tuple[Loc, Any]]:
    """Every way to follow some of the parts of `raw` through `data`, with the value reached."""
    if not raw:
        yield (), data
        return
    part, rest = raw[0], raw[1:]
    held = (isinstance(data, dict) and part in data) or (
        isinstance(data, list) and isinstance(part, int) and part < len(data)
    )
    if held:
        for loc, value in _readings(rest, data[part]):
            yield (part, *loc), value
    if not held or isinstance(part, str):
        yield from _readings(rest, data)


def dotted(loc: Loc) -> str:
    """A path as people read it: keys joined by dots, entries of a list counted from 1."""
    text = ""
    for part in loc:
        text += f"#{part + 1}" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def _inside(loc: Loc) -> str:
    return f" in `{dotted(loc)}`" if loc else ""


def _shown(value: Any, words: bool) -> str:
    if isinstance(value, dict):
        return "a group of keys" if value else "an empty group"
    if isinstance(value, list):
        return "a list"
    if value is None or value == "":
        return "empty"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    return f"the text `{value}`" if isinstance(value, str) and not words else f"`{value}`"


def mend_number(value: Any, *, whole: bool = False, mm: bool = False) -> str:
    """How to turn what stands there into the number that is wanted; '' when that is not seen."""
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        return ""
    if isinstance(value, str):
        return _mend_text(value.strip())
    if whole and isinstance(value, float) and value.is_integer():
        return f"write {int(value)}"
    if mm and 10 <= value < 40:
        return f"if this is in cm, write {value * 10:g}"
    return ""


def _mend_text(text: str) -> str:
    """How to write the number that `text` seems to mean."""
    plain = text.replace("\u2212", "-")
    head = plain.split(" ")[0]
    if _PLAIN_NUMBER.fullmatch(plain):
        return "write it without quotes" if plain == text else "write an ordinary minus"
    if _PLAIN_NUMBER.fullmatch(plain.replace(",", ".")):
        return f"write a decimal point: {plain.replace(',', '.')}"
    if _PLAIN_NUMBER.fullmatch(head):
        return f"write the bare number: {head}"
    return ""
