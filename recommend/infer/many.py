"""Many feet through the rulebook at once: the same normal form over numpy columns.

Columns are keyed by fact name (see `rulebook.vocabulary`). A number is float64 with NaN where
missing; a word is int8, its position in the fact's vocabulary, with -1 where missing. A fact
that is the same for every foot may be a column of length one. A fact left out is missing for
every foot.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from recommend.infer.one import ContradictionError, contradiction, last_stratum_of_axes
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import AxisThen
from recommend.rulebook.terms import Conjunction, Disjunction, Facts, Number, Term
from recommend.rulebook.vocabulary import Vocabulary

Bools = NDArray[np.bool_]
Column = NDArray[np.float64] | NDArray[np.int8]
Columns = Mapping[str, Column]

CHUNK = 1 << 15  # rows at a time: columns of a chunk stay in the processor's cache
_COMPARE = {"gt": np.greater, "ge": np.greater_equal, "lt": np.less, "le": np.less_equal}


@dataclass(frozen=True, slots=True)
class ManyConclusions:
    """What the rulebook says of n feet.

    Attributes
    ----------
    holds : by rule id, (n,) whether the rule is true.
    fails : by rule id, (n,) whether it is false; empty unless asked for. Neither is unknown.
    axes : by axis, (n,) int8 position of its value in the axis, -1 for undetermined.
    """

    holds: Mapping[str, Bools]
    fails: Mapping[str, Bools]
    axes: Mapping[str, NDArray[np.int8]]


def conclude_many(
    book: Rulebook, columns: Columns, count: int, *, fails: bool = False
) -> ManyConclusions:
    """Run every stratum over `count` feet.

    Parameters
    ----------
    book : the rulebook.
    columns : facts as described at the top of the module.
    count : number of feet n.
    fails : also tell which rules are false, so that unknown can be told from false.

    Raises
    ------
    ContradictionError
        If two rules conclude different values of one axis for a foot; it names both.
    """
    ids = [rule.id for rule in book.rules]
    holds = {name: np.zeros(count, np.bool_) for name in ids}
    false = {name: np.zeros(count, np.bool_) for name in ids} if fails else {}
    axes = {axis: np.full(count, -1, np.int8) for axis in book.axes}
    for start in range(0, count, CHUNK):
        rows = slice(start, min(start + CHUNK, count))
        part = _Part(book, _rows(columns, rows), rows.stop - start)
        part.run(fails)
        for name in ids:
            holds[name][rows] = part.holds[name]
        for name in false:
            false[name][rows] = part.fails[name]
        for axis, column in axes.items():
            column[rows] = part.axes[axis]
    return ManyConclusions(holds, false, axes)


def columns_of(rows: list[Facts], vocabulary: Vocabulary) -> dict[str, Column]:
    """Columns from facts of single feet, as `infer.facts` makes them."""
    names = sorted({name for row in rows for name in row})
    columns: dict[str, Column] = {}
    for name in names:
        words = vocabulary.words.get(name)
        if words is None:
            numbers = [row.get(name, np.nan) for row in rows]
            columns[name] = np.array(numbers, dtype=np.float64)
        else:
            codes = {word: code for code, word in enumerate(words)}
            columns[name] = np.array([codes.get(str(row.get(name)), -1) for row in rows], np.int8)
    return columns


def _rows(columns: Columns, rows: slice) -> dict[str, Column]:
    return {name: c if len(c) == 1 else c[rows] for name, c in columns.items()}


@dataclass
class _Part:
    """One chunk of rows; every distinct comparison is computed once."""

    book: Rulebook
    columns: dict[str, Column]
    count: int
    holds: dict[str, Bools] = field(default_factory=dict)
    fails: dict[str, Bools] = field(default_factory=dict)
    axes: dict[str, NDArray[np.int8]] = field(default_factory=dict)
    masks: dict[Term, Bools | None] = field(default_factory=dict)

    def run(self, fails: bool) -> None:
        self.axes = {axis: np.full(self.count, -1, np.int8) for axis in self.book.axes}
        last = last_stratum_of_axes(self.book)
        for axis in self.axes.keys() - last:
            self.columns[f"decided_{axis}"] = np.zeros(1, np.int8)
        for depth, rules in enumerate(self.book.strata):
            for rule in rules:
                self.holds[rule.id] = self._any(rule.holds)
                if fails:
                    self.fails[rule.id] = self._any(rule.fails)
                self._settle(rule)
            for axis in (axis for axis, stratum in last.items() if stratum == depth):
                self.columns[f"axis_{axis}"] = self.axes[axis]
                self.columns[f"decided_{axis}"] = (self.axes[axis] >= 0).astype(np.int8)

    def _settle(self, rule: CompiledRule) -> None:
        then = rule.rule.then
        if not isinstance(then, AxisThen):
            return
        codes, mask = self.axes[then.axis], self.holds[rule.id]
        code = list(self.book.axes[then.axis].values).index(then.value)
        if np.any(mask & (codes >= 0) & (codes != code)):
            raise self._contradiction(rule, then, mask)
        codes[mask] = code

    def _contradiction(self, rule: CompiledRule, then: AxisThen, mask: Bools) -> ContradictionError:
        others = (
            other
            for other in self.book.rules
            if isinstance(other.rule.then, AxisThen)
            and other.rule.then.axis == then.axis
            and other.rule.then.value != then.value
            and other.id in self.holds
            and np.any(self.holds[other.id] & mask)
        )
        return contradiction(next(others), rule)

    def _any(self, form: Disjunction) -> Bools:
        found = [mask for mask in map(self._all, form) if mask is not None]
        if not found:
            return np.zeros(self.count, np.bool_)
        out = np.broadcast_to(found[0], (self.count,)).copy()
        for mask in found[1:]:
            out |= mask
        return out

    def _all(self, terms: Conjunction) -> Bools | None:
        """Mask of a conjunction; None when it cannot hold for any row."""
        out: Bools | None = None
        for term in terms:
            mask = self._mask(term)
            if mask is None:
                return None
            out = mask if out is None else out & mask
        return out

    def _mask(self, term: Term) -> Bools | None:
        if term not in self.masks:
            self.masks[term] = self._compare(term)
        return self.masks[term]

    def _compare(self, term: Term) -> Bools | None:
        column = self.columns.get(term.fact)
        if column is None:
            return None
        if isinstance(term, Number):
            mask: Bools = _COMPARE[term.op](column, term.value)
        else:
            table = np.zeros(len(self.book.vocabulary.words[term.fact]) + 1, np.bool_)
            for code in _codes(term.fact, term.values, self.book.vocabulary):
                table[code] = True
            mask = table[column]  # -1, missing, reads the last entry, which is False
        return mask if mask.any() else None


def _codes(fact: str, values: frozenset[str], vocabulary: Vocabulary) -> Iterator[int]:
    words = vocabulary.words[fact]
    return (words.index(value) for value in values)
