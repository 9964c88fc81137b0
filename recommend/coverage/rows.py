"""Tables in which many rows are alike, each kept once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray
LARGEST = 2**62  # keys stay below it


def alike(rows: Array) -> tuple[Array, Array]:
    """The first of each set of equal rows, (u,), and the set of each of the n rows, (n,)."""
    table = np.ascontiguousarray(rows if rows.size else np.zeros((len(rows), 1), bool))
    keys = table.view(f"V{table.shape[1] * table.itemsize}").ravel().tolist()
    seen = {key: n for n, key in enumerate(dict.fromkeys(keys))}
    of = np.fromiter(map(seen.__getitem__, keys), np.intp, len(keys))
    first = np.zeros(len(seen), np.intp)
    first[of[::-1]] = np.arange(len(of))[::-1]
    return first, of


def together(*codes: Array) -> tuple[Array, Array]:
    """The same for rows of whole numbers from 0, given column by column."""
    key, span = np.zeros(len(codes[0]), np.int64), 1
    for code in codes:
        wide = int(code.max(initial=0)) + 1
        if span * wide > LARGEST:
            key = np.unique(key, return_inverse=True)[1].ravel()
            span = int(key.max(initial=0)) + 1
        key, span = key * wide + code, span * wide
    _, first, of = np.unique(key, return_index=True, return_inverse=True)
    return first, of.ravel()


@dataclass(frozen=True, slots=True)
class Alike:
    """A table of bool whose equal rows are kept once.

    Attributes
    ----------
    rows : the rows that occur, (u, m).
    of : which of them each of n rows is, (n,).
    """

    rows: Array
    of: Array

    @classmethod
    def made(cls, rows: Array, of: Array) -> Alike:
        """The same table with rows that turn out equal taken together."""
        first, which = alike(np.packbits(rows, axis=1))
        return cls(rows[first], which[of])

    @property
    def all(self) -> Array:
        """Every row, (n, m)."""
        return np.asarray(self.rows[self.of])

    @property
    def any(self) -> Array:
        """Whether there is anything in each row, (n,)."""
        return np.asarray(np.asarray(self.rows.any(axis=1))[self.of])

    @property
    def count(self) -> Array:
        """How many there are in each row, (n,)."""
        return np.asarray(self.rows.sum(axis=1)[self.of])

    def weighed(self, weights: Array) -> Array:
        """What the rows of each column weigh together, (m,)."""
        by_row = np.bincount(self.of, weights, len(self.rows))
        return np.asarray(by_row @ self.rows)

    def only(self, columns: Array | slice) -> Alike:
        """Some columns alone."""
        return Alike.made(self.rows[:, columns], self.of)

    def without(self, columns: Array | slice) -> Alike:
        """Nothing in some columns."""
        rows = self.rows.copy()
        rows[:, columns] = False
        return Alike.made(rows, self.of)

    def __invert__(self) -> Alike:
        """What is not in the table."""
        return Alike(~self.rows, self.of)

    def __and__(self, other: Alike) -> Alike:
        """What is in both tables."""
        first, of = together(self.of, other.of)
        return Alike.made(self.rows[self.of[first]] & other.rows[other.of[first]], of)

    def __or__(self, other: Alike) -> Alike:
        """What is in one table or the other."""
        first, of = together(self.of, other.of)
        return Alike.made(self.rows[self.of[first]] | other.rows[other.of[first]], of)

    def __getitem__(self, rows: Array | slice) -> Alike:
        """Some rows alone, each as often as it is named."""
        used, of = np.unique(self.of[rows], return_inverse=True)
        return Alike(self.rows[used], of.ravel())
