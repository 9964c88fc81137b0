"""The expected customers, as ``rules/population.yaml`` describes them.

Every number carries what stands behind it, because coverage is only worth as much as the
population it is computed against.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import Field, model_validator

from recommend.errors import InputError, nearest
from recommend.parameters import Figure
from recommend.reading import Document, Strict, read_document, validate

Sex = Literal["female", "male"]
SEXES: tuple[Sex, Sex] = ("female", "male")
SUM_TO = 1e-6  # shares are written with a few decimals; they add up to 1 within rounding


class Spread(Strict):
    """Mean and standard deviation of a quantity in one group."""

    mean: Figure
    sd: Figure


class Quantity(Strict):
    """One quantity that is drawn: a measure of a foot, of the customer, or a hidden one.

    `norm` has either ``everyone`` or both ``female`` and ``male``. `left_right` is the
    correlation of the two feet. A `hidden` quantity only feeds others. Values are clipped to
    `lowest` and `highest` and rounded to `step`. `readings` is how many a visit usually takes,
    for the error of their mean.
    """

    of: Literal["foot", "customer"]
    unit: str
    norm: dict[Literal["everyone", "female", "male"], Spread]
    shape: Literal["normal", "lognormal"] = "normal"
    left_right: Figure | None = None
    hidden: bool = False
    step: float | None = Field(default=None, gt=0)
    lowest: float | None = None
    highest: float | None = None
    qualifiers: dict[str, str] = {}
    readings: Figure | None = None

    @model_validator(mode="after")
    def _groups_and_feet(self) -> Quantity:
        if set(self.norm) not in ({"everyone"}, set(SEXES)):
            raise ValueError("`norm` holds either `everyone`, or both `female` and `male`")
        if (self.of == "foot") != (self.left_right is not None):
            raise ValueError("`left-right` goes with a quantity of a foot, and only with it")
        return self

    def spread(self, sex: Sex) -> Spread:
        """The spread that holds for `sex`."""
        return self.norm["everyone"] if "everyone" in self.norm else self.norm[sex]


class Growing(Strict):
    """A quantity of children: its mean at the middle of the ages, and how it grows by year."""

    mean: Figure
    per_year: Figure | None = None
    sd: Figure
    lowest: float | None = None


class Children(Strict):
    """Children, drawn beside the others where the catalogue has products made for them.

    `made_for` names the attributes that say so; `share` is of all customers; `spread` says in what
    children differ from adults.
    """

    made_for: list[str] = Field(min_length=1)
    share: Figure
    youngest: Figure
    oldest: Figure
    purpose: dict[str, Figure]
    spread: dict[str, Growing]

    @model_validator(mode="after")
    def _shares_add_up(self) -> Children:
        _check_shares(self.purpose)
        if not (0 <= self.share.value < 1 and self.youngest.value <= self.oldest.value):
            raise ValueError("`share` is from 0 to less than 1, and `youngest` not above `oldest`")
        return self


class Derived(Strict):
    """A quantity drawn as the sum of others in one foot: a relation that is assumed.

    What follows by definition (ratios, differences of the feet) is in ``measures.yaml``.
    """

    unit: str
    sum: list[str] = Field(min_length=2)
    note: str
    qualifiers: dict[str, str] = {}
    readings: Figure | None = None

    @property
    def parts(self) -> list[str]:
        """The quantities it is computed from."""
        return self.sum


class Cut(Strict):
    """Cuts a hidden quantity into classes; `shares` stand from its low end to its high end.

    `of` names the class of an earlier cut that this one divides further.
    """

    along: str
    shares: dict[str, Figure] = Field(min_length=2)
    of: str | None = None

    @model_validator(mode="after")
    def _add_up(self) -> Cut:
        _check_shares(self.shares)
        return self


class Pair(Figure):
    """The correlation of two quantities in the same foot."""

    between: list[str] = Field(min_length=2, max_length=2)


class Correlations(Strict):
    """Correlations within one foot; `otherwise` holds for every pair not listed."""

    otherwise: Figure
    pairs: list[Pair]


class Agreement(Strict):
    """Static axes whose values are put on one scale, and the agreement a study found."""

    published: Figure
    axes: dict[str, dict[str, Literal["out", "middle", "in"]]] = Field(min_length=2)


class Population(Strict):
    """Everything ``population.yaml`` says."""

    title: str
    about: str
    sex: dict[Sex, Figure]
    words: dict[str, dict[str, Figure]]
    answers: Literal["no", "not-asked"]
    fixed: dict[str, Figure] = {}
    children: Children | None = None
    quantities: dict[str, Quantity] = Field(min_length=2)
    derived: dict[str, Derived] = {}
    classes: dict[str, list[Cut]] = {}
    correlations: Correlations
    agreement: Agreement | None = None

    @model_validator(mode="after")
    def _shares_add_up(self) -> Population:
        if set(self.sex) != set(SEXES):
            raise ValueError("`sex` holds the shares of `female` and `male`")
        _check_shares(self.sex)
        for shares in self.words.values():
            _check_shares(shares)
        return self

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the drawn quantities, in the order of the correlation matrix."""
        return tuple(self.quantities)

    def matrix(self, assumed: float = 1.0) -> np.ndarray:
        """Correlation matrix within one foot, shape (k, k).

        Parameters
        ----------
        assumed : factor on every correlation that is an assumption, to ask how much the
            answer leans on it.
        """
        names = self.names
        other = _scaled(self.correlations.otherwise, assumed)
        out = np.full((len(names), len(names)), other)
        for pair in self.correlations.pairs:
            i, j = (names.index(name) for name in pair.between)
            out[i, j] = out[j, i] = _scaled(pair, assumed)
        np.fill_diagonal(out, 1.0)
        return out


