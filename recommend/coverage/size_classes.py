"""Foot lengths grouped so that within a group every product has the same size or none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import ceil

import numpy as np

from recommend.catalogue.loading import Item
from recommend.coverage.numbers import Array
from recommend.coverage.sampling import Customers
from recommend.match.sizes import Availability, Sized, Wanted, size_for
from recommend.measure.model import SIDES

PER_MM = 10  # lengths are compared in tenths of a millimetre, finer than feet are measured


class SizeClasses:
    """Groups of foot length; the last one is for customers whose length is not known.

    Parameters
    ----------
    items : products whose sizes divide the lengths.
    parameters : the rulebook's parameters.
    """

    def __init__(self, items: Iterable[Item], parameters: Mapping[str, float]) -> None:
        self.parameters = parameters
        over, slack = parameters["sizing.longest-over"], parameters["sizing.length-slack"]
        sizes = {size for item in items for size in item.stock}
        # A size fits from `over` below it up to and including `slack` above it.
        starts = {_tenths(size - over) for size in sizes}
        starts |= {_tenths(size + slack) + 1 for size in sizes}
        self._starts = np.array(sorted(starts))
        self._kept: dict[int, tuple[Item, list[Sized]]] = {}

    def __len__(self) -> int:
        return len(self._starts) + 2

    @property
    def unknown(self) -> int:
        """The class of customers whose foot length is not known."""
        return len(self._starts) + 1

    def of(self, customers: Customers) -> Array:
        """Class of each customer; the longer foot decides."""
        lengths = [customers.feet[side].get("foot-length") for side in SIDES]
        known = [column for column in lengths if isinstance(column, np.ndarray)]
        if not known:
            return np.full(customers.count, self.unknown)
        return self.of_lengths(known[0] if len(known) == 1 else np.fmax(*known))

    def of_lengths(self, lengths: Array) -> Array:
        """Class of each foot length (mm); NaN is a length that is not known."""
        tenths = np.rint(np.nan_to_num(lengths) * PER_MM)
        classes = np.searchsorted(self._starts, tenths, side="right")
        return np.where(np.isfinite(lengths), classes, self.unknown)

    def length(self, index: int) -> float | None:
        """A foot length (mm) that falls into the class; None for the unknown."""
        if index == self.unknown:
            return None
        if index == 0:
            return float(self._starts[0] - 1) / PER_MM if len(self._starts) else 0.0
        return float(self._starts[index - 1]) / PER_MM

    def mondopoint(self, index: int) -> float | None:
        """The whole size (Mondopoint, mm) that a foot of the class would take if it were made."""
        length = self.length(index)
        if length is None:
            return None
        step = self.parameters["coverage.size-step"]
        return ceil((length - self.parameters["sizing.length-slack"]) / step) * step

    def sized(self, items: Sequence[Item]) -> list[list[Sized]]:
        """For every item, its size in every class."""
        return [self._sized(item) for item in items]

    def _sized(self, item: Item) -> list[Sized]:
        # Kept by identity: two catalogues may give the same id to different stock.
        if id(item) not in self._kept:
            wanted = [Wanted(self.length(index), "") for index in range(len(self))]
            self._kept[id(item)] = (item, [size_for(item, w, self.parameters) for w in wanted])
        return self._kept[id(item)][1]

    def having(self, items: Sequence[Item], accepted: Iterable[Availability]) -> Array:
        """Whether each class can have each item, bool, shape (classes, items)."""
        allowed = {*accepted, "size-unknown"}
        table = [[one.availability in allowed for one in row] for row in self.sized(items)]
        return np.array(table, bool).reshape(len(items), len(self)).T


def _tenths(length: float) -> int:
    return round(length * PER_MM)
