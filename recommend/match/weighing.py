"""A catalogue judged for g customers at once: one, a shop's, or a population's.

Everything about a product that does not depend on the customer is worked out once, when the shelf
is made. What a shoe and an insole come to together is the sum of both and of what the pair adds.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.loading import Item
from recommend.dataclass import dataclass
from recommend.match.judge import INSOLE_READS, SHOE_READS, Fit, Judged, Parts, fit
from recommend.match.needs import Active, Bools, Floats, Need, NeedTable, in_steps
from recommend.rulebook.terms import COMPARISONS


class BeyondAsked:
    """What m products of one kind do beyond what is asked: the least that serves comes first.

    An attribute with a `plain` level counts against a product as far as it goes beyond that level,
    or beyond what is asked, in parts of the attribute's tolerance and by its weight `unasked`.

    Parameters
    ----------
    table : the needs that can be asked.
    kind : ``shoe`` or ``insole``.
    items : m products.

    Attributes
    ----------
    attributes : the a attributes of the kind that have a plain level.
    levels : (m, a) levels of the products, NaN where not stated.
    """

    def __init__(self, table: NeedTable, kind: str, items: Sequence[Item]) -> None:
        self.table, self.kind, self.items = table, kind, tuple(items)
        self._defs = {
            name: one
            for name, one in table.book.attributes.items()
            if name.startswith(f"{kind}.") and one.plain is not None
        }
        self.attributes = tuple(self._defs)
        self._asking: dict[str, list[tuple[int, Need]]] = {name: [] for name in self._defs}
        for n, need in enumerate(table.needs):
            if need.attribute in self._asking and need.strength != "never":
                self._asking[need.attribute].append((n, need))
        rows = [[item.levels.get(name, np.nan) for name in self.attributes] for item in items]
        self.levels = np.array(rows, float).reshape(len(rows), len(self.attributes))
        weights = [table.book.parameters.rank[f"weight-{o.unasked}"] for o in self._defs.values()]
        self.weights = np.array(weights, float)

    def beyond(self, active: Active) -> Floats:
        """How far each goes beyond what is asked, from 0 to 1, shape (g, m, a).

        What is not stated cannot be shown to be plain: it counts as far beyond. What the customer
        has is described as far as anybody could, and nothing more is held against it.
        """
        unknown = np.array([float(item.offered == "shop") for item in self.items])
        shape = (len(active.asked), *self.levels.shape)
        found = np.zeros(shape)
        for a, (name, definition) in enumerate(self._defs.items()):
            low, high = self._asked(name, active)
            level = self.levels[None, :, a]
            over = np.maximum(level - high[:, None], low[:, None] - level)
            part = np.where(np.isnan(over), unknown, over / definition.tolerance).clip(0, 1)
            found[:, :, a] = -in_steps(-part, self.table.book)
        return found

    def _asked(self, name: str, active: Active) -> tuple[Floats, Floats]:
        """From where to where an attribute is plain or asked, shapes (g,) and (g,)."""
        plain = self._defs[name].plain_level
        assert plain is not None
        low, high = np.full((2, len(active.asked)), plain)
        for n, need in self._asking[name]:
            if COMPARISONS[need.comparison].lower:
                high = np.where(active.asked[:, n], np.maximum(high, need.target), high)
            else:
                low = np.where(active.asked[:, n], np.minimum(low, need.target), low)
        return low, high

    def cost(self, active: Active) -> Floats:
        """The weight of it all, shape (g, m); a product where none is asked for counts as well."""
        bought = np.array([item.offered == "shop" for item in self.items], np.bool_)
        weight = self.table.book.parameters.rank.weight_unasked_product
        unasked = ~self.table.asks_more(self.kind, active)[:, None] & bought
        return np.asarray(self.beyond(active) @ self.weights + weight * unasked)


Array = NDArray[Any]
Way = Literal["pair", "shoe", "insole"]
WAYS: tuple[Way, ...] = ("pair", "shoe", "insole")
KINDS: tuple[Way, ...] = ("shoe", "insole")
_OF_PAIR: tuple[Way, ...] = (*KINDS, "pair")  # what a pair comes to is their sum


@dataclass(frozen=True, slots=True)
class Costs:
    """What speaks against m products for g customers; 0 where nothing does.

    Attributes
    ----------
    fit : weight of how it misses the foot, its length aside, shape (g, m).
    function : weight of wishes not met, and of what it does unasked, shape (g, m).
    """

    fit: Floats
    function: Floats


class Assortment:
    """Shoes and insoles with everything about them that does not depend on the customer.

    Parameters
    ----------
    table : the needs that can be asked.
    shoes, insoles : s shoes and i insoles.
    """

    def __init__(self, table: NeedTable, shoes: Sequence[Item], insoles: Sequence[Item]) -> None:
        self.table, self.shoes, self.insoles = table, tuple(shoes), tuple(insoles)
        self.items = (*self.shoes, *self.insoles)
        self._mask = {way: table.kinds(way) for way in WAYS}
        self.shoe = Judged(table.book, table.needs, [(item,) for item in self.shoes])
        self.insole = Judged(table.book, table.needs, [(item,) for item in self.insoles])
        self.fitting = self._fitted()
        fits = [[one.fits for one in row] for row in self.fitting]
        self.fits = np.array(fits, bool).reshape(len(self.shoes), len(self.insoles))

    def _fitted(self) -> list[list[Fit]]:
        """Whether each insole goes into each shoe; those alike once."""
        parameters = self.table.book.parameters
        shoes, of_shoe = _grouped([tuple(map(s.levels.get, SHOE_READS)) for s in self.shoes])
        reads = [(i.offered, *map(i.levels.get, INSOLE_READS)) for i in self.insoles]
        insoles, of_insole = _grouped(reads)
        found = [[fit(self.shoes[s], self.insoles[i], parameters) for i in insoles] for s in shoes]
        return [[found[shoe][insole] for insole in of_insole] for shoe in of_shoe]

    # --- as what speaks against each --------------------------------------------------------

    def judged(self, way: Way) -> Judged:
        """How shoes, insoles, or pairs that differ, stand to every need."""
        return {"shoe": self.shoe, "insole": self.insole, "pair": self.together}[way]

    def of_kind(self, kind: Way) -> tuple[Item, ...]:
        """The shoes, or the insoles."""
        return self.shoes if kind == "shoe" else self.insoles

    def costs(self, way: Way, active: Active, rows: NDArray[np.intp]) -> Costs:
        """What speaks against some shoes, insoles or fitting pairs (`pairs` says which)."""
        if way != "pair":
            own = self._costs(way, active, self._mask[way] | self._mask["pair"])
            return Costs(own.fit[:, rows], own.function[:, rows])
        shoe, insole, both = (self._costs(w, active, self._mask[w]) for w in _OF_PAIR)
        s, i = (one[rows] for one in self.pairs)
        k = self.which[s, i]
        return Costs(
            shoe.fit[:, s] + insole.fit[:, i] + both.fit[:, k],
            shoe.function[:, s] + insole.function[:, i] + both.function[:, k],
        )

    def out(self, way: Way, active: Active, *, spare: bool = False) -> Bools:
        """Whether a must or a never rules out each shoe, insole or fitting pair, shape (g, m).

        With `spare`, having no insole will do even where one is asked for; it then meets nothing.
        """
        if way != "pair":
            out = _broken(self.judged(way), active, self._mask[way] | self._mask["pair"])
            return self._ruling(way, out, active, spare)
        s, i = self.pairs
        alone = self.alone_out("shoe", active)[:, s]
        alone = alone | self.alone_out("insole", active, spare=spare)[:, i]
        both = _broken(self.together, active, self._mask["pair"])[:, self.which[s, i]]
        as_it_is = self._undescribed["shoe"][s] & (self._offered["insole"] == "none")[i]
        return np.asarray(alone | (both & ~as_it_is), np.bool_)

    def alone_out(self, kind: Way, active: Active, *, spare: bool = False) -> Bools:
        """Whether what a shoe or an insole is by itself rules it out, whatever its partner."""
        out = _broken(self.judged(kind), active, self._mask[kind])
        return self._ruling(kind, out, active, spare)

    def _ruling(self, kind: Way, out: Bools, active: Active, spare: bool) -> Bools:
        """What is ruled out; of shoes nobody described, whether something asks for more."""
        known = out & ~self._undescribed[kind][None, :]
        unwarranted = self._unwarranted(kind, active)
        if spare:
            unwarranted = unwarranted & (self._offered[kind] != "none")
        return np.asarray(known | unwarranted, np.bool_)

    @cached_property
    def _undescribed(self) -> dict[Way, Bools]:
        """By kind, the customer's own shoes of which nothing is known, shape (m,)."""
        return {
            kind: np.array(
                [i.offered == "own" and not i.levels for i in self.of_kind(kind)], np.bool_
            )
            for kind in KINDS
        }

    def _costs(self, way: Way, active: Active, mask: Bools) -> Costs:
        """Costs of the needs in a mask."""
        judged = self.judged(way)
        fit_needs = self.table.fit & mask
        function = _missed(judged, active, mask & ~fit_needs)
        if way != "pair":
            function = function + self.unasked[way].cost(active)
        fits = _missed(judged, active, fit_needs)
        if way != "pair":
            fits[:, self._undescribed[way] | (self._offered[way] == "none")] = 0
            will_do = ~self.table.asks_more(way, active)
            nothing = self._undescribed[way][None, :] | (
                (self._offered[way] == "none")[None, :] & will_do[:, None]
            )
            function = np.where(nothing, 0.0, function)
        if way == "insole" and self.kept_insole is not None:
            weight = self.table.book.parameters.rank.weight_kept
            kept = self._offered[way] == "own"
            out = _broken(judged, active, mask)
            function = function + weight * (~kept & ~out[:, kept])
        return Costs(fits, function)

    @cached_property
    def _offered(self) -> dict[Way, Array]:
        """By kind, who offers each: shop, own, none, shape (m,)."""
        return {kind: np.array([i.offered for i in self.of_kind(kind)], "U4") for kind in KINDS}

    @cached_property
    def kept_insole(self) -> Item | None:
        """The insole that the customer keeps, if they keep one."""
        return next((item for item in self.insoles if item.offered == "own"), None)

    def _unwarranted(self, way: Way, active: Active) -> Bools:
        """Where shoes nobody described, or no insole, will not do: something asks for more."""
        without = self._undescribed[way] | (self._offered[way] == "none")
        return np.asarray(self.table.asks_more(way, active)[:, None] & without, np.bool_)

    @cached_property
    def unasked(self) -> dict[Way, BeyondAsked]:
        """What shoes and insoles do beyond what is asked."""
        return {kind: BeyondAsked(self.table, kind, self.of_kind(kind)) for kind in KINDS}

    # --- pairs ------------------------------------------------------------------------------

    @cached_property
    def pairs(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Shoe and insole of every pair that fits, shapes (p,) and (p,)."""
        shoes, insoles = np.nonzero(self.fits)
        return shoes, insoles

    @cached_property
    def together(self) -> Judged:
        """Pairs that are alike in the attributes of the pair, judged once; `which` says who."""
        return Judged(self.table.book, self.table.needs, self._alike[0])

    @property
    def which(self) -> NDArray[np.intp]:
        """Row of each shoe with each insole in `together`, shape (s, i)."""
        return self._alike[1]

    @cached_property
    def _alike(self) -> tuple[list[Parts], NDArray[np.intp]]:
        summed = sorted({part for sums in self.table.book.sums.values() for part in sums})
        own = [tuple(map(item.levels.get, summed)) for item in self.items]
        shoes, of_shoe = _grouped(own[: len(self.shoes)])
        insoles, of_insole = _grouped(own[len(self.shoes) :])
        pairs: list[Parts] = [(self.shoes[s], self.insoles[i]) for s in shoes for i in insoles]
        which = np.add.outer(np.array(of_shoe, np.intp) * len(insoles), of_insole)
        return pairs, np.asarray(which, np.intp)


def _grouped(keys: Sequence[Hashable]) -> tuple[list[int], list[int]]:
    """The first place of each group of equal keys, and which group each key is of."""
    first: dict[Hashable, int] = {}
    for place, key in enumerate(keys):
        first.setdefault(key, place)
    groups = {key: group for group, key in enumerate(first)}
    return list(first.values()), [groups[key] for key in keys]


def _missed(judged: Judged, active: Active, mask: Bools) -> Floats:
    """Weighted want of satisfaction of the needs in a mask, shape (g, m)."""
    return np.asarray(active.weights[:, mask] @ (1 - judged.satisfaction[:, mask]).T)


def _broken(judged: Judged, active: Active, mask: Bools) -> Bools:
    """Whether a binding need in a mask is broken, shape (g, m)."""
    binding = active.binding[:, mask].astype(np.float32)
    return np.asarray(binding @ judged.broken[:, mask].T.astype(np.float32) > 0)
