"""Draw customers from a population: a Gaussian copula, seeded block by block.

The same seed gives the same customers however the work is split, because every block of
`BLOCK` customers has its own stream.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from statistics import NormalDist

import numpy as np

from recommend.coverage.population import SEXES, Population, Quantity
from recommend.coverage.rows import Array
from recommend.match.sizes import CHILD, longer_lengths
from recommend.measure.model import SIDES, Side
from recommend.parameters import Figure, Parameters

BLOCK = 65_536  # customers; bounds memory, and fixes which stream draws which customer


@dataclass(frozen=True, slots=True)
class Words:
    """A column of words: a code per row into `values`; -1 where it is missing."""

    codes: Array
    values: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.codes)

    def texts(self) -> Array:
        """The words themselves, shape (n,); empty where missing."""
        return np.take(np.asarray([*self.values, ""]), self.codes)

    def codes_in(self, words: Sequence[str]) -> Array:
        """Codes into other words, shape (n,); a word that is not among them is missing."""
        table = [words.index(value) if value in words else -1 for value in self.values]
        return np.take(np.array([*table, -1], np.int8), self.codes)


Column = Array | Words


@dataclass(frozen=True, slots=True)
class Customers:
    """Columns of n customers and their feet.

    Attributes
    ----------
    count : n.
    own : columns of the customer (``body-mass`` in kg, ``age-band``, ``purpose``, ``sex``).
    feet : columns of each foot, by measure id; numbers in the unit of the measure.
    """

    count: int
    own: Mapping[str, Column]
    feet: Mapping[Side, Mapping[str, Column]]

    def texts(self, name: str) -> list[str]:
        """The words of a column of the customers, empty where missing; all empty without it."""
        column = self.own.get(name)
        return column.texts().tolist() if isinstance(column, Words) else [""] * self.count

    def lengths(self, parameters: Parameters, ages: list[str] | None = None) -> Array:
        """Length in mm a pair is made for, shape (n,): the longer foot, and what is added to it.

        NaN where it is not known. `ages` : age bands, where they are not those of the customers.
        """
        feet = [self.feet[side].get("foot-length", np.full(self.count, np.nan)) for side in SIDES]
        return longer_lengths(
            [np.asarray(foot, float) for foot in feet],
            self.texts("purpose"), self.texts("age-band") if ages is None else ages, parameters,
        )  # fmt: skip

    def only(self, rows: Array) -> Customers:
        """Some of the customers, each as often as it is named."""

        def taken(columns: Mapping[str, Column]) -> dict[str, Column]:
            return {name: replace(c, codes=c.codes[rows]) if isinstance(c, Words) else c[rows]
                    for name, c in columns.items()}  # fmt: skip

        feet = {side: taken(columns) for side, columns in self.feet.items()}
        return Customers(len(rows), taken(self.own), feet)


class Sampler:
    """Draws customers of one population.

    Parameters
    ----------
    population : what to draw.
    numbers : its numbers, when they are not those written in the file (a shop's own records,
        other correlations).
    """

    def __init__(self, population: Population, numbers: Numbers | None = None) -> None:
        self.population = population
        self.numbers = numbers or numbers_of(population)
        self._together, self._apart = (square_root(c / 2) for c in modes(self.numbers))

    def blocks(self, count: int, seed: int) -> Iterator[Customers]:
        """Draw `count` customers, at most `BLOCK` at a time."""
        for index, start in enumerate(range(0, count, BLOCK)):
            yield self.block(seed, index, min(BLOCK, count - start))

    def block(self, seed: int, index: int, size: int = BLOCK) -> Customers:
        """The first `size` customers of block number `index`."""
        rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(index,)))
        sex = (rng.random(BLOCK) >= self.numbers.female).astype(np.int8)[:size]
        own: dict[str, Column] = {"sex": Words(sex, ("female", "male"))}
        for name, shares in self.numbers.words.items():
            own[name] = _words(rng.random(BLOCK)[:size], shares)
        scores = self._scores(rng, size)
        values = {side: self._values(z, sex) for side, z in scores.items()}
        if self.numbers.children:
            self._make_children(rng, own, scores, values)
        add_derived(values, self.population)
        feet = {side: self._foot(values[side], scores[side]) for side in SIDES}
        for name, quantity in self.population.quantities.items():
            if quantity.of == "customer" and not quantity.hidden:
                own[name] = values["left"][name]
        return Customers(size, own, feet)

    def _make_children(self, rng: np.random.Generator, own: dict[str, Column],
                       scores: Mapping[Side, Array], values: Mapping[Side, dict[str, Array]]
                       ) -> None:  # fmt: skip
        """Turn some customers into children; drawn last, so that all others stay who they are."""
        made = self.population.children
        assert made is not None
        chance, year, why = (rng.random(BLOCK)[: len(scores["left"][0])] for _ in range(3))
        child = chance < self.numbers.children
        youngest, oldest = made.youngest.value, made.oldest.value
        older = (oldest + 1 - youngest) * (year[child] - 0.5)  # than the middle of the ages
        for side, name in ((side, name) for side in SIDES for name in made.spread):
            one, quantity = made.spread[name], self.population.quantities[name]
            mean = one.mean.value + older * (one.per_year.value if one.per_year else 0.0)
            score = scores[side][self.numbers.names.index(name), child]
            lowest = quantity.lowest if one.lowest is None else one.lowest
            grown = quantity.model_copy(update={"lowest": lowest})
            drawn = _in_range(_spread(score, mean, np.array(one.sd.value), grown), grown)
            values[side][name] = values[side][name].copy()
            values[side][name][child] = drawn
        purpose = _words(why, {word: one.value for word, one in made.purpose.items()})
        for name, words in (("age-band", Words(np.zeros(len(child), np.int8), (CHILD,))),
                            ("purpose", purpose)):  # fmt: skip
            own[name] = _either(child, words, own[name])

    def _scores(self, rng: np.random.Generator, size: int) -> dict[Side, Array]:
        """Correlated standard normal scores of both feet, each of shape (k, size)."""
        shape = (len(self.numbers.names), BLOCK)
        together = self._together @ rng.standard_normal(shape)[:, :size]
        apart = self._apart @ rng.standard_normal(shape)[:, :size]
        return {"left": together + apart, "right": together - apart}

    def _values(self, scores: Array, sex: Array) -> dict[str, Array]:
        numbers, out = self.numbers, {}
        for k, (name, quantity) in enumerate(self.population.quantities.items()):
            mean, sd = (_by_sex(table[:, k], sex) for table in (numbers.mean, numbers.sd))
            out[name] = _in_range(_spread(scores[k], mean, sd, quantity), quantity)
        return out

    def _foot(self, values: dict[str, Array], scores: Array) -> dict[str, Column]:
        quantities = self.population.quantities
        out: dict[str, Column] = {
            name: column
            for name, column in values.items()
            if name not in quantities
            or (quantities[name].of == "foot" and not quantities[name].hidden)
        }
        for name, shares in self.numbers.classes.items():
            cuts = self.population.classes[name]
            along = [scores[self.numbers.names.index(cut.along)] for cut in cuts]
            out[name] = _classes(along, shares, [c.of for c in cuts])
        return out


def add_derived(values: Mapping[Side, dict[str, Array]], population: Population) -> None:
    """Add the sums whose parts are known, and which are not there themselves."""
    for name, derived in population.derived.items():
        if any(part not in foot for foot in values.values() for part in derived.parts):
            continue
        if any(name in foot for foot in values.values()):
            continue
        for foot in values.values():
            foot[name] = reduce(np.add, [foot[part] for part in derived.parts])


def _by_sex(values: Array, sex: Array) -> Array:
    """The value of each customer, or the one value that holds for all."""
    return values[sex] if values[0] != values[1] else values[:1]


def _spread(score: Array, mean: Array, sd: Array, quantity: Quantity) -> Array:
    """A standard normal score on the scale of the quantity."""
    if quantity.shape == "normal":
        return np.asarray(mean + sd * score)
    variance = np.log1p((sd / mean) ** 2)
    return np.asarray(np.exp(np.log(mean) - variance / 2 + np.sqrt(variance) * score))


def _in_range(values: Array, quantity: Quantity) -> Array:
    if quantity.step is not None:
        values = np.rint(values / quantity.step) * quantity.step
    if quantity.lowest is None and quantity.highest is None:
        return values
    return np.asarray(np.clip(values, quantity.lowest, quantity.highest))


def _words(uniform: Array, shares: Mapping[str, float]) -> Words:
    """Words drawn by their shares from uniform numbers in [0, 1)."""
    edges = np.cumsum(list(shares.values()))[:-1]
    return Words(np.searchsorted(edges, uniform, side="right").astype(np.int8), tuple(shares))


def _either(some: Array, words: Words, others: Column) -> Words:
    """Words of some customers, and of the others as they are."""
    assert isinstance(others, Words)
    values = tuple(dict.fromkeys((*others.values, *words.values)))
    return Words(np.where(some, words.codes_in(values), others.codes), values)


def _cut(scores: Array, shares: Mapping[str, float]) -> Array:
    """Class codes of standard normal scores, so that each class has its share."""
    edges = [_normal_quantile(p) for p in np.cumsum(list(shares.values()))[:-1]]
    return np.asarray(np.searchsorted(edges, scores, side="right"), dtype=np.int8)


def _normal_quantile(share: float) -> float:
    if 0 < share < 1:
        return NormalDist().inv_cdf(share)
    return -np.inf if share <= 0 else np.inf


def _classes(
    along: list[Array], shares: tuple[Mapping[str, float], ...], of: list[str | None]
) -> Words:
    """Classes cut along scores; a later cut divides one class of an earlier one."""
    codes = np.empty(0, dtype=np.int8)
    values: list[str] = []
    for scores, share, parent in zip(along, shares, of, strict=True):
        part = _cut(scores, share) + len(values)
        codes = part if parent is None else np.where(codes == values.index(parent), part, codes)
        values += share
    used = [value for value in values if value not in of]
    renumber = np.array([used.index(v) if v in used else -1 for v in values], dtype=np.int8)
    return Words(renumber[codes], tuple(used))


@dataclass(frozen=True, slots=True)
class Numbers:
    """Marginals and correlations of k quantities.

    Attributes
    ----------
    names : the k quantities.
    mean, sd : shape (2, k), rows female and male, in the unit of the quantity.
    matrix : correlations within one foot, shape (k, k).
    left_right : correlation of the two feet, shape (k,); 1 for a quantity of the customer.
    female : share of women.
    words : shares of the customer's words (age band, purpose).
    classes : shares of each cut of each class measure, in the order of the cuts.
    children : share of children; 0 where none are drawn.
    """

    names: tuple[str, ...]
    mean: Array
    sd: Array
    matrix: Array
    left_right: Array
    female: float
    words: Mapping[str, Mapping[str, float]]
    classes: Mapping[str, tuple[Mapping[str, float], ...]]
    children: float = 0.0


def numbers_of(population: Population, assumed: float = 1.0, *, children: bool = False) -> Numbers:
    """The numbers of `population`, with assumed correlations multiplied by `assumed`.

    Parameters
    ----------
    children : whether children are drawn as well.
    """
    quantities = population.quantities.values()
    shares = {name: _values(words) for name, words in population.words.items()}
    return Numbers(
        names=population.names,
        mean=np.array([[q.spread(sex).mean.value for q in quantities] for sex in SEXES]),
        sd=np.array([[q.spread(sex).sd.value for q in quantities] for sex in SEXES]),
        matrix=nearest_correlation(population.matrix(assumed)),
        left_right=np.array([q.left_right.value if q.left_right else 1.0 for q in quantities]),
        female=population.sex["female"].value,
        words=shares,
        classes={n: tuple(_values(c.shares) for c in cs) for n, cs in population.classes.items()},
        children=population.children.share.value if children and population.children else 0.0,
    )


def _values(shares: Mapping[str, Figure]) -> dict[str, float]:
    return {word: figure.value for word, figure in shares.items()}


def nearest_correlation(matrix: Array) -> Array:
    """The correlation matrix that `matrix` is, or one near it.

    Negative eigenvalues are set to zero and the diagonal is scaled back to 1.
    """
    values, vectors = np.linalg.eigh(matrix)
    if values[0] >= 0:
        return matrix
    repaired = (vectors * np.maximum(values, 0)) @ vectors.T
    scale = 1 / np.sqrt(np.diag(repaired))
    return np.asarray(repaired * np.outer(scale, scale))


def modes(numbers: Numbers) -> tuple[Array, Array]:
    """Covariances of (left + right) / sqrt 2 and (left - right) / sqrt 2, each (k, k).

    Across the feet, two quantities of a foot correlate as within it times the geometric mean
    of their left-right correlations (an assumption); one of the customer is shared.
    """
    root = np.sqrt(numbers.left_right)
    shared = numbers.left_right == 1
    damping = np.outer(root, root)
    damping[shared, :] = damping[:, shared] = 1.0
    across = numbers.matrix * damping
    np.fill_diagonal(across, numbers.left_right)
    return numbers.matrix + across, numbers.matrix - across


def square_root(covariance: Array) -> Array:
    """A matrix `a` with ``a @ a.T`` equal to `covariance`, negative eigenvalues taken as 0.

    It is the symmetric one, which moves little when the covariance does: the same customers are
    drawn, each a little different, when one figure is another.
    """
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)
