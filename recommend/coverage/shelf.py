"""A catalogue judged for many customers at once, by the same verdicts as for one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from recommend.catalogue.fitting import fit
from recommend.catalogue.loading import Item
from recommend.coverage.need_table import Active, NeedTable
from recommend.coverage.numbers import Array
from recommend.match.judge import pair_levels, verdict_on

Way = Literal["pair", "shoe", "insole"]
WAYS: tuple[Way, ...] = ("pair", "shoe", "insole")
UNSUITABLE = np.float32(-np.inf)


class Shelf:
    """Shoes and insoles with everything about them that does not depend on the customer.

    Parameters
    ----------
    table : the needs that can be asked.
    shoes, insoles : s shoes and i insoles.
    """

    def __init__(self, table: NeedTable, shoes: Sequence[Item], insoles: Sequence[Item]) -> None:
        self.table, self.shoes, self.insoles = table, tuple(shoes), tuple(insoles)
        self.items = (*self.shoes, *self.insoles)
        self._of_shoe, self._of_insole = table.kinds("shoe"), table.kinds("insole")
        self._of_pair = table.kinds("pair")
        self._shoe = _Judged(table, [(item,) for item in self.shoes])
        self._insole = _Judged(table, [(item,) for item in self.insoles])
        self._together, self._which = self._pairs_alike()
        parameters = table.book.parameters
        fits = [[fit(s, i, parameters).fits for i in self.insoles] for s in self.shoes]
        self._fits = np.array(fits, bool).reshape(len(self.shoes), len(self.insoles))

    @property
    def any_fit(self) -> bool:
        """Whether any insole fits any shoe."""
        return bool(self._fits.any())

    def scores(self, way: Way, active: Active) -> Array:
        """Score from 0 to 1 of every shoe, insole or pair; minus infinity where unsuitable.

        Returns
        -------
        float32, shape (g, s), (g, i), or (g, s, i).
        """
        if way == "shoe":
            return self._single(self._shoe, self._of_shoe | self._of_pair, active)
        if way == "insole":
            return self._single(self._insole, self._of_insole | self._of_pair, active)
        return self._pair(active)

    def breaks(self, kind: str, needs: Array) -> tuple[Array, Array]:
        """Which products of a kind break which of the needs in a mask, and how many each is.

        Pairs that are alike in the attributes of the pair are taken together.
        """
        if kind == "pair":
            counts = np.bincount(self._which[self._fits], minlength=len(self._together.broken))
            return self._together.broken[:, needs], counts
        judged = self._shoe if kind == "shoe" else self._insole
        return judged.broken[:, needs], np.ones(len(judged.broken))

    def _single(self, judged: _Judged, mask: Array, active: Active) -> Array:
        total = active.weights[:, mask].sum(axis=1)
        gained = judged.gained(active, mask)
        return _ruled_out(_share(gained, total[:, None]), judged.ruled_out(active, mask))

    def _pair(self, active: Active) -> Array:
        """Shoe and insole must each be suitable alone, and their pair as well."""
        of_shoe, of_insole, of_pair = self._of_shoe, self._of_insole, self._of_pair
        total = active.weights.sum(axis=1)[:, None]
        shoe = _ruled_out(
            _share(self._shoe.gained(active, of_shoe), total),
            self._shoe.ruled_out(active, of_shoe | of_pair),
        )
        insole = _ruled_out(
            _share(self._insole.gained(active, of_insole), total, empty=0),
            self._insole.ruled_out(active, of_insole | of_pair),
        )
        together = _ruled_out(
            _share(self._together.gained(active, of_pair), total, empty=0),
            self._together.ruled_out(active, of_pair),
        )
        out = np.take(together, self._which, axis=1)
        out += shoe[:, :, None]
        out += insole[:, None, :]
        out[:, ~self._fits] = UNSUITABLE
        return out

    def _pairs_alike(self) -> tuple[_Judged, Array]:
        """Pairs that are alike in the attributes of the pair, judged once, and who is who."""
        parts = sorted({part for sums in self.table.book.sums.values() for part in sums})
        own = [tuple(item.levels.get(part) for part in parts) for item in self.items]
        alike: dict[tuple[object, object], int] = {}
        pairs: list[tuple[Item, ...]] = []
        which = np.zeros((len(self.shoes), len(self.insoles)), np.intp)
        for s, shoe in enumerate(self.shoes):
            for i, insole in enumerate(self.insoles):
                key = (own[s], own[len(self.shoes) + i])
                if key not in alike:
                    alike[key] = len(pairs)
                    pairs.append((shoe, insole))
                which[s, i] = alike[key]
        return _Judged(self.table, pairs), which


class _Judged:
    """Satisfaction of every need, and whether it is broken, for m products or pairs."""

    def __init__(self, table: NeedTable, products: Sequence[tuple[Item, ...]]) -> None:
        shape = (len(products), len(table.needs))
        self.satisfaction = np.zeros(shape, np.float32)
        self.broken = np.zeros(shape, bool)
        for m, parts in enumerate(products):
            levels = {name: level for part in parts for name, level in part.levels.items()}
            levels |= pair_levels(parts, table.book)
            for n, need in enumerate(table.needs):
                verdict = verdict_on(need, levels.get(need.attribute), table.book)
                self.satisfaction[m, n] = verdict.satisfaction
                self.broken[m, n] = verdict.broken

    def gained(self, active: Active, mask: Array) -> Array:
        """Weighted satisfaction, shape (g, m)."""
        return np.asarray(active.weights[:, mask] @ self.satisfaction[:, mask].T)

    def ruled_out(self, active: Active, mask: Array) -> Array:
        """Whether a binding need is broken, shape (g, m)."""
        binding = active.binding[:, mask].astype(np.float32)
        return np.asarray(binding @ self.broken[:, mask].T.astype(np.float32) > 0)


def _share(gained: Array, total: Array, empty: float = 1) -> Array:
    """Part of the weight that was gained; `empty` where nothing that counts was asked."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(total > 0, gained / total, np.float32(empty)).astype(np.float32)


def _ruled_out(share: Array, ruled_out: Array) -> Array:
    share[ruled_out] = UNSUITABLE
    return share
