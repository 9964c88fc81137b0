"""Customers counted by everything that decides their outcome, so that each case is matched once.

What a customer can be sold depends only on which need rules hold for each foot, on the size
and on whether a note withholds the shortlist; a million customers come down to some
thousands of such cases. Tallies of parts add up to the tally of the whole, exactly, which is
what makes chunks, several workers and one machine agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from recommend.coverage.columns import FactColumns
from recommend.coverage.numbers import Array
from recommend.coverage.sampling import Customers
from recommend.infer.many import Column, conclude_many
from recommend.match.sizes import SizeClasses, longer_lengths
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NoteThen
from recommend.rulebook.vocabulary import FOOT_TYPE

BITS = 64


@dataclass(frozen=True, slots=True)
class Tally:
    """Cases and how many customers each stands for.

    Attributes
    ----------
    cases : shape (g, c), one row per case, int64; see `Layout` for the columns.
    counts : customers of each case, shape (g,).
    """

    cases: Array
    counts: Array

    @property
    def customers(self) -> int:
        """All customers counted."""
        return int(self.counts.sum())


@dataclass(frozen=True, slots=True)
class Layout:
    """What stands in the columns of a case.

    For each foot the need rules that hold, as bits, `words` columns of them; then the foot
    type of each foot; the size class; whether a stop withholds the shortlist.
    """

    needs: tuple[str, ...]
    stops: tuple[str, ...]

    @property
    def words(self) -> int:
        """Columns that the need rules of one foot take."""
        return -(-len(self.needs) // BITS)

    @property
    def types(self) -> slice:
        """Columns of the foot types, left and right."""
        return slice(2 * self.words, 2 * self.words + 2)

    @property
    def size(self) -> int:
        """Column of the size class."""
        return 2 * self.words + 2

    @property
    def stop(self) -> int:
        """Column that is 1 when a stop withholds the shortlist."""
        return 2 * self.words + 3

    def unpack(self, words: Array) -> Array:
        """The rules that hold, bool, shape (n, rules), from their bits, shape (n, words)."""
        bits = np.unpackbits(np.ascontiguousarray(words).view(np.uint8), axis=1)
        return bits[:, : len(self.needs)].astype(bool)

    def pack(self, holds: Array) -> Array:
        """Bits of (n, rules) as (n, words) int64."""
        packed = np.packbits(holds, axis=1)
        padded = np.zeros((len(holds), self.words * BITS // 8), np.uint8)
        padded[:, : packed.shape[1]] = packed
        return padded.view(np.int64)


def layout_of(book: Rulebook) -> Layout:
    """The layout of cases under `book`."""
    stops = [r.id for r in book.rules if _is_stop(r.rule.then)]
    return Layout(tuple(r.id for r in book.rules if r.stage == "need"), tuple(stops))


def _is_stop(then: object) -> bool:
    return isinstance(then, NoteThen) and then.note == "stop"


def cases_of_customers(
    book: Rulebook, facts: FactColumns, customers: Customers, sizes: SizeClasses
) -> Array:
    """The case of each customer, shape (n, c), as `Layout` tells."""
    columns = {side: facts.of_foot(customers, side) for side in SIDES}
    return cases_of(book, columns, sizes_of(customers, sizes))


def sizes_of(customers: Customers, sizes: SizeClasses) -> Array:
    """Size class of each customer: the longer foot decides, and what the purpose adds to it."""
    lengths = [customers.feet[side].get("foot-length") for side in SIDES]
    known = [column for column in lengths if isinstance(column, np.ndarray)]
    if not known:
        return np.full(customers.count, sizes.unknown)
    purposes, ages = customers.texts("purpose"), customers.texts("age-band")
    return sizes.of_lengths(longer_lengths(known, purposes, ages, sizes.parameters))


def cases_of(book: Rulebook, columns: Mapping[Side, Mapping[str, Column]], size: Array) -> Array:
    """The case of each customer, shape (n, c), as `Layout` tells."""
    layout = layout_of(book)
    stopped = np.zeros(len(size), bool)
    needs, types = [], []
    for side in SIDES:
        result = conclude_many(book, columns[side], len(size))
        needs.append(layout.pack(np.column_stack([result.holds[rule] for rule in layout.needs])))
        types.append(result.axes[FOOT_TYPE])
        for rule in layout.stops:
            stopped |= result.holds[rule]
    return np.column_stack([*needs, *types, size, stopped]).astype(np.int64)


def add(tallies: Iterable[Tally]) -> Tally:
    """The tally of all customers together."""
    parts = list(tallies)
    return tally(
        np.concatenate([part.cases for part in parts]),
        np.concatenate([part.counts for part in parts]),
    )


def tally(cases: Array, counts: Array | None = None) -> Tally:
    """Count equal cases, in ascending order of their columns."""
    if counts is None:
        counts = np.ones(len(cases), np.int64)
    keys = np.zeros(len(cases), np.int64)
    for column in cases.T:
        values, code = np.unique(column, return_inverse=True)
        # Re-numbered after every column, so the product of the ranges never overflows.
        keys = np.unique(keys * len(values) + code.ravel(), return_inverse=True)[1].ravel()
    _, first = np.unique(keys, return_index=True)
    return Tally(cases[first], np.bincount(keys, counts).astype(np.int64))
