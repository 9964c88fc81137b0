"""A rulebook as a straight list of array operations, each distinct one done once.

Comparisons, conjunctions and disjunctions are nodes; equal ones are one node, so rules that
share a part share its work. The list is run over a block of rows at a time, with buffers that
are used again as soon as nothing reads them any more, so that a block stays in the processor's
cache and memory does not grow with the number of rules.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from recommend.dataclass import dataclass
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.terms import Conjunction, Disjunction, Number, Term, Word
from recommend.rulebook.vocabulary import about

Column: TypeAlias = NDArray[np.float64] | NDArray[np.int8]
Node: TypeAlias = int
# The two nodes that need no work: what never holds, and what always does.
NEVER, ALWAYS = 0, 1
# What writes into a buffer; `rulebook.terms` says what each means.
_COMPARE = {"gt": np.greater, "ge": np.greater_equal, "lt": np.less, "le": np.less_equal}


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation: `function` of two operands into a node's buffer.

    An operand is a node, a column by its name, or a constant.
    """

    function: Callable[..., Any]
    operands: tuple[Node | str | NDArray[Any], ...]


@dataclass
class Program:
    """Operations for the rules asked for, and for the rules and axes that those read.

    Attributes
    ----------
    steps : by node, its operation; nodes come in an order in which they can be run.
    holds, fails : by rule id, the node that says so.
    values : by axis, the node of each value (in the order of the axis).
    """

    book: Rulebook
    columns: Mapping[str, Column]
    steps: dict[Node, Operation] = field(default_factory=dict)
    holds: dict[str, Node] = field(default_factory=dict)
    fails: dict[str, Node] = field(default_factory=dict)
    values: dict[str, list[Node]] = field(default_factory=dict)
    _known: dict[Any, Node] = field(default_factory=dict)
    _terms: dict[Term, Node] = field(default_factory=dict)
    _often: Counter[Term] = field(default_factory=Counter)

    def add(self, rules: Sequence[CompiledRule], fails: Iterable[str]) -> None:
        """Add `rules`, given from the lowest stratum up, and the falsity of some of them."""
        fails = frozenset(fails)
        forms = [rule.holds for rule in rules]
        forms += [rule.fails for rule in rules if rule.id in fails]
        self._often.update(term for form in forms for branch in form for term in branch)
        concluded: dict[str, list[CompiledRule]] = {axis: [] for axis in self.book.axes}
        for rule in rules:
            self.holds[rule.id] = self._any(rule.holds, concluded)
            if rule.id in fails:
                self.fails[rule.id] = self._any(rule.fails, concluded)
            if rule.concludes is not None:
                concluded[rule.concludes.axis].append(rule)
        for axis in concluded:
            self._values(axis, concluded)

    def _values(self, axis: str, concluded: Mapping[str, list[CompiledRule]]) -> list[Node]:
        """Nodes of the values of an axis whose rules have all been added."""
        if axis not in self.values:
            by_value: dict[str, list[Node]] = {value: [] for value in self.book.axes[axis].values}
            for rule in concluded[axis]:
                assert rule.concludes is not None
                by_value[rule.concludes.value].append(self.holds[rule.id])
            self.values[axis] = [self._join(np.logical_or, nodes) for nodes in by_value.values()]
        return self.values[axis]

    def _any(self, form: Disjunction, concluded: Mapping[str, list[CompiledRule]]) -> Node:
        return self._join(np.logical_or, [self._all(branch, concluded) for branch in form])

    def _all(self, branch: Conjunction, concluded: Mapping[str, list[CompiledRule]]) -> Node:
        # Terms that many rules share come first, so that equal beginnings are one node.
        order = sorted(branch, key=lambda term: -self._often[term])
        return self._join(np.logical_and, [self._term(term, concluded) for term in order])

    def _term(self, term: Term, concluded: Mapping[str, list[CompiledRule]]) -> Node:
        if term not in self._terms:
            kind, axis, _ = about(term.fact)
            if isinstance(term, Number):
                node = self._number(term)
            elif kind == "axis":
                values = self._values(axis, concluded)
                codes = self._codes(term)
                node = self._join(np.logical_or, [values[code] for code in codes])
            elif kind == "decided":
                node = self._decided(term, self._values(axis, concluded))
            else:
                node = self._word(term)
            self._terms[term] = node
        return self._terms[term]

    def _decided(self, term: Word, values: list[Node]) -> Node:
        if len(term.values) != 1:
            return ALWAYS if term.values else NEVER
        node = self._join(np.logical_or, values)
        if "yes" in term.values:
            return node
        if node in (NEVER, ALWAYS):
            return ALWAYS if node == NEVER else NEVER
        return self._node(np.logical_not, node)

    def _codes(self, term: Word) -> list[int]:
        words = self.book.vocabulary.words[term.fact]
        return sorted(words.index(value) for value in term.values)

    def _number(self, term: Number) -> Node:
        column = self.columns.get(term.fact)
        if column is None:
            return NEVER
        if len(column) == 1:
            return ALWAYS if term.holds(float(column[0])) else NEVER
        return self._node(_COMPARE[term.op], term.fact, np.array(term.value))

    def _word(self, term: Word) -> Node:
        column, codes = self.columns.get(term.fact), self._codes(term)
        if column is None:
            return NEVER
        if len(column) == 1:
            return ALWAYS if int(column[0]) in codes else NEVER
        last = len(self.book.vocabulary.words[term.fact]) - 1
        nodes = [self._run_of_codes(term.fact, low, high, last) for low, high in _runs(codes)]
        return self._join(np.logical_or, nodes)

    def _run_of_codes(self, fact: str, low: int, high: int, last: int) -> Node:
        """Codes from `low` to `high`; a missing word (-1) is below all of them."""
        if low == high:
            return self._node(np.equal, fact, np.array(low, np.int8))
        at_least = self._node(np.greater_equal, fact, np.array(low, np.int8))
        if high == last:
            return at_least
        at_most = self._node(np.less_equal, fact, np.array(high, np.int8))
        return self._join(np.logical_and, [at_least, at_most])

    def _join(self, function: Callable[..., Any], nodes: list[Node]) -> Node:
        """Fold nodes by `and` or `or`, leaving out what does not matter."""
        decides, neutral = (NEVER, ALWAYS) if function is np.logical_and else (ALWAYS, NEVER)
        if decides in nodes:
            return decides
        out = neutral
        for node in dict.fromkeys(nodes):
            if node == neutral:
                continue
            out = node if out == neutral else self._node(function, out, node)
        return out

    def _node(self, function: Callable[..., Any], *operands: Node | str | NDArray[Any]) -> Node:
        key = (function, *(o.item() if isinstance(o, np.ndarray) else (o,) for o in operands))
        if key not in self._known:
            self._known[key] = len(self._known) + 2
            self.steps[self._known[key]] = Operation(function, operands)
        return self._known[key]


def _runs(codes: list[int]) -> Iterator[tuple[int, int]]:
    """Runs of neighbouring codes as (first, last)."""
    start = 0
    for index in range(1, len(codes) + 1):
        if index == len(codes) or codes[index] != codes[index - 1] + 1:
            yield codes[start], codes[index - 1]
            start = index
