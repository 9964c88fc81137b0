"""Which products lead, for many sets of needs: the judging of `match`, over numpy columns.

Redraws and what-ifs ask again and again for the first few products of one catalogue. Every
product and every pair that fits is a row here; a set of needs is judged on all rows at once.
The outcome is that of `match.shortlist`, which stays the reference.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.fitting import fit
from recommend.catalogue.loading import Catalogue, Item
from recommend.match.needs import Need, PairNeeds
from recommend.match.shortlist import GROUPS, Group
from recommend.match.sizes import Wanted, size_for
from recommend.rulebook.book import Rulebook

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Leading = Mapping[Group, tuple[str, ...]]
Order = Mapping[Group, NDArray[np.intp]]  # by group, positions of candidates, best first

_MET = {
    "at-least": np.greater_equal,
    "at-most": np.less_equal,
    "above": np.greater,
    "below": np.less,
}


@dataclass(frozen=True, slots=True)
class _Rows:
    """The candidates of one group.

    `levels` is (rows, attributes), NaN where not stated; `parts` (rows, 2) are positions in the
    catalogue, the same twice for a single product; rows stand in order of price and id, which
    settles ties.
    """

    ids: tuple[str, ...]
    levels: Floats
    parts: NDArray[np.intp]


class Leaders:
    """Ranks one catalogue for any number of needs.

    Parameters
    ----------
    book : the rulebook, which says what attributes are.
    catalogue : what is ranked.
    out : ids of products that are out for this customer, whatever is needed.
    """

    def __init__(self, book: Rulebook, catalogue: Catalogue, out: Collection[str] = ()) -> None:
        self.book, self.catalogue = book, catalogue
        self._in = np.array([item.id not in out for item in catalogue.items], np.bool_)
        self._column = {name: i for i, name in enumerate(book.attributes)}
        # The same need of another what-if is judged once; its weight may differ.
        self._judged_once: dict[tuple[str, str, str, float, str], tuple[Floats, Bools]] = {}
        self._available_at: dict[float | None, Bools] = {}

    def first(self, needs: PairNeeds, length: float | None, count: int) -> Leading:
        """Ids of the first `count` candidates of each group for a foot of `length` mm.

        Suitable ones that are in stock in the size, best first, as `match.shortlist` ranks them.
        """
        return self.in_stock(self.suitable(needs), length, count)

    def suitable(self, needs: PairNeeds) -> Order:
        """By group, positions of what suits, best first, whether or not it is in stock."""
        judged = {group: self._judged(self._groups[group], group, needs) for group in GROUPS}
        alone = np.zeros(len(self.catalogue.items), np.bool_)
        for group in ("shoe", "insole"):
            alone[self._groups[group].parts[:, 0]] = ~judged[group][0]
        alone &= self._in
        found: dict[Group, NDArray[np.intp]] = {}
        for group, (broken, score) in judged.items():
            rows = self._groups[group]
            suits = ~broken & alone[rows.parts].all(axis=1)
            order = np.lexsort((np.arange(len(rows.ids)), -np.round(score, 6)))
            found[group] = order[suits[order]]
        return found

    def in_stock(self, order: Order, length: float | None, count: int) -> Leading:
        """Ids of the first `count` of what suits that are in stock for a foot of `length` mm."""
        available = self._available(length)
        leading: dict[Group, tuple[str, ...]] = {}
        for group, best in order.items():
            rows = self._groups[group]
            there = best[available[rows.parts[best]].all(axis=1)]
            leading[group] = tuple(rows.ids[i] for i in there[:count])
        return leading

    @cached_property
    def _groups(self) -> dict[Group, _Rows]:
        items = self.catalogue.items
        at = {item.id: i for i, item in enumerate(items)}
        pairs = [
            (shoe, insole)
            for shoe in self.catalogue.shoes
            for insole in self.catalogue.insoles
            if fit(shoe, insole, self.book.parameters).fits
        ]
        return {
            "shoe": self._rows([(item, item) for item in self.catalogue.shoes], at),
            "insole": self._rows([(item, item) for item in self.catalogue.insoles], at),
            "pair": self._rows(pairs, at),
        }

    def _rows(self, parts: list[tuple[Item, Item]], at: Mapping[str, int]) -> _Rows:
        parts = sorted(parts, key=_tie)
        places = np.array([(at[a.id], at[b.id]) for a, b in parts], np.intp).reshape(-1, 2)
        ids = tuple("+".join(dict.fromkeys((a.id, b.id))) for a, b in parts)
        return _Rows(ids, self._with_sums(places), places)

    @cached_property
    def _single(self) -> Floats:
        levels = np.full((len(self.catalogue.items), len(self._column)), np.nan)
        for row, item in enumerate(self.catalogue.items):
            for name, level in item.levels.items():
                levels[row, self._column[name]] = level
        return levels

    def _with_sums(self, places: NDArray[np.intp]) -> Floats:
        """Levels of both parts, and of attributes that add up over them (see `match.judge`)."""
        first, second = self._single[places[:, 0]], self._single[places[:, 1]]
        levels = np.where(np.isnan(first), second, first)
        kind = np.array([item.product.kind for item in self.catalogue.items])[places]
        for name, attribute in self.book.attributes.items():
            if not attribute.sum_of:
                continue
            total, some = np.zeros(len(levels)), np.zeros(len(levels), np.bool_)
            for part in attribute.sum_of:
                there = (kind == part.partition(".")[0]).any(axis=1)
                total = np.where(there, total + levels[:, self._column[part]], total)
                some |= there
            levels[:, self._column[name]] = np.where(some, total, np.nan)
        return levels

    def _available(self, length: float | None) -> Bools:
        if length not in self._available_at:
            wanted = Wanted(length, "")
            sized = (size_for(item, wanted, self.book.parameters) for item in self.catalogue.items)
            there = [one.availability in ("in-stock", "size-unknown") for one in sized]
            self._available_at[length] = np.array(there)
        return self._available_at[length]

    def _judged(self, rows: _Rows, group: Group, needs: PairNeeds) -> tuple[Bools, Floats]:
        """Whether each row is ruled out, and its score of 100."""
        kinds = {"shoe", "insole", "pair"} if group == "pair" else {group, "pair"}
        asked = [need for need in needs.needs if need.attribute.partition(".")[0] in kinds]
        broken, earned = np.zeros(len(rows.ids), np.bool_), np.zeros(len(rows.ids))
        for need in asked:
            satisfaction, breaks = self._known_verdicts(group, need, rows.levels)
            broken |= breaks
            earned += need.weight * satisfaction
        total = sum(need.weight for need in asked)
        return broken, 100 * earned / total if total else np.full(len(rows.ids), 100.0)

    def _known_verdicts(self, group: Group, need: Need, levels: Floats) -> tuple[Floats, Bools]:
        key = (group, need.attribute, need.comparison, need.target, need.strength)
        if key not in self._judged_once:
            self._judged_once[key] = self._verdicts(need, levels)
        return self._judged_once[key]

    def _verdicts(self, need: Need, levels: Floats) -> tuple[Floats, Bools]:
        level = levels[:, self._column[need.attribute]]
        missing = np.isnan(level)
        met = _MET[need.comparison](level, need.target)
        if need.strength == "never":
            return np.where(met | missing, 0.0, 1.0), met | missing
        short = np.abs(level - need.target) / self.book.attributes[need.attribute].tolerance
        satisfied = np.where(met, 1.0, np.where(missing, 0.0, np.maximum(0.0, 1.0 - short)))
        unmet = (~met | missing) & (need.strength == "must")
        return satisfied, unmet


def firsts_of(leading: Leading) -> dict[Group, str]:
    """The first product of each group that has one."""
    return {group: ids[0] for group, ids in leading.items() if ids}


def _tie(parts: tuple[Item, Item]) -> tuple[float, str]:
    """What settles a tie of scores, as in `match.shortlist`: the cheaper, then the id."""
    members = list({part.id: part for part in parts}.values())
    prices = [part.product.price for part in members]
    known = [price for price in prices if price is not None]
    price = sum(known) if len(known) == len(prices) else float("inf")
    return price, "+".join(part.id for part in members)
