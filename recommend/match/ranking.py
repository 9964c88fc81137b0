"""The order of a catalogue for g customers: what fits, then what is asked, then the least.

Candidates that the measurements cannot tell apart share a *signature*: the same step of length,
the same verdict on every wish, the same beyond what was asked. Signatures are in order; candidates
of one signature are equals.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.loading import Catalogue, Item
from recommend.dataclass import dataclass
from recommend.match.needs import Active, Bools, Floats, NeedTable, need_table
from recommend.match.out import NO_INSOLE, OWN_SHOES, Out, not_bought
from recommend.match.sizes import SizeClasses, extra_length
from recommend.match.weighing import KINDS, Assortment, Way
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.visit.models import Visit

Made = TypeVar("Made")
Places = NDArray[np.intp]
_NOTHING_OUT = Out({})
_EXACT = 6  # decimals to which weights are added up


class ByWay(dict[Way, Made]):
    """What is made for shoes, insoles or pairs when it is first asked for."""

    def __init__(self, make: Callable[[Way], Made]) -> None:
        super().__init__()
        self._make = make

    def __missing__(self, way: Way) -> Made:
        made = self[way] = self._make(way)
        return made


@dataclass(frozen=True, slots=True)
class Standing:
    """How m candidates stand for g customers.

    Attributes
    ----------
    rows : which candidates they are, shape (m,).
    ruled_out : by a must or a never, or because it will not do, shape (g, m).
    there : whether it can be handed over in the size, shape (g, m).
    fit : weight of how it misses the foot, length included, shape (g, m).
    function : weight of wishes not met, and of what it does unasked, shape (g, m).
    parameters : those of the rulebook, which say what fits alike.
    """

    rows: Places
    ruled_out: Bools
    there: Bools
    fit: Floats
    function: Floats
    parameters: Parameters

    def tier(self, row: int) -> Floats:
        """0 for what fits one customer well, more for what fits worse, shape (m,)."""
        return fit_tier(self.fit[row], self.parameters)

    def costs(self, row: int) -> tuple[Floats, Floats, Floats]:
        """What orders candidates for one customer: how they fit, then all that speaks against."""
        total = np.round(self.fit[row] + self.function[row], _EXACT)
        return self.tier(row), total, self.fit[row]

    @property
    def listed(self) -> Bools:
        """Whether it can be offered, shape (g, m)."""
        return np.asarray(~self.ruled_out & self.there)


class Ranking:
    """One catalogue made ready to be ranked for any number of customers.

    Parameters
    ----------
    book : the rulebook, which says what attributes are.
    catalogue : what stands on the shelf.
    own : the customer's own shoes and insole, as far as they were described; other shoes of
        their own will do only when nothing asks for more.
    """

    def __init__(self, book: Rulebook, catalogue: Catalogue, own: Sequence[Item] = ()) -> None:
        self.book, self.catalogue = book, catalogue
        self.table: NeedTable = need_table(book)
        extra = without_insole(book)
        shoes = (*catalogue.shoes, *_own_shoes(extra, own))
        kept = [item for item in own if item.product.kind == "insole"]
        self.shelf = Assortment(self.table, shoes, (*catalogue.insoles, *kept, *extra))
        self.classes = SizeClasses(catalogue.items, book.parameters, steps=True)

    @cached_property
    def _sizes(self) -> tuple[Bools, NDArray[np.int64]]:
        """Whether it is there, and its step of length, by item and size class."""
        items = self.shelf.items
        steps = self.classes.steps(items)
        steps[[item.product.kind == "insole" for item in items]] = 0  # it is cut to the shoe
        return self.classes.having(items, ("in-stock",)).T, steps

    def length_edges(self, visit: Visit) -> list[float]:
        """Lengths of foot (mm) at which another size or another step of length is taken."""
        extra = extra_length(visit.purpose, visit.age_band, self.book.parameters)
        return [float(edge - extra) for edge in self.classes.edges]

    def members(self, way: Way) -> Places:
        """Items of every candidate, shape (m, 1) or (m, 2), as places in `shelf.items`."""
        return self._members[way]

    @cached_property
    def _members(self) -> dict[Way, Places]:
        shoes, (s, i) = len(self.shelf.shoes), self.shelf.pairs
        return {
            "shoe": np.arange(shoes)[:, None],
            "insole": shoes + np.arange(len(self.shelf.insoles))[:, None],
            "pair": np.column_stack([s, shoes + i]),
        }

    def standing(
        self,
        way: Way,
        active: Active,
        sizes: Places,
        out: Out = _NOTHING_OUT,
        *,
        listed: bool = False,
    ) -> Standing:
        """How every candidate stands for customers with these needs and size classes.

        Parameters
        ----------
        active : what g customers need.
        sizes : (g,) their size classes.
        out : what is out for them, whatever is needed.
        listed : leave out candidates that are listed for none of them.
        """
        kept, need = active.distinct()
        used, size = np.unique(sizes, return_inverse=True)
        there, steps = (table[:, used][self.members(way)] for table in self._sizes)
        there = np.all(there, axis=1)
        ruled_out = self._ruled_out(way, kept, out)
        rows = np.arange(len(there))
        if listed:
            rows = np.flatnonzero(there.any(axis=1) & ~ruled_out.all(axis=0))
        costs = self.shelf.costs(way, kept, rows)
        length = self.book.parameters.rank.weight_length * steps[rows].sum(axis=1).T
        return Standing(
            rows,
            ruled_out[:, rows][need],
            there[rows].T[size],
            np.round(costs.fit[need] + length[size], _EXACT),
            np.round(costs.function, _EXACT)[need],
            self.book.parameters,
        )

    def _ruled_out(self, way: Way, active: Active, out: Out) -> Bools:
        spare = out.price_limit is not None  # then no insole is better than no pair
        gone = np.array([item.id in out.why for item in self.shelf.items], np.bool_)
        dear = self._prices[way] > (np.inf if out.price_limit is None else out.price_limit)
        unfit = self.shelf.out(way, active, spare=spare)
        return np.asarray(unfit | gone[self.members(way)].any(axis=1) | dear, np.bool_)

    def beyond(self, active: Active) -> dict[Way, NDArray[np.int64]]:
        """What products do that g customers did not ask for, by kind, shape (g, m, k)."""
        return {kind: self._beyond(kind, active) for kind in KINDS}

    def signature(
        self,
        way: Way,
        active: Active,
        size: int,
        rows: Places,
        beyond: Mapping[Way, NDArray[np.int64]] | None = None,
    ) -> NDArray[np.int64]:
        """What tells candidates of one customer apart, shape (rows, k), better where lower.

        Nothing does under earlier rulebooks, whose equals are those of one score.

        Parameters
        ----------
        active : the needs of one customer.
        size : the size class.
        rows : which candidates.
        beyond : what products do unasked, where it is known already, shape (m, k) by kind.
        """
        if self.book.parameters.rank.width is None:
            return np.zeros((len(rows), 0), np.int64)
        steps = self._sizes[1][self.members(way)[rows], size]
        parts = list(self._parts(way, rows))
        wishes = [self._wishes(kind, places, active) for kind, places in parts]
        known = beyond or {kind: one[0] for kind, one in self.beyond(active).items()}
        unasked = [known[kind][places] for kind, places in parts if kind != "pair"]
        return np.column_stack([steps, *wishes, *unasked])

    def _parts(self, way: Way, rows: Places) -> Iterator[tuple[Way, Places]]:
        """The tables that candidates stand in, and their rows in each."""
        if way != "pair":
            yield way, rows
            return
        s, i = (one[rows] for one in self.shelf.pairs)
        yield from (("shoe", s), ("insole", i), ("pair", self.shelf.which[s, i]))

    def _wishes(self, kind: Way, places: Places, active: Active) -> NDArray[np.int64]:
        """How far each wish is missed: the strongest wish first, of two alike the gentler."""
        weights = active.weights[0]
        asked = np.flatnonzero((weights > 0) & self.table.kinds(kind))
        asked = asked[np.lexsort((~self.table.gentle[asked], -weights[asked]))]
        return _as_steps(1 - self.shelf.judged(kind).satisfaction[places][:, asked])

    def _beyond(self, kind: Way, active: Active) -> NDArray[np.int64]:
        offered = np.array([item.offered != "shop" for item in self.shelf.of_kind(kind)], np.int64)
        beyond = _as_steps(self.shelf.unasked[kind].beyond(active))
        own = np.broadcast_to(offered[None, :, None], (*beyond.shape[:2], 1))
        return np.concatenate([own, beyond], axis=2)

    def tie_order(self, way: Way) -> Places:
        """(m,) place of each candidate by price, then id: the order of equals."""
        return self._ties[way]

    @cached_property
    def _prices(self) -> dict[Way, Floats]:
        """What each candidate costs; infinite where a part has no price."""
        prices = np.array([_price(item) for item in self.shelf.items])
        return {way: prices[members].sum(axis=1) for way, members in self._members.items()}

    @cached_property
    def _ties(self) -> Mapping[Way, Places]:
        # No sign of an id comes before the +: ids joined by it are in order part by part.
        by_id = np.argsort(np.argsort([item.id for item in self.shelf.items]))

        def tied(way: Way) -> Places:
            ids = by_id[self._members[way]].T
            return np.argsort(np.lexsort((*ids[::-1], self._prices[way])))

        return ByWay(tied)

    def ids(self, way: Way) -> list[str]:
        """Ids of the candidates, those of parts joined by +."""
        return self._ids[way]

    def rows(self, way: Way, ids: Iterable[str]) -> Places:
        """Places of the candidates with these ids."""
        return np.array([self._row_of(way, one) for one in ids], np.intp)

    def _row_of(self, way: Way, name: str) -> int:
        places = [self._place_of[one] for one in name.split("+")]
        return int(np.flatnonzero((self._members[way] == places).all(axis=1))[0])

    @cached_property
    def _place_of(self) -> dict[str, int]:
        return {item.id: place for place, item in enumerate(self.shelf.items)}

    @cached_property
    def _ids(self) -> dict[Way, list[str]]:
        own = [item.id for item in self.shelf.items]
        return {
            way: ["+".join(own[place] for place in row) for row in members.tolist()]
            for way, members in self._members.items()
        }


def fit_tier(fit: Floats, parameters: Parameters) -> Floats:
    """How well candidates fit, in tiers: all up to ``rank.fits`` fit well and are of one.

    Under earlier rulebooks every weight against the fit was a tier of its own.
    """
    well = parameters.rank.fits
    return np.maximum(0.0, np.ceil((fit - well) / well)) if well else fit


def ordered(
    costs: Sequence[NDArray[Any]], signature: NDArray[np.int64], tie: Places, rows: Places
) -> list[Places]:
    """Rows of one customer in groups of equals, best first.

    Parameters
    ----------
    costs : what comes first, of every candidate, shapes (m,); less is better.
    signature : of the rows.
    tie : the order of equals, of every candidate.
    rows : which candidates to order.
    """
    if not len(rows):
        return []
    keys = np.column_stack([*(cost[rows] for cost in costs), signature])
    order = np.lexsort((tie[rows], *keys.T[::-1]))
    keys, found = keys[order], rows[order]
    starts = (np.flatnonzero((keys[1:] != keys[:-1]).any(axis=1)) + 1).tolist()
    return [found[start:end] for start, end in pairwise([0, *starts, len(found)])]


def without_insole(book: Rulebook) -> tuple[Item, ...]:
    """No insole at all, as a candidate; nothing where a rulebook does not say what that means."""
    attributes = book.attributes.items()
    levels = {n: o.level_without for n, o in attributes if o.level_without is not None}
    if not levels:
        return ()
    return (Item(not_bought("insole", NO_INSOLE, "no insole"), levels, {}, "none"),)


def _own_shoes(extra: Sequence[Item], own: Sequence[Item]) -> tuple[Item, ...]:
    described = tuple(item for item in own if item.product.kind == "shoe")
    if described:
        return described
    if not extra:
        return ()
    return (Item(not_bought("shoe", OWN_SHOES, "your own shoes"), {}, {}, "own"),)


def _price(item: Item) -> float:
    """What it costs; one without a price comes after those with one."""
    return np.inf if item.product.price is None else item.product.price


def _as_steps(parts: Floats) -> NDArray[np.int64]:
    """Parts from 0 to 1 as whole numbers that compare exactly."""
    return np.rint(parts * 1000).astype(np.int64)