def _scaled(figure: Figure, assumed: float) -> float:
    factor = assumed if figure.kind == "assumption" else 1.0
    return float(np.clip(figure.value * factor, -1.0, 1.0))


def _check_shares(shares: Mapping[Any, Figure]) -> None:
    total = sum(figure.value for figure in shares.values())
    if any(figure.value < 0 for figure in shares.values()) or abs(total - 1) > SUM_TO:
        raise ValueError(f"shares are 0 or more and add up to 1; these add up to {total:g}")


def figures_in(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Every figure in the plain data of a population, with its path."""
    if isinstance(data, dict) and {"value", "kind"} <= set(data):
        yield path, data
    elif isinstance(data, (dict, list)):
        for key, part in data.items() if isinstance(data, dict) else enumerate(data):
            yield from figures_in(part, (*path, key))


def load_population(path: Path, sources: Collection[str] | None = None) -> Population:
    """Read and check a population file.

    Parameters
    ----------
    path : the file.
    sources : ids of the bibliography, when sources are to be checked.

    Raises
    ------
    InputError
        If it does not fit the schema, names an unknown quantity or source, or its correlations
        cannot hold together.
    """
    document = read_document(path)
    population = validate(Population, document)
    _check_names(population, document)
    for loc in document.places if sources is not None else ():
        if loc[-1:] == ("source",) and (named := _at(document, loc)) not in (sources or ()):
            raise InputError(
                document.place(loc),
                f"`{named}` is not in sources.yaml",
                mend=nearest(str(named), sources or ()) or "add the entry there",
            )
    smallest = float(np.linalg.eigvalsh(population.matrix())[0])
    if smallest < 0:
        raise InputError(
            document.place(("correlations",)),
            f"these correlations cannot hold together (smallest eigenvalue {smallest:.3f})",
            "a matrix without negative eigenvalues",
            "weaken the strongest pairs",
        )
    return population


def _at(document: Document, loc: tuple[str | int, ...]) -> object:
    part = document.data
    for step in loc:
        part = part[step]
    return part


def _check_names(population: Population, document: Document) -> None:
    for name in population.children.spread if population.children else ():
        _known(name, set(population.names), document, ("children", "spread", name))
    seen: set[frozenset[str]] = set()
    for i, pair in enumerate(population.correlations.pairs):
        where = ("correlations", "pairs", i)
        for j, name in enumerate(pair.between):
            _known(name, set(population.names), document, (*where, "between", j))
        key = frozenset(pair.between)
        if len(key) == 1 or key in seen:
            raise InputError(document.place(where), f"the pair {pair.between} stands twice")
        if abs(pair.value) > 1:
            raise InputError(document.place(where), f"`{pair.value:g}`", "from -1 to 1")
        seen.add(key)
    _check_derived(population, document)


def _check_derived(population: Population, document: Document) -> None:
    known = set(population.names)
    for name, derived in population.derived.items():
        for part in derived.parts:
            _known(part, known, document, ("derived", name))
        known.add(name)
    for name, cuts in population.classes.items():
        above: set[str] = set()
        for i, cut in enumerate(cuts):
            if (cut.of is None) == bool(above) or (cut.of is not None and cut.of not in above):
                found = f"`of` is `{cut.of}`" if cut.of else "the cut does not say `of` which class"
                allowed = ", ".join(sorted(above)) or "no `of` in the first cut"
                raise InputError(document.place(("classes", name, i)), found, allowed)
            above |= cut.shares.keys()
            _known(cut.along, set(population.names), document, ("classes", name, i, "along"))


def _known(name: str, known: set[str], document: Document, loc: tuple[str | int, ...]) -> None:
    if name not in known:
        raise InputError(
            document.place(loc), f"`{name}` is no quantity here", ", ".join(sorted(known))
        )
