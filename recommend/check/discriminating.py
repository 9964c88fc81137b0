"""How well the order tells people apart: ties, who decides them, and wishes that never decide.

Customers are drawn as `check/people` mixes them, children, pain and unusual answers among them, and
ranked many at a time by the readings as they stand; shares are a shop's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from recommend.catalogue.loading import Catalogue
from recommend.check.people import People
from recommend.match.cases import Cases
from recommend.match.ranking import Places
from recommend.match.shortlist import ranking_of
from recommend.match.weighing import WAYS, Way
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE

_AT_ONCE = 25  # cases that are ranked anew together


@dataclass(frozen=True, slots=True)
class Goal:
    """A figure, what it should be at most, and whether it is."""

    title: str
    found: float
    most: float

    @property
    def met(self) -> bool:
        """Whether the figure is no more than it should be."""
        return self.found <= self.most


@dataclass(frozen=True, slots=True)
class OrderSharpness:
    """What the order does to customers whom no stop withholds it from.

    Attributes
    ----------
    customers : how many were ranked.
    tied, priced : by way of selling, the share whose first group has several members, and the
        share where these have several prices, so that the price orders them.
    goals : figures beside what they should be.
    idle : wishes that never change who is in a first group, in words.
    first : ids that are ever in a first group, by way of selling.
    within, between : mean overlap of the first three groups of pairs of customers of one foot
        type, and of different ones, at the same size and purpose.
    """

    customers: int
    tied: Mapping[Way, float]
    priced: Mapping[Way, float]
    goals: tuple[Goal, ...]
    idle: tuple[str, ...]
    first: Mapping[Way, tuple[str, ...]]
    within: float
    between: float


def discrimination_of(book: Rulebook, catalogue: Catalogue, seed: int = 0) -> OrderSharpness:
    """Rank drawn customers and count; see `OrderSharpness`."""
    crowd = _Ranked(book, catalogue, seed, book.parameters.discrimination.customers)
    firsts: dict[Way, list[Places]] = {way: crowd.firsts(way) for way in WAYS}
    shares = crowd.cases.shares
    sizes = {way: np.array([len(rows) for rows in firsts[way]]) for way in WAYS}
    within, between = crowd.overlaps()
    return OrderSharpness(
        customers=int((~crowd.cases.stopped).sum()),
        tied={way: float(shares @ (sizes[way] > 1)) for way in WAYS},
        priced={way: float(shares @ _priced(crowd, way, firsts[way])) for way in WAYS},
        goals=tuple(_goals(crowd, sizes, firsts["pair"])),
        idle=tuple(_idle(crowd, catalogue, seed)),
        first={way: _ever(crowd, way, firsts[way]) for way in WAYS},
        within=within,
        between=between,
    )


class _Ranked:
    """Drawn customers, what they need, and how the catalogue is ranked for them."""

    def __init__(self, book: Rulebook, catalogue: Catalogue, seed: int, count: int) -> None:
        self.book, crowd = book, People.mixed(book, count, seed)
        self.purpose = np.array(crowd.customers.texts("purpose"))
        cases = crowd.cases(ranking_of(book, catalogue))
        self.cases: Cases = replace(cases, weights=crowd.weights)
        self.types = crowd.feet["left"].axes[FOOT_TYPE]

    def firsts(self, way: Way) -> list[Places]:
        """Rows of the first group of every case."""
        return [groups[0] if groups else np.zeros(0, np.intp) for groups in self.cases.best(way, 1)]

    def key(self, n: int) -> tuple[int, str]:
        """Size class and purpose; only customers alike in them are held against each other."""
        return int(self.cases.sizes[self.cases.case[n]]), self.purpose[n]

    def overlaps(self) -> tuple[float, float]:
        """Mean overlap of the first three pairs of customers of one type, and of two."""
        groups = self.cases.best("pair", 3)
        three = [{int(m) for rows in one[:3] for m in rows} for one in groups]
        found: dict[bool, list[float]] = {True: [], False: []}
        keys = {n: self.key(n) for n in np.flatnonzero(~self.cases.stopped).tolist()}
        for a, b in combinations(keys, 2):
            if keys[a] == keys[b]:
                overlap = _jaccard(three[self.cases.case[a]], three[self.cases.case[b]])
                found[bool(self.types[a] == self.types[b])].append(overlap)
        return _mean(found[True]), _mean(found[False])


def _priced(crowd: _Ranked, way: Way, firsts: Sequence[Places]) -> np.ndarray:
    """Whether the members of each first group differ in price."""
    items, members = crowd.cases.ranking.shelf.items, crowd.cases.ranking.members(way)

    def price(row: int) -> float:
        return sum(items[place].product.price or 0.0 for place in members[row])

    return np.array([len({price(int(row)) for row in rows}) > 1 for rows in firsts], np.bool_)


def _goals(
    crowd: _Ranked, sizes: Mapping[Way, np.ndarray], pairs: Sequence[Places]
) -> Iterator[Goal]:
    most, shares = crowd.book.parameters.discrimination, crowd.cases.shares
    for way in WAYS:
        order = np.argsort(sizes[way])
        reached = np.cumsum(shares[order])
        for title, share, largest in (
            ("median", 0.5, most.median_most),
            ("nine of ten", 0.9, most.nine_tenths_most),
        ):
            place = min(int(np.searchsorted(reached, share - 1e-9)), len(order) - 1)
            yield Goal(
                f"members of the first group, {way}, {title}",
                float(sizes[way][order[place]]),
                largest,
            )
    overlap = _overlap_of_types(crowd, pairs)
    yield Goal("overlap of first groups, types with other needs", overlap, most.overlap_most)


def _overlap_of_types(crowd: _Ranked, pairs: Sequence[Places]) -> float:
    """Mean overlap of first groups of customers whose needs differ in what is strong or binding."""
    firsts = [{int(m) for m in rows} for rows in pairs]
    active, cases = crowd.cases.active, crowd.cases
    strong = active.binding | (active.weights >= crowd.book.parameters.rank.weight_strong)
    by_key: dict[tuple[int, str], list[int]] = {}
    for n in np.flatnonzero(~cases.stopped).tolist():
        by_key.setdefault(crowd.key(n), []).append(n)
    found = []
    for some in by_key.values():
        for one, other in combinations(some, 2):
            a, b = cases.case[one], cases.case[other]
            types = crowd.types[one] != crowd.types[other]
            if types and (strong[a] != strong[b]).any():
                found.append(_jaccard(firsts[a], firsts[b]))
    return _mean(found)


def _idle(crowd: _Ranked, catalogue: Catalogue, seed: int) -> Iterator[str]:
    """Wishes without which every first group would be the same, among many more customers too."""
    table, parameters = crowd.cases.ranking.table, crowd.book.parameters
    wishes = [n for n, need in enumerate(table.needs) if need.strength == "prefer"]
    most = parameters.discrimination.asking
    open_ = [n for n in wishes if not _decides(crowd, n, most)]
    if open_:
        more = _Ranked(crowd.book, catalogue, seed + 1, parameters.discrimination.searched)
        open_ = [n for n in open_ if not _decides(more, n, most)]
    for n in open_:
        need = table.needs[n]
        yield f"{need.attribute} {need.comparison} {need.target:g}"


def _decides(crowd: _Ranked, n: int, most: int) -> bool:
    """Whether a wish changes a first group of the first `most` cases that ask for it."""
    cases = crowd.cases
    kind: Way = "insole" if cases.ranking.table.kinds("insole")[n] else "shoe"
    asking = np.flatnonzero(cases.active.asked[:, n] & (cases.shares > 0))[:most]
    for way in (kind, "pair"):
        for start in range(0, len(asking), _AT_ONCE):
            some = asking[start : start + _AT_ONCE]
            now, then = cases.first_of(way, some), cases.first_of(way, some, without=n)
            if any(set(a) != set(b) for a, b in zip(now, then, strict=True)):
                return True
    return False


def _ever(crowd: _Ranked, way: Way, firsts: Sequence[Places]) -> tuple[str, ...]:
    ids = crowd.cases.ranking.ids(way)
    seen = {int(m) for rows in firsts for m in rows}
    return tuple(sorted(ids[m] for m in seen))


def _mean(found: list[float]) -> float:
    return float(np.mean(found)) if found else 0.0


def _jaccard(one: set[int], other: set[int]) -> float:
    return len(one & other) / len(one | other) if one | other else 1.0
