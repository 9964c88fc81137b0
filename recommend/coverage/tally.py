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
from recommend.coverage.population import SEXES
from recommend.coverage.rows import Array, together
from recommend.coverage.sampling import Customers, Words
from recommend.infer.many import Column, conclude_many
from recommend.match.sizes import SizeClasses
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE, Fact

BITS = 64
SMALL = 2**12  # codes below it are taken as they are, others are numbered anew
OF_FOOT = ("foot-type", "width")
PEOPLE = ("purpose", "age-band", "sex")


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

    For each foot the need rules that hold, as bits, `words` columns of them; then the foot type and
    the width of each foot; who it is, as codes of `people_of`; the size class; whether a stop
    withholds the shortlist.
    """

    needs: tuple[str, ...]
    stops: tuple[str, ...]

    @property
    def words(self) -> int:
        """Columns that the need rules of one foot take."""
        return -(-len(self.needs) // BITS)

    @property
    def of_needs(self) -> tuple[slice, slice]:
        """Columns of the need rules, left and right."""
        return slice(0, self.words), slice(self.words, 2 * self.words)

    def columns(self, what: str) -> tuple[int, int]:
        """Columns of a way to split the customers, for the left foot and for the right."""
        first = 2 * self.words
        if what in OF_FOOT:
            at = first + 2 * OF_FOOT.index(what)
            return at, at + 1
        one = self.size if what == "size" else first + 4 + PEOPLE.index(what)
        return one, one

    @property
    def size(self) -> int:
        """Column of the size class."""
        return 2 * self.words + 4 + len(PEOPLE)

    @property
    def stop(self) -> int:
        """Column that is 1 when a stop withholds the shortlist."""
        return self.size + 1

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
    needs = tuple(rule.id for rule in book.rules if rule.stage == "need")
    return Layout(needs, tuple(rule.id for rule in book.noting("stop")))


def people_of(book: Rulebook) -> dict[str, tuple[str, ...]]:
    """Who a customer can be: the words of `PEOPLE`, in the order of their codes."""
    words = book.vocabulary.words
    said = {name: tuple(words.get(Fact("visit", name).name, ())) for name in PEOPLE}
    return {**said, "sex": SEXES}


def cases_of_customers(
    book: Rulebook, facts: FactColumns, customers: Customers, sizes: SizeClasses
) -> Array:
    """The case of each customer, shape (n, c), as `Layout` tells."""
    columns = {side: facts.of_foot(customers, side) for side in SIDES}
    size = sizes.of_lengths(customers.lengths(sizes.parameters))
    return cases_of(book, columns, size, customers.own)


def cases_of(
    book: Rulebook,
    columns: Mapping[Side, Mapping[str, Column]],
    size: Array,
    own: Mapping[str, object],
) -> Array:
    """The case of each customer, shape (n, c), as `Layout` tells; `own` says who they are."""
    layout = layout_of(book)
    stopped = np.zeros(len(size), bool)
    needs: list[Array] = []
    feet: dict[str, list[Array]] = {name: [] for name in OF_FOOT}
    for side in SIDES:
        result = conclude_many(book, columns[side], len(size))
        needs.append(layout.pack(np.array([result.holds[rule] for rule in layout.needs]).T))
        for name, axis in zip(OF_FOOT, (FOOT_TYPE, "width"), strict=True):
            feet[name].append(result.axes.get(axis, np.full(len(size), -1)))
        for rule in layout.stops:
            stopped |= result.holds[rule]
    told = ((own.get(name), words) for name, words in people_of(book).items())
    unknown = np.full(len(size), -1)
    people = [one.codes_in(words) if isinstance(one, Words) else unknown for one, words in told]
    each = [column for name in OF_FOOT for column in feet[name]]
    return np.column_stack([*needs, *each, *people, size, stopped]).astype(np.int64)


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
    first, of = together(*(_small(column) for column in cases.T))
    return Tally(cases[first], np.bincount(of, counts).astype(np.int64))


def _small(column: Array) -> Array:
    """The numbers of a column as numbers from 0 that are not large, in the same order."""
    low, high = int(column.min(initial=0)), int(column.max(initial=0))
    if high - low < SMALL:
        return column - low
    return np.asarray(np.unique(column, return_inverse=True)[1]).ravel()
