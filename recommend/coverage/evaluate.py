"""Every case of a tally against a catalogue: served or not, by what, and how well."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from recommend.coverage.numbers import Array
from recommend.coverage.tally import Layout, Tally
from recommend.match.needs import Active
from recommend.match.sizes import Availability, SizeClasses
from recommend.match.weighing import Shelf, Way

CELLS = 4_000_000  # scores held at once; bounds memory
ROUNDING = 1e-5  # scores are single precision; a score of exactly the limit counts as reaching it

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Wishes:
    """What counts as served.

    Attributes
    ----------
    ways : what is sold: pairs of shoe and insole, shoes alone, insoles alone; one is enough.
    score : lowest score, from 0 to 1.
    accepted : in stock only, or also made but sold out.
    """

    ways: tuple[Way, ...]
    score: float
    accepted: tuple[Availability, ...] = ("in-stock",)

    @property
    def kinds(self) -> frozenset[str]:
        """Kinds of product that are sold in these ways."""
        parts = {"pair": ("shoe", "insole"), "shoe": ("shoe",), "insole": ("insole",)}
        return frozenset(kind for way in self.ways for kind in parts[way])


@dataclass(frozen=True, slots=True)
class Kinds:
    """Customers who need the same, and how their sizes are spread.

    Attributes
    ----------
    holds : which need rules hold for one foot or both, bool, shape (g, rules).
    sizes : the size classes that occur, ascending, shape (z,).
    weights : customers by need kind and size class, shape (g, z); stopped ones left out.
    kind, size : for each case of the tally, its row and column in `weights`.
    """

    holds: Array
    sizes: Array
    weights: Array
    kind: Array
    size: Array


@dataclass(frozen=True, slots=True)
class Served:
    """What a catalogue does for g kinds of customers in z size classes.

    Attributes
    ----------
    shoes, insoles : how many different shoes and insoles suit, shape (g, z).
    choices : how many things there are to choose from, shape (g, z): shoes and insoles each
        sold alone, or of pairs the rarer of the two parts.
    if_shoes, if_insoles : whether something would suit if all shoes, or all insoles, were there
        in the size, shape (g, z).
    any_size : whether something suits when sizes are not looked at, shape (g,).
    any_score : whether something meets every binding need, whatever its score, shape (g,).
    reach : customers each product serves, shape (items,).
    sole : customers who would lose everything if the product went, shape (items,).
    fits_someone : whether a product suits any kind at all, sizes not looked at, (items,).
    """

    shoes: Array
    insoles: Array
    choices: Array
    if_shoes: Array
    if_insoles: Array
    any_size: Array
    any_score: Array
    reach: Array
    sole: Array
    fits_someone: Array

    @property
    def served(self) -> Array:
        """Whether anything suits, shape (g, z)."""
        return np.asarray(self.choices > 0)


def kinds_of(tally: Tally, layout: Layout) -> Kinds:
    """Group the cases of a tally by what is needed and by size."""
    words = layout.words
    left, right = tally.cases[:, :words], tally.cases[:, words : 2 * words]
    either, kind = np.unique(left | right, axis=0, return_inverse=True)
    sizes, size = np.unique(tally.cases[:, layout.size], return_inverse=True)
    weights = np.zeros((len(either), len(sizes)))
    open_ = tally.cases[:, layout.stop] == 0
    np.add.at(weights, (kind.ravel()[open_], size.ravel()[open_]), tally.counts[open_])
    return Kinds(layout.unpack(either), sizes, weights, kind.ravel(), size.ravel())


@dataclass(frozen=True, slots=True)
class Part:
    """Some kinds judged: scores and suitability of everything sold, and what can be had.

    Attributes
    ----------
    rows : which kinds.
    scores, suits : by way of selling, see `Shelf.scores`; suits are those that reach the score.
    shoes, insoles : which can be had by size class, shapes (g, s, z) and (g, i, z).
    choices, if_shoes, if_insoles : see `Served`.
    """

    rows: slice
    scores: Mapping[Way, Array]
    suits: Mapping[Way, Array]
    shoes: Array
    insoles: Array
    choices: Array
    if_shoes: Array
    if_insoles: Array


class Evaluator:
    """Judges kinds of customers against one catalogue, some at a time.

    Parameters
    ----------
    shelf : the catalogue, prepared.
    classes : size classes.
    kinds : the customers.
    wishes : what counts as served.
    """

    def __init__(self, shelf: Shelf, classes: SizeClasses, kinds: Kinds, wishes: Wishes) -> None:
        self.shelf, self.kinds, self.wishes = shelf, kinds, wishes
        self.has_shoe = classes.having(shelf.shoes, wishes.accepted)[kinds.sizes]
        self.has_insole = classes.having(shelf.insoles, wishes.accepted)[kinds.sizes]
        self.classes = classes
        self.active = shelf.table.active(kinds.holds)
        self.floor = np.float32(wishes.score - ROUNDING)

    def parts(self, count: int) -> Iterator[slice]:
        """Slices of `count` kinds that fit into memory together."""
        width = max(1, len(self.shelf.shoes) * max(1, len(self.shelf.insoles)))
        step = max(1, CELLS // width)
        for start in range(0, count, step):
            yield slice(start, min(start + step, count))

    def scores(self, active: Active) -> dict[Way, Array]:
        """Scores of everything sold, minus infinity where unsuitable; see `Shelf.scores`."""
        return {way: self.shelf.scores(way, active) for way in self.wishes.ways}

    def evaluate(
        self,
        progress: Progress | None = None,
        collect: Callable[[Part], None] | None = None,
    ) -> Served:
        """What the catalogue does for all kinds.

        Parameters
        ----------
        progress : called with how many kinds are done, and how many there are.
        collect : called with every part, for sums of its own.
        """
        count, results = len(self.kinds.holds), []
        for rows in self.parts(count):
            part = self.part(rows, self.active.rows(rows))
            results.append(self.served(part, self.kinds.weights[rows]))
            if collect:
                collect(part)
            if progress:
                progress(rows.stop, count)
        return _joined(results)

    def part(self, rows: slice, active: Active) -> Part:
        """Judge the kinds in `rows`, whose needs are `active`."""
        scores = self.scores(active)
        suits = {way: score >= self.floor for way, score in scores.items()}
        count = rows.stop - rows.start
        shoes = np.zeros((count, len(self.shelf.shoes), len(self.has_shoe)), bool)
        insoles = np.zeros((count, len(self.shelf.insoles), len(self.has_insole)), bool)
        choices = np.zeros((count, len(self.has_shoe)), int)
        if_shoes, if_insoles = np.zeros_like(choices, bool), np.zeros_like(choices, bool)
        for way, suit in suits.items():
            one, other = self.usable(way, suit)
            if_shoes |= one.any(axis=1) if one is not None else False
            if_insoles |= other.any(axis=1) if other is not None else False
            one = None if one is None else one & self.has_shoe.T[None]
            other = None if other is None else other & self.has_insole.T[None]
            numbers = [some.sum(axis=1) for some in (one, other) if some is not None]
            np.maximum(choices, np.minimum.reduce(numbers), out=choices)
            shoes = shoes if one is None else shoes | one
            insoles = insoles if other is None else insoles | other
        return Part(rows, scores, suits, shoes, insoles, choices, if_shoes, if_insoles)

    def usable(self, way: Way, suit: Array) -> tuple[Array | None, Array | None]:
        """Which shoes and insoles could be sold if they were there in the size themselves.

        Returns
        -------
        bool, shapes (g, s, z) and (g, i, z); in a pair the other part must be in stock.
        """
        if way == "shoe":
            return np.repeat(suit[:, :, None], len(self.has_shoe), axis=2), None
        if way == "insole":
            return None, np.repeat(suit[:, :, None], len(self.has_insole), axis=2)
        return (
            partnered(suit, self.has_insole),
            partnered(suit.transpose(0, 2, 1), self.has_shoe),
        )

    def served(self, part: Part, weights: Array) -> Served:
        """The sums over one part, whose customers by size class are `weights`, (g, z)."""
        both = (part.shoes, part.insoles)
        return Served(
            shoes=part.shoes.sum(axis=1),
            insoles=part.insoles.sum(axis=1),
            choices=part.choices,
            if_shoes=part.if_shoes,
            if_insoles=part.if_insoles,
            any_size=_any_of(list(part.suits.values())),
            any_score=_any_of([np.isfinite(score) for score in part.scores.values()]),
            reach=np.concatenate([_weighed(one, weights) for one in both]),
            sole=self._sole(part, weights),
            fits_someone=self._fits(part.suits),
        )

    def _sole(self, part: Part, weights: Array) -> Array:
        """Customers who are served only with a given product.

        That is where it is the only one of its kind that is left, and nothing is sold to them
        without that kind.
        """
        out = []
        for place, usable in enumerate((part.shoes, part.insoles)):
            alone = (usable.sum(axis=1) == 1) & (part.choices > 0) & ~self._without(place, part)
            out.append(_weighed(usable, np.where(alone, weights, 0)))
        return np.concatenate(out)

    def _without(self, place: int, part: Part) -> Array:
        """Whether customers are served in a way that needs no shoe (0), or no insole (1)."""
        way: Way = "insole" if place == 0 else "shoe"
        if way not in part.suits:
            return np.zeros((1, 1), bool)
        has = self.has_insole if place == 0 else self.has_shoe
        return np.asarray(part.suits[way].astype(np.float32) @ has.T.astype(np.float32) > 0)

    def _fits(self, suits: Mapping[Way, Array]) -> Array:
        shoes = np.zeros(len(self.shelf.shoes), bool)
        insoles = np.zeros(len(self.shelf.insoles), bool)
        for way, suit in suits.items():
            if way != "insole":
                shoes |= suit.any(axis=(0, 2) if way == "pair" else 0)
            if way != "shoe":
                insoles |= suit.any(axis=(0, 1) if way == "pair" else 0)
        return np.concatenate([shoes, insoles])


def partnered(suit: Array, has: Array) -> Array:
    """Whether each first product has a suitable second one in stock, shape (g, first, z).

    Parameters
    ----------
    suit : shape (g, first, second).
    has : whether a size class can have each second product, shape (z, second).
    """
    count, first, second = suit.shape
    flat = suit.reshape(count * first, second).astype(np.float32)
    found = flat @ has.T.astype(np.float32) > 0
    return np.asarray(found.reshape(count, first, len(has)))


def _weighed(usable: Array, weights: Array) -> Array:
    """Customers for whom each product is usable, shape (items,).

    Whole numbers of customers, so that sums do not depend on their order.
    """
    kind, size = np.nonzero(weights)
    return np.asarray(weights[kind, size] @ usable[kind, :, size])


def _any_of(suits: Sequence[Array]) -> Array:
    """Whether anything suits in any way, shape (g,)."""
    flat = [one.reshape(len(one), -1).any(axis=1) for one in suits]
    return np.asarray(np.logical_or.reduce(flat))


def _joined(parts: Sequence[Served]) -> Served:
    by_kind = ("shoes", "insoles", "choices", "if_shoes", "if_insoles", "any_size", "any_score")
    joined = {name: np.concatenate([getattr(p, name) for p in parts]) for name in by_kind}
    sums = {name: sum(getattr(p, name) for p in parts) for name in ("reach", "sole")}
    fits = np.logical_or.reduce([p.fits_someone for p in parts])
    return Served(**joined, **sums, fits_someone=fits)
