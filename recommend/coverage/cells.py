"""The matrix of foot types by size range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recommend.coverage.evaluate import Evaluator, Part, Served
from recommend.coverage.numbers import Array
from recommend.coverage.tally import Layout, Tally
from recommend.match.sizes import SizeClasses
from recommend.parameters import Parameters

UNDETERMINED = "undetermined"


@dataclass(frozen=True, slots=True)
class Band:
    """Prices from the cheapest to the dearest; both None where no price is stated."""

    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Cell:
    """Feet of one type in one size range.

    Attributes
    ----------
    foot_type, sizes : row and column.
    share : share of all feet, 0 to 1.
    served : share of them whose owner is served; None where a stop withholds all of them.
    choices : how many things there are to choose from, on average over its customers.
    products : how many different products can serve somebody here.
    best : best score of 100 that any of them reaches here; None where nothing suits.
    shoe_prices, insole_prices : of the products that can serve somebody here.
    stock : pieces of those products in stock in these sizes.
    """

    foot_type: str
    sizes: str
    share: float
    served: float | None
    choices: float
    products: int
    best: float | None
    shoe_prices: Band
    insole_prices: Band
    stock: int


@dataclass(frozen=True, slots=True)
class Ranges:
    """Size ranges and which size class falls into which.

    Attributes
    ----------
    labels : such as ``to 225``, ``230-240``, ``from 290``, ``not known``.
    of_class : range of each size class that occurs, shape (z,).
    """

    labels: tuple[str, ...]
    of_class: Array


def ranges_of(classes: SizeClasses, sizes: Array, parameters: Parameters) -> Ranges:
    """Size ranges for the size classes that occur."""
    step, width = parameters.coverage.size_step, parameters.coverage.size_range
    first, last = parameters.coverage.size_first, parameters.coverage.size_last
    tops = np.arange(first, last, width)
    labels = [f"to {first:g}"]
    labels += [f"{top + step:g}-{min(top + width, last - step):g}" for top in tops]
    labels += [f"from {last:g}", "not known"]
    found = []
    for index in sizes:
        size = classes.mondopoint(int(index))
        if size is None:
            found.append(len(labels) - 1)
        elif size >= last:
            found.append(len(labels) - 2)
        else:
            found.append(int(np.searchsorted(tops, size)))
    return Ranges(tuple(labels), np.array(found))


class CellSums:
    """Gathers the matrix while kinds are judged; give `add` to `Evaluator.evaluate`."""

    def __init__(
        self, evaluator: Evaluator, tally: Tally, layout: Layout, ranges: Ranges, types: int
    ) -> None:
        kinds = evaluator.kinds
        self.evaluator, self.kinds, self.ranges = evaluator, kinds, ranges
        open_ = tally.cases[:, layout.stop] == 0
        # Two rows per case, one for each foot; a foot counts half a customer.
        self.kind = np.tile(kinds.kind, 2)
        self.size = np.tile(kinds.size, 2)
        self.type = tally.cases[:, layout.types].T.ravel()
        self.weight = np.tile(np.where(open_, tally.counts, 0), 2) / 2
        self.all_weight = np.tile(tally.counts, 2) / 2
        self.shape = (types + 1, len(ranges.labels))
        self.cell = (self.type + 1) * self.shape[1] + ranges.of_class[self.size]
        self._order = np.lexsort((self.cell, self.kind))
        self._starts = np.searchsorted(self.kind[self._order], np.arange(len(kinds.holds) + 1))
        count = self.shape[0] * self.shape[1]
        self.products = np.zeros((count, len(evaluator.shelf.items)), bool)
        self.best = np.full(count, -np.inf)
        self._there = [self._in_stock(index) for index in range(self.shape[1])]

    def add(self, part: Part) -> None:
        """Gather what can be sold, and the best score, in every cell of a part."""
        rows = self._order[self._starts[part.rows.start] : self._starts[part.rows.stop]]
        rows = rows[self.weight[rows] > 0]
        kind, size, cell = self.kind[rows] - part.rows.start, self.size[rows], self.cell[rows]
        usable = np.concatenate([part.shoes[kind, :, size], part.insoles[kind, :, size]], axis=1)
        _or_into(self.products, cell, usable)
        self._raise_best(part, kind, cell)

    def _in_stock(self, index: int) -> tuple[Array, Array]:
        """Shoes and insoles that some size of a range can have."""
        here = self.ranges.of_class == index
        both = (self.evaluator.has_shoe, self.evaluator.has_insole)
        shoes, insoles = (np.flatnonzero(has[here].any(axis=0)) for has in both)
        return shoes, insoles

    def _raise_best(self, part: Part, kind: Array, cell: Array) -> None:
        """Raise the best score of cells, looking only at kinds that could raise it.

        A kind cannot score more in some sizes than over all of them; taken from the highest
        such ceiling down, most kinds need not be looked at.
        """
        flat = [scores.reshape(len(scores), -1) for scores in part.scores.values()]
        over_all = np.max([one.max(axis=1, initial=-np.inf) for one in flat], axis=0)
        keys = np.unique(cell * len(over_all) + kind)
        pairs = np.column_stack(np.divmod(keys, len(over_all)))
        ceiling = over_all[pairs[:, 1]]
        worth = ceiling > np.maximum(self.best[pairs[:, 0]], self.evaluator.floor)
        pairs, ceiling = pairs[worth], ceiling[worth]
        order = np.argsort(-ceiling, kind="stable")
        for (here, one), most in zip(pairs[order].tolist(), ceiling[order].tolist(), strict=True):
            if most > self.best[here]:
                self.best[here] = max(self.best[here], self._best(part, one, here))

    def _best(self, part: Part, kind: int, cell: int) -> float:
        """Best score that can be sold to a kind in the size range of a cell."""
        shoes, insoles = self._there[cell % self.shape[1]]
        found = -np.inf
        for way, scores in part.scores.items():
            own = scores[kind]
            if way == "pair":
                some = own[shoes][:, insoles]
            else:
                some = own[shoes if way == "shoe" else insoles]
            found = max(found, float(some.max(initial=-np.inf)))
        return found if found >= self.evaluator.floor else -np.inf

    def cells(self, served: Served, titles: Sequence[str]) -> tuple[Cell, ...]:
        """The cells that have feet in them, by foot type and size range.

        Parameters
        ----------
        titles : ids of the foot types in the order of their codes.
        """
        total = self.all_weight.sum()
        count = len(self.best)
        share = np.bincount(self.cell, self.all_weight, count)
        open_ = np.bincount(self.cell, self.weight, count)
        happy = self.weight * served.served[self.kind, self.size]
        happy_sum = np.bincount(self.cell, happy, count)
        choices = np.bincount(self.cell, self.weight * served.choices[self.kind, self.size], count)
        names = (UNDETERMINED, *titles)
        out = []
        for cell in map(int, np.flatnonzero(share)):
            row, column = divmod(cell, self.shape[1])
            some = float(open_[cell])
            out.append(
                Cell(
                    foot_type=names[row],
                    sizes=self.ranges.labels[column],
                    share=float(share[cell] / total),
                    served=float(happy_sum[cell]) / some if some else None,
                    choices=float(choices[cell]) / some if some else 0.0,
                    products=int(self.products[cell].sum()),
                    best=float(self.best[cell]) * 100 if np.isfinite(self.best[cell]) else None,
                    shoe_prices=self._prices(cell, "shoe"),
                    insole_prices=self._prices(cell, "insole"),
                    stock=self._stock(cell, column),
                )
            )
        return tuple(out)

    def _sold(self, cell: int) -> list[int]:
        return [int(n) for n in np.flatnonzero(self.products[cell])]

    def _prices(self, cell: int, kind: str) -> Band:
        products = [self.evaluator.shelf.items[n].product for n in self._sold(cell)]
        prices = [p.price for p in products if p.kind == kind and p.price is not None]
        return Band(min(prices, default=None), max(prices, default=None))

    def _stock(self, cell: int, column: int) -> int:
        """Pieces of the products in the sizes that customers of the range take."""
        classes = self.kinds.sizes[self.ranges.of_class == column]
        total = 0
        for n in self._sold(cell):
            item = self.evaluator.shelf.items[n]
            sized = [self.evaluator.classes.sized(item, int(index)) for index in classes]
            counts = {one.size: one.count for one in sized if one.size is not None}
            total += sum(counts.values())
        return total


def _or_into(table: Array, rows: Array, values: Array) -> None:
    """``table[rows] |= values`` where rows repeat."""
    order = np.argsort(rows, kind="stable")
    ordered = rows[order]
    starts = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]]) if len(rows) else rows
    if len(starts):
        table[ordered[starts]] |= np.logical_or.reduceat(values[order], starts, axis=0)
