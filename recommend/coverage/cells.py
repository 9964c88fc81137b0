"""The matrix of foot types by size range."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from recommend.coverage.evaluate import Evaluator, Part, Served
from recommend.coverage.numbers import Array
from recommend.coverage.size_classes import SizeClasses
from recommend.coverage.tally import Layout, Tally

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


def ranges_of(classes: SizeClasses, sizes: Array, parameters: Mapping[str, float]) -> Ranges:
    """Size ranges for the size classes that occur."""
    step, width = parameters["coverage.size-step"], parameters["coverage.size-range"]
    first, last = parameters["coverage.size-first"], parameters["coverage.size-last"]
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

    def add(self, part: Part) -> None:
        """Gather what can be sold, and the best score, in every cell of a part."""
        rows = self._order[self._starts[part.rows.start] : self._starts[part.rows.stop]]
        rows = rows[self.weight[rows] > 0]
        kind, size, cell = self.kind[rows] - part.rows.start, self.size[rows], self.cell[rows]
        usable = np.concatenate([part.shoes[kind, :, size], part.insoles[kind, :, size]], axis=1)
        _or_into(self.products, cell, usable)
        best = self._best(part)
        np.maximum.at(self.best, cell, best[kind, self.ranges.of_class[size]])

    def _best(self, part: Part) -> Array:
        """Best score that is sold to each kind in each size range, shape (g, ranges)."""
        out = np.full((part.rows.stop - part.rows.start, self.shape[1]), -np.inf, np.float32)
        for index in np.unique(self.ranges.of_class):
            here = self.ranges.of_class == index
            shoes = np.flatnonzero(self.evaluator.has_shoe[here].any(axis=0))
            insoles = np.flatnonzero(self.evaluator.has_insole[here].any(axis=0))
            for way, scores in part.scores.items():
                if way == "pair":
                    some = scores[:, shoes][:, :, insoles].reshape(len(scores), -1)
                else:
                    some = scores[:, shoes if way == "shoe" else insoles]
                if some.shape[1]:
                    np.maximum(out[:, index], some.max(axis=1), out=out[:, index])
        return np.where(out >= self.evaluator.floor, out, -np.inf)

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
            sized = [self.evaluator.sized[index][n] for index in classes]
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
