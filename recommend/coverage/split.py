"""Customers split by who they are, what their feet are and what size they take, by any two.

Each foot counts half a customer, so that what is told of feet and of customers adds up to the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from recommend.catalogue.loading import Item
from recommend.coverage.evaluate import Evaluator, JudgedGroups, Kinds, Served
from recommend.coverage.rows import Array
from recommend.coverage.tally import OF_FOOT, PEOPLE, Layout, Tally, people_of
from recommend.coverage.why import Reason
from recommend.match.sizes import SizeClasses
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE

UNDETERMINED = "undetermined"
UNKNOWN = "not known"
WAYS = (*PEOPLE, "size", *OF_FOOT)
# Served well; in need of nothing, and something fits; something that does no harm; nothing; stop.
OUTCOMES = ("well", "plain", "harmless", "nothing", "stopped")
SERVED = 2  # of the outcomes the first so many are service


@dataclass(frozen=True, slots=True)
class PriceBand:
    """Prices from the cheapest to the dearest; both None where no price is stated."""

    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Cell:
    """Customers of one row and column; of one way to split them alone, `column` is empty.

    Attributes
    ----------
    row, column : words, foot types, sizes.
    share : of all customers.
    people : how many were counted.
    served : of them, the share served; `outcomes` of all customers, in the order of `OUTCOMES`.
    choices : among how many products they can choose, on average.
    reason : why most of those who are not served are not; None where all are.
    """

    row: str
    column: str
    share: float
    people: float
    served: float
    outcomes: tuple[float, ...]
    choices: float
    reason: Reason | None


@dataclass(frozen=True, slots=True)
class Shown:
    """What is sold to the people of a cell: different products, prices, pieces in stock."""

    products: int
    shoe_prices: PriceBand
    insole_prices: PriceBand
    stock: int


@dataclass(frozen=True, slots=True)
class Gap:
    """A group that is served less than others: by what, and the share of all who are lost in it."""

    names: tuple[tuple[str, str], ...]
    share: float
    lost: float
    reason: Reason | None


def outcomes_of(served: Served, kinds: Kinds, sold: frozenset[str]) -> Array:
    """Outcome of each group, a place in `OUTCOMES`; who is stopped is not known to a group."""
    more = np.logical_or.reduce([kinds.more[kind] for kind in sorted(sold)])[kinds.kind]
    outcome = np.full(len(served.well), OUTCOMES.index("nothing"))
    outcome[served.harmless] = OUTCOMES.index("harmless")
    outcome[served.well] = OUTCOMES.index("plain")
    outcome[served.well & more] = OUTCOMES.index("well")
    return outcome


@dataclass(frozen=True, slots=True)
class Codes:
    """Every way to split the customers: its words, and a code for both feet of each case."""

    names: dict[str, tuple[str, ...]]
    codes: dict[str, Array]

    def of(self, row: str, column: str = "") -> tuple[Array, int]:
        """Cell of each foot of each case for two ways (or one, `column` empty), and how many."""
        across = len(self.names[column]) if column else 1
        code = self.codes[row] * across + (self.codes[column] if column else 0)
        return code, len(self.names[row]) * across


def codes_of(
    book: Rulebook, tally: Tally, layout: Layout, classes: SizeClasses, kinds: Kinds
) -> Codes:
    """The ways to split the customers of a tally."""
    names, codes = dict(_names(book)), {}
    names["size"], of_class = ranges_of(classes, kinds.sizes, book.parameters)
    for way in WAYS:
        if way == "size":
            codes[way] = of_class[kinds.size[np.tile(kinds.group, 2)]]
        else:
            column = np.concatenate([tally.cases[:, c] for c in layout.columns(way)])
            codes[way] = np.where(column < 0, len(names[way]) - 1, column)
    return Codes(names, codes)


class Split:
    """Everybody counted, ready to be split in any two ways.

    Parameters
    ----------
    tally, layout, codes : the customers, and the ways to split them.
    evaluator, served : the groups, and what the catalogue does for them.
    reasons : why groups are not served, and the place of each group's reason.
    """

    def __init__(self, tally: Tally, layout: Layout, codes: Codes, evaluator: Evaluator,
                 served: Served, reasons: tuple[tuple[Reason, ...], Array]) -> None:  # fmt: skip
        kinds = evaluator.kinds
        self.by, self.names, self.codes = codes, codes.names, codes.codes
        self.reasons, self.total = reasons[0], float(tally.customers)
        group = np.tile(kinds.group, 2)
        self.weight = np.tile(tally.counts, 2) / 2
        stopped = np.tile(tally.cases[:, layout.stop] == 1, 2)
        outcome = outcomes_of(served, kinds, evaluator.terms.kinds)[group]
        self.outcome = np.where(stopped, OUTCOMES.index("stopped"), outcome)
        self.reason = np.where(stopped, -1, reasons[1][group])
        self.choices = np.where(stopped, 0, served.choices[group])

    def cells(self, row: str, column: str = "") -> tuple[Cell, ...]:
        """The cells that have people in them, in the order of their words."""
        names, across = self.names[row], self.names[column] if column else ("",)
        code, count = self.by.of(row, column)
        both = code * len(OUTCOMES) + self.outcome
        table = np.bincount(both, self.weight, count * len(OUTCOMES)).reshape(count, -1)
        choices = np.bincount(code, self.weight * self.choices, count)
        worst = self._worst(code, count)
        out = []
        for n in np.flatnonzero(table.sum(axis=1)):
            people = float(table[n].sum())
            out.append(Cell(
                names[n // len(across)], across[n % len(across)], people / self.total, people,
                float(table[n, :SERVED].sum()) / people,
                tuple(float(one) / self.total for one in table[n]), float(choices[n]) / people,
                worst[n],
            ))  # fmt: skip
        return tuple(out)

    def _worst(self, code: Array, count: int, rows: Array | slice = slice(None)) -> Any:
        """By cell, the commonest reason for not being served."""
        if not self.reasons:
            return [None] * count
        lost = np.flatnonzero(self.reason[rows] >= 0)
        key = code[rows][lost] * len(self.reasons) + self.reason[rows][lost]
        sums = np.bincount(key, self.weight[rows][lost], count * len(self.reasons))
        table = sums.reshape(count, len(self.reasons))
        best, some = table.argmax(axis=1), table.sum(axis=1) > 0
        return [self.reasons[k] if there else None for k, there in zip(best, some, strict=True)]

    def outcomes(self) -> tuple[float, ...]:
        """Customers by outcome, in the order of `OUTCOMES`."""
        return tuple(np.bincount(self.outcome, self.weight, len(OUTCOMES)).tolist())

    def by_reason(self) -> list[tuple[Reason, float]]:
        """Reasons with the share of all customers, the commonest first."""
        lost = self.reason >= 0
        sums = np.bincount(self.reason[lost], self.weight[lost], len(self.reasons)) / self.total
        found = [(r, float(s)) for r, s in zip(self.reasons, sums, strict=True) if s > 0]
        return sorted(found, key=lambda one: (-one[1], one[0]))

    def gaps(self, most: int) -> Iterator[Gap]:
        """The groups that lose most against what is lost on average, none counted twice."""
        open_ = np.ones(len(self.weight), bool)
        ways = [(way,) for way in WAYS] + list(combinations(WAYS, 2))
        for _ in range(most):
            lost = open_ & (self.outcome >= SERVED) & (self.outcome < len(OUTCOMES) - 1)
            rate = float(self.weight[lost].sum() / max(self.weight[open_].sum(), 1.0))
            found = [self._most(names, open_, lost, rate) for names in ways]
            excess, names, rows = max(found, key=lambda one: one[0])
            if excess / self.total < 1e-4:
                return
            here, gone = rows & open_, rows & lost
            words = tuple((way, self.names[way][self.codes[way][np.argmax(rows)]]) for way in names)
            reason = self._worst(np.zeros(len(gone), np.intp), 1, gone)[0]
            yield Gap(words, float(self.weight[here].sum()) / self.total,
                      float(self.weight[gone].sum()) / self.total, reason)  # fmt: skip
            open_ &= ~rows

    def _most(
        self, names: tuple[str, ...], open_: Array, lost: Array, rate: float
    ) -> tuple[float, tuple[str, ...], Array]:
        """The value of one or two ways to split at which most are lost beyond the average."""
        code, count = self.by.of(*names)
        here = np.bincount(code, self.weight * open_, count)
        gone = np.bincount(code, self.weight * lost, count)
        # Two ways must tell much more than one, so that the plainer name is given.
        excess = (gone - rate * here) * (1.0 if len(names) == 1 else 0.8)
        best = int(excess.argmax())
        return float(excess[best]), names, code == best


def _names(book: Rulebook) -> Iterator[tuple[str, tuple[str, ...]]]:
    for name, words in people_of(book).items():
        yield name, (*words, UNKNOWN)
    for name, axis in zip(OF_FOOT, (FOOT_TYPE, "width"), strict=True):
        values = tuple(book.axes[axis].values) if axis in book.axes else ()
        yield name, (*values, UNDETERMINED)


def ranges_of(
    classes: SizeClasses, sizes: Array, parameters: Parameters
) -> tuple[tuple[str, ...], Array]:
    """Size ranges (``to 225``, ``230-240``, ``from 290``), and the range of each size class."""
    step, width = parameters.coverage.size_step, parameters.coverage.size_range
    first, last = parameters.coverage.size_first, parameters.coverage.size_last
    tops = np.arange(first, last, width)
    labels = [f"to {first:g}"]
    labels += [f"{top + step:g}-{min(top + width, last - step):g}" for top in tops]
    labels += [f"from {last:g}", UNKNOWN]
    found = []
    for index in sizes:
        size = classes.mondopoint(int(index))
        if size is None:
            found.append(len(labels) - 1)
        elif size >= last:
            found.append(len(labels) - 2)
        else:
            found.append(int(np.searchsorted(tops, size)))
    return tuple(labels), np.array(found, np.intp)


class Shelves:
    """Gathers what is sold in every cell while groups are judged; see `Shown`."""

    def __init__(
        self, by: Codes, ways: tuple[str, str], tally: Tally, evaluator: Evaluator
    ) -> None:
        self.evaluator, kinds = evaluator, evaluator.kinds
        code, count = by.of(*ways)
        pairs = np.unique(code * len(kinds.kind) + np.tile(kinds.group, 2))
        self.cell, self.group = np.divmod(pairs, max(1, len(kinds.kind)))
        keep = kinds.weights[self.group] > 0
        self.cell, self.group = self.cell[keep], self.group[keep]
        self.products = np.zeros((count, len(evaluator.items)), bool)
        self._taken: dict[str, tuple[Array, Array]] = {}

    def add(self, part: JudgedGroups) -> None:
        """Gather what serves the groups of a part."""
        here = (self.group >= part.groups.start) & (self.group < part.groups.stop)
        cell, rows = self.cell[here], self.group[here] - part.groups.start
        shoes, insoles = part.usable.shoes, part.usable.insoles
        for one in np.unique(cell):
            some = rows[cell == one]
            sold = [kind.rows[np.unique(kind.of[some])].any(axis=0) for kind in (shoes, insoles)]
            self.products[one] |= np.concatenate([sold[0], sold[1][: self.evaluator.bought]])

    def shown(self, cell: int) -> Shown:
        """What is sold to the people of a cell."""
        sold = [self.evaluator.items[n] for n in np.flatnonzero(self.products[cell])]
        kinds = self.evaluator.kinds
        classes = np.unique(kinds.sizes[kinds.size[self.group[self.cell == cell]]])
        classes = classes[classes != self.evaluator.classes.unknown]
        stock = sum(self._pieces(item, classes) for item in sold)
        priced = [(i.product.kind, i.product.price) for i in sold if i.product.price is not None]
        bands = [
            PriceBand(min(found, default=None), max(found, default=None))
            for found in ([price for kind, price in priced if kind == what]
                          for what in ("shoe", "insole"))
        ]  # fmt: skip
        return Shown(len(sold), bands[0], bands[1], stock)

    def _pieces(self, item: Item, classes: Array) -> int:
        """Pieces in stock of the sizes that these size classes take."""
        if item.id not in self._taken:
            counts = np.array([item.stock[size] for size in sorted(item.stock)])
            self._taken[item.id] = self.evaluator.classes.taken(item), counts
        taken, counts = self._taken[item.id]
        here = np.zeros(len(counts) + 1, bool)  # the last is for classes that take none
        here[taken[classes]] = True
        return int(counts[here[:-1]].sum())
