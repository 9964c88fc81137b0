"""What a catalogue comes to for the same customers under two rulebooks: the whole of it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from recommend.check.examples import need_keys
from recommend.match.cases import Cases
from recommend.match.needs import asked_words
from recommend.match.weighing import WAYS, Way
from recommend.rulebook.book import Rulebook

NOTHING, WITHHELD = "nothing", "withheld by a stop"


@dataclass(frozen=True, slots=True)
class DrawnShare:
    """How many of the drawn, and the share of a shop's that they stand for."""

    count: int = 0
    of_shop: float = 0.0

    def __add__(self, other: DrawnShare) -> DrawnShare:
        return DrawnShare(self.count + other.count, self.of_shop + other.of_shop)


def shared(mask: NDArray[np.bool_], weights: NDArray[np.float64]) -> DrawnShare:
    """Those of a mask, shape (n,); `weights` are 1 on average, less where they are parts."""
    return DrawnShare(int(mask.sum()), float(weights[mask].sum() / len(mask)))


@dataclass(frozen=True, slots=True)
class Ranked:
    """What becomes of the products of one kind.

    Attributes
    ----------
    firsts : customers for whom another product comes first, by transition.
    order : customers for whom what is listed, or its order, is another.
    out, back : customers for whom a product is now ruled out, or is not any more, by product.
    """

    firsts: tuple[tuple[str, str, DrawnShare], ...]
    order: DrawnShare
    out: Mapping[str, int]
    back: Mapping[str, int]


Pairs: TypeAlias = Mapping[tuple[int | None, int | None], DrawnShare]


def binding_moved(
    old: Cases, new: Cases, weights: NDArray[np.float64]
) -> tuple[dict[str, int], dict[str, int]]:
    """Customers whose nevers and musts go or come, each in words; stopped ones are left out."""
    unbound: Counter[str] = Counter()
    bound: Counter[str] = Counter()
    was, now = _bindings(old), _bindings(new)
    for (one, other), share in _together(old, new, weights).items():
        if one is not None and other is not None:
            unbound.update(dict.fromkeys(sorted(was[one] - now[other]), share.count))
            bound.update(dict.fromkeys(sorted(now[other] - was[one]), share.count))
    return dict(unbound.most_common()), dict(bound.most_common())


def ranked(old: Cases, new: Cases, weights: NDArray[np.float64]) -> dict[str, Ranked]:
    """For shoes, insoles and pairs: what comes first, in which order the rest, and what is out.

    Of shoes and insoles the whole order is compared, of pairs what the screen lists.
    """
    together = _together(old, new, weights)
    if _ranked_by(old.ranking.book) == _ranked_by(new.ranking.book):
        asked = _fired(old), _fired(new)
        together = {
            (one, other): share
            for (one, other), share in together.items()
            if one is None or other is None or asked[0][one] != asked[1][other]
        }
    was, now = (_part(cases, [pair[n] for pair in together]) for n, cases in enumerate((old, new)))
    moved = {(was[1][a], now[1][b]): n for (a, b), n in together.items()}
    return {way: _of_way(way, was[0], now[0], moved) for way in WAYS}


def _ranked_by(book: Rulebook) -> tuple[object, ...]:
    """What an order stands on, whatever is asked: attributes, figures and needs."""
    attributes = [(n, one, list(one.scale)) for n, one in sorted(book.attributes.items())]
    needs = {rule.id: list(need_keys(rule, book)) for rule in book.rules if rule.asks}
    return attributes, book.parameters.numbers, needs


def _fired(cases: Cases) -> list[tuple[frozenset[str], int]]:
    """What each case asks, and its size class."""
    rules = np.array(cases.ranking.table.rules)
    rows = zip(cases.holds, cases.sizes, strict=True)
    return [(frozenset(rules[holds]), int(size)) for holds, size in rows]


def _part(cases: Cases, wanted: list[int | None]) -> tuple[Cases, dict[int | None, int | None]]:
    """Only some of the cases, so that no others are ranked, and where each is among them."""
    kept = sorted({one for one in wanted if one is not None})
    place: dict[int | None, int | None] = {one: n for n, one in enumerate(kept)}
    some = replace(cases, holds=cases.holds[kept], sizes=cases.sizes[kept])
    return some, {**place, None: None}


def _together(old: Cases, new: Cases, weights: NDArray[np.float64]) -> Pairs:
    """How many customers fall into which case of both; None where a stop withholds the list."""
    pairs: dict[tuple[int | None, int | None], DrawnShare] = defaultdict(DrawnShare)
    rows = zip(old.case, old.stopped, new.case, new.stopped, weights / len(weights), strict=True)
    for was, was_stopped, now, now_stopped, weight in rows:
        key = (None if was_stopped else int(was), None if now_stopped else int(now))
        pairs[key] += DrawnShare(1, float(weight))
    return pairs


def _bindings(cases: Cases) -> list[frozenset[str]]:
    """The nevers and musts of each case, in words."""
    table = cases.ranking.table
    words = np.array([asked_words(need, table.book) for need in table.needs], object)
    return [frozenset(words[some]) for some in cases.active.binding]


@dataclass(frozen=True)
class _Lists:
    """The candidates of one kind in every case: in order, and which of them are ruled out."""

    cases: Cases
    way: Way

    @cached_property
    def leading(self) -> list[tuple[str, ...]]:
        shown = self.cases.ranking.book.parameters.rank.shown
        return self.cases.leading(self.way, shown if self.way == "pair" else len(self.ids))

    @cached_property
    def ids(self) -> list[str]:
        return self.cases.ranking.ids(self.way)

    def order(self, case: int | None) -> tuple[str, ...]:
        """Ids of what is listed, best first."""
        return () if case is None else self.leading[case]

    def first(self, case: int | None) -> str:
        """The first of them."""
        order = self.order(case)
        return order[0] if order else NOTHING if case is not None else WITHHELD

    def out(self, case: int) -> frozenset[str]:
        """Ids of what is ruled out."""
        ruled = self.cases.standing[self.way].ruled_out[case]
        return frozenset(self.ids[at] for at in np.flatnonzero(ruled))


def _of_way(way: Way, old: Cases, new: Cases, together: Pairs) -> Ranked:
    was, now = _Lists(old, way), _Lists(new, way)
    firsts: dict[tuple[str, str], DrawnShare] = defaultdict(DrawnShare)
    out: Counter[str] = Counter()
    back: Counter[str] = Counter()
    order = DrawnShare()
    for (one, other), share in together.items():
        if was.order(one) != now.order(other):
            order += share
        first = was.first(one), now.first(other)
        if first[0] != first[1]:
            firsts[first] += share
        if one is not None and other is not None and way != "pair":
            gone, come = was.out(one), now.out(other)
            out.update(dict.fromkeys(sorted(come - gone), share.count))
            back.update(dict.fromkeys(sorted(gone - come), share.count))
    most = sorted(firsts.items(), key=lambda pair: -pair[1].count)
    moves = tuple((a, b, n) for (a, b), n in most)
    return Ranked(moves, order, dict(out.most_common()), dict(back.most_common()))
