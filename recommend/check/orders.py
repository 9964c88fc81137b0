"""What a catalogue comes to for the same customers under two rulebooks: the whole of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from recommend.check.examples import need_keys
from recommend.match.cases import Cases
from recommend.match.needs import asked_words
from recommend.match.weighing import WAYS, Way
from recommend.rulebook.book import Rulebook

NOTHING, WITHHELD = "nothing", "withheld by a stop"


@dataclass(frozen=True, slots=True)
class Ranked:
    """What becomes of the products of one kind.

    Attributes
    ----------
    firsts : customers for whom another product comes first, by transition.
    order : customers for whom what is listed, or its order, is another.
    out, back : customers for whom a product is now ruled out, or is not any more, by product.
    """

    firsts: tuple[tuple[str, str, int], ...]
    order: int
    out: Mapping[str, int]
    back: Mapping[str, int]


def binding_moved(old: Cases, new: Cases) -> tuple[dict[str, int], dict[str, int]]:
    """Customers whose nevers and musts go or come, each in words; stopped ones are left out."""
    unbound: Counter[str] = Counter()
    bound: Counter[str] = Counter()
    was, now = _Bindings(old), _Bindings(new)
    for (one, other), count in _together(old, new).items():
        if one is not None and other is not None and was.of(one) != now.of(other):
            unbound.update(dict.fromkeys(was.of(one) - now.of(other), count))
            bound.update(dict.fromkeys(now.of(other) - was.of(one), count))
    return dict(unbound.most_common()), dict(bound.most_common())


def ranked(old: Cases, new: Cases) -> dict[str, Ranked]:
    """For shoes, insoles and pairs: what comes first, in which order the rest, and what is out.

    Of shoes and insoles the whole order is compared, of pairs what the screen lists.
    """
    together = _together(old, new)
    if _ranks_alike(old.ranking.book, new.ranking.book):
        asked = _fired(old), _fired(new)
        together = Counter({
            (one, other): count
            for (one, other), count in together.items()
            if one is None or other is None or asked[0][one] != asked[1][other]
        })  # fmt: skip
    was, now = (_part(cases, [pair[n] for pair in together]) for n, cases in enumerate((old, new)))
    moved = Counter({(was[1][a], now[1][b]): n for (a, b), n in together.items()})
    return {way: _of_way(way, was[0], now[0], moved) for way in WAYS}


def _ranks_alike(old: Rulebook, new: Rulebook) -> bool:
    """Whether both rank alike whatever is asked: the same attributes, figures and needs."""
    return _ranked_by(old) == _ranked_by(new)


def _ranked_by(book: Rulebook) -> tuple[object, ...]:
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


def _together(old: Cases, new: Cases) -> Counter[tuple[int | None, int | None]]:
    """How many customers fall into which case of both; None where a stop withholds the list."""
    pairs: Counter[tuple[int | None, int | None]] = Counter()
    rows = zip(old.case, old.stopped, new.case, new.stopped, strict=True)
    for was, was_stopped, now, now_stopped in rows:
        pairs[None if was_stopped else int(was), None if now_stopped else int(now)] += 1
    return pairs


@dataclass
class _Bindings:
    """The nevers and musts of each case, in words."""

    cases: Cases
    known: dict[int, frozenset[str]] = field(default_factory=dict)

    def of(self, case: int) -> frozenset[str]:
        """Those of one case."""
        if case not in self.known:
            self.known[case] = frozenset(self._words(case))
        return self.known[case]

    def _words(self, case: int) -> Iterator[str]:
        table = self.cases.ranking.table
        fired = [rule for rule, on in zip(table.rules, self.cases.holds[case], strict=True) if on]
        for need in table.of_pair({"left": fired}).needs:
            if need.strength != "prefer":
                yield asked_words(need, self.cases.ranking.book)


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


def _of_way(
    way: Way, old: Cases, new: Cases, together: Mapping[tuple[int | None, int | None], int]
) -> Ranked:
    was, now = _Lists(old, way), _Lists(new, way)
    firsts: Counter[tuple[str, str]] = Counter()
    out: Counter[str] = Counter()
    back: Counter[str] = Counter()
    order = 0
    for (one, other), count in together.items():
        order += count * (was.order(one) != now.order(other))
        if was.first(one) != now.first(other):
            firsts[was.first(one), now.first(other)] += count
        if one is not None and other is not None and way != "pair":
            gone, come = was.out(one), now.out(other)
            out.update(dict.fromkeys(come - gone, count))
            back.update(dict.fromkeys(gone - come, count))
    moves = tuple((a, b, n) for (a, b), n in firsts.most_common())
    return Ranked(moves, order, dict(out.most_common()), dict(back.most_common()))
