"""Many pairs of feet fall into few cases: the same needs, the same sizes. Each is ranked once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from recommend.dataclass import dataclass
from recommend.infer.variations import Feet, Readings, Variations
from recommend.match.needs import Active, Bools, Floats
from recommend.match.out import Out, out_for
from recommend.match.ranking import ByWay, Places, Ranking, Standing, ordered
from recommend.match.sizes import extra_length, wanted_length
from recommend.match.weighing import Way
from recommend.measure.model import SIDES
from recommend.rulebook.book import Rulebook


@dataclass(frozen=True)
class Cases:
    """What n pairs of feet come to, each distinct case once.

    Attributes
    ----------
    ranking : the catalogue they are ranked in.
    case : (n,) which case each pair of feet is.
    holds : (c, r) need rules that hold for either foot.
    sizes : (c,) size classes.
    stopped : (n,) whether a stop withholds the shortlist.
    out : what is out for all of them, whatever is needed.
    weights : (n,) how many customers each pair of feet stands for; None where one each.
    """

    ranking: Ranking
    case: Places
    holds: Bools
    sizes: Places
    stopped: Bools
    out: Out = field(default_factory=lambda: Out({}))
    weights: Floats | None = None

    @cached_property
    def active(self) -> Active:
        """What is needed in each case."""
        return self.ranking.table.active(self.holds)

    @cached_property
    def standing(self) -> Mapping[Way, Standing]:
        """How every candidate stands in each case."""
        return ByWay(lambda way: self.ranking.standing(way, self.active, self.sizes, self.out))

    @cached_property
    def shares(self) -> Floats:
        """(c,) share of each case among the pairs of feet that no stop withholds."""
        weights = np.ones(len(self.case)) if self.weights is None else self.weights
        listed = ~self.stopped
        counts = np.bincount(self.case[listed], weights[listed], minlength=len(self.sizes))
        return np.asarray(counts / (counts.sum() or 1.0), np.float64)

    def first_groups(self, way: Way) -> list[tuple[str, ...]]:
        """Ids of the equals that come first in each case, by the readings as they stand."""
        return self._first_groups[way]

    @cached_property
    def _first_groups(self) -> Mapping[Way, list[tuple[str, ...]]]:
        return ByWay(self._firsts)

    def _firsts(self, way: Way) -> list[tuple[str, ...]]:
        ids = self.ranking.ids(way)
        return [
            tuple(sorted(ids[m] for m in groups[0])) if groups else ()
            for groups in self.best(way, 1)
        ]

    def leading(self, way: Way, count: int) -> list[tuple[str, ...]]:
        """Ids of the first `count` candidates in each case, by the readings as they stand."""
        ids = self.ranking.ids(way)
        return [
            tuple(ids[m] for equals in groups for m in equals)[:count]
            for groups in self.best(way, count)
        ]

    def best(self, way: Way, count: int) -> list[list[Places]]:
        """The groups of equals of each case that hold its first `count` candidates, as rows."""
        return list(self._ordered(way, count, self.active, self.standing[way], self.sizes))

    def first_of(self, way: Way, some: Places, without: int | None = None) -> list[tuple[int, ...]]:
        """Rows of the first group of `some` cases; `without` a wish, as if it were not asked."""
        active = self.active.rows(some)
        if without is not None:
            active = active.without_wish(without)
        sizes = self.sizes[some]
        standing = self.ranking.standing(way, active, sizes, self.out)
        found = self._ordered(way, 1, active, standing, sizes)
        return [tuple(groups[0].tolist()) if groups else () for groups in found]

    def _ordered(
        self, way: Way, count: int, needed: Active, standing: Standing, sizes: Places
    ) -> Iterator[list[Places]]:
        tie, listed = self.ranking.tie_order(way), standing.listed
        beyond = self.ranking.beyond(needed)
        for case, size in enumerate(sizes):
            rows = np.flatnonzero(listed[case])
            costs = standing.costs(case)
            order = np.lexsort(tuple(cost[rows] for cost in reversed(costs)))
            if len(rows) > count:  # what costs more than the last of them cannot be among them
                last = rows[order[count - 1]]
                rows = rows[_no_worse(costs, rows, last)]
            active = needed.rows(np.array([case]))
            unasked = {kind: one[case] for kind, one in beyond.items()}
            signature = self.ranking.signature(way, active, int(size), rows, unasked)
            yield ordered(costs, signature, tie, rows)

    def within(self, way: Way) -> tuple[Bools, Bools]:
        """Whether each candidate is listed in each case, and there no more than the width behind.

        Returns
        -------
        (c, m) and (c, m); the width is ``rank.width``.
        """
        return self._within[way]

    @cached_property
    def _within(self) -> Mapping[Way, tuple[Bools, Bools]]:
        return ByWay(self._no_further)

    def _no_further(self, way: Way) -> tuple[Bools, Bools]:
        standing = self.ranking.standing(way, self.active, self.sizes, self.out, listed=True)
        total = np.where(standing.listed, standing.fit + standing.function, np.inf)
        best = total.min(axis=1, initial=np.inf)[:, None]
        width = self.ranking.book.parameters.rank.width or 0.0
        found = np.zeros((2, len(self.sizes), len(self.ranking.members(way))), np.bool_)
        found[0][:, standing.rows] = standing.listed
        found[1][:, standing.rows] = standing.listed & (total <= best + width)
        return found[0], found[1]

    def stand_back(self, way: Way) -> Bools:
        """(m,) which candidates do not hold: too often ruled out, or overtaken by too much."""
        parameters = self.ranking.book.parameters
        listed, within = self.within(way)
        out, overtaken = self.shares @ ~listed, self.shares @ (listed & ~within)
        return np.asarray(
            (out >= parameters.rank.held_out) | (overtaken >= parameters.rank.overtaken),
            np.bool_,
        )

    def holding(self, way: Way, rows: Places) -> float:
        """Share in which all of some candidates are listed and no more than the width behind."""
        return float(self.shares @ self.within(way)[1][:, rows].all(axis=1))


def _no_worse(costs: Sequence[Floats], rows: Places, last: int) -> Bools:
    """Which rows cost no more than the row `last`, the first cost before the others."""
    worse, equal = np.zeros(len(rows), np.bool_), np.ones(len(rows), np.bool_)
    for cost in costs:
        worse |= equal & (cost[rows] > cost[last])
        equal &= cost[rows] == cost[last]
    return np.asarray(~worse)


def cases_of(
    ranking: Ranking,
    feet: Feet,
    lengths: Floats,
    out: Out | None = None,
) -> Cases:
    """Which case each of n pairs of feet is.

    Parameters
    ----------
    feet : what the rulebook says of n left and n right feet.
    lengths : (n,) the length in mm the pair is made for, NaN when it is not known.
    out : what is out for all of them, whatever is needed.
    """
    sides = (feet[side].holds for side in SIDES)
    left, right = ([holds[rule] for rule in ranking.table.rules] for holds in sides)
    either = np.logical_or(left, right).reshape(-1, len(lengths))
    sizes = ranking.classes.of_lengths(lengths)
    _, first, case = np.unique(_keys(either, sizes), return_index=True, return_inverse=True)
    stop = stopped(ranking.book, feet, len(lengths))
    return Cases(ranking, case.ravel(), either[:, first].T, sizes[first], stop, out or Out({}))


def _keys(holds: Bools, sizes: Places) -> NDArray[np.int64]:
    """A whole number for each of n, the same for those alone of whom the same rules hold, (r, n).

    Rules that hold of all alike tell nothing apart and are left out; renumbered after every
    few others, the product of the ranges never overflows.
    """
    varying = holds[holds.any(axis=1) & ~holds.all(axis=1)]
    keys = np.unique(sizes, return_inverse=True)[1].ravel().astype(np.int64)
    for start in range(0, len(varying), _BITS):
        for holding in varying[start : start + _BITS][::-1]:
            keys = 2 * keys + holding
        keys = np.unique(keys, return_inverse=True)[1].ravel()
    return keys


_BITS = 30  # rules told apart at a time


def lengths_of(variations: Variations, readings: Readings, count: int) -> Floats:
    """(count,) length in mm the pair is made for with these readings; NaN where not known."""
    visit, parameters = variations.assessment.visit, variations.book.parameters
    longer = variations.longer_foot(readings, count)
    if longer is not None:
        return longer + extra_length(visit.purpose, visit.age_band, parameters)
    known = wanted_length(visit, parameters).length
    return np.full(count, np.nan if known is None else known)


def cases_with(
    ranking: Ranking, variations: Variations, readings: Readings, count: int
) -> tuple[Feet, Cases]:
    """What the rulebook says of a visit with `count` other readings, and the cases they come to."""
    feet = variations.conclude(readings, count)
    out = out_for(variations.assessment.visit, ranking.catalogue.items, variations.book)
    return feet, cases_of(ranking, feet, lengths_of(variations, readings, count), out)


def notes_due(book: Rulebook, feet: Feet) -> dict[str, Bools]:
    """By rule id, (n,) whether its note is due for either foot."""
    return {
        rule.id: np.logical_or.reduce([feet[side].holds[rule.id] for side in SIDES])
        for rule in book.rules
        if rule.note is not None
    }


def stopped(book: Rulebook, feet: Feet, count: int) -> Bools:
    """(count,) whether a stop withholds the shortlist."""
    out = np.zeros(count, np.bool_)
    for rule in book.rules:
        if rule.note is not None and rule.note.note == "stop":
            for side in SIDES:
                out |= feet[side].holds[rule.id]
    return out
