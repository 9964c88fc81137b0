"""Many feet through the rulebook at once: the same normal form over numpy columns.

Columns are keyed by fact name (see `rulebook.vocabulary`). A number is float64 with NaN where
missing; a word is int8, its position in the fact's vocabulary, with -1 where missing. A fact
that is the same for every foot may be a column of length one. A fact left out is missing for
every foot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recommend.dataclass import dataclass
from recommend.errors import RecommendError
from recommend.infer.conclusions import (
    Conclusions,
    ContradictionError,
    Truth,
    bear,
    checked_facts,
    contradiction,
    last_stratum_of_axes,
    settle,
)
from recommend.infer.program import ALWAYS, NEVER, Node, Program
from recommend.infer.program import Column as Column
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.terms import Facts, satisfied
from recommend.rulebook.vocabulary import Fact, Vocabulary

Bools = NDArray[np.bool_]
Columns = Mapping[str, Column]

CHUNK = 1 << 15  # rows at a time: the buffers in use stay in the processor's cache


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
    book: Rulebook,
    columns: Columns,
    count: int,
    *,
    fails: bool = False,
    only: Iterable[str] | None = None,
    program: Program | None = None,
) -> ManyConclusions:
    """Run every stratum over `count` feet.

    Parameters
    ----------
    book : the rulebook.
    columns : facts as described at the top of the module.
    count : number of feet n.
    fails : also tell which rules are false, so that unknown can be told from false.
    only : ids of the rules asked for, all by default. The result then holds those rules, and
        the axes that they read.
    program : `compiled` from columns that differ in the long ones' values alone.

    Raises
    ------
    ContradictionError
        If two rules conclude different values of one axis for a foot; it names both.
    """
    asked = [rule.id for rule in book.rules] if only is None else list(dict.fromkeys(only))
    program = program or compiled(book, columns, fails=fails, only=only)
    holds = dict(zip(asked, np.empty((len(asked), count), np.bool_), strict=True))
    false = asked if fails else []
    untrue = dict(zip(false, np.empty((len(false), count), np.bool_), strict=True))
    names = _whole_axes(book, program.holds.keys())
    last = last_stratum_of_axes(book)
    names.sort(key=lambda axis: last.get(axis, 0))  # a clash is found where it begins
    axes = dict(zip(names, np.empty((len(names), count), np.int8), strict=True))
    outputs = [(program.holds[name], holds[name]) for name in asked]
    outputs += [(program.fails[name], untrue[name]) for name in false]
    runner = _Runner(program, columns, outputs, axes)
    for start in range(0, count, CHUNK):
        clash = runner.run(slice(start, min(start + CHUNK, count)))
        if clash is not None:
            sound = {axis: axes[axis] for axis in names[: names.index(clash[0])]}
            raise _contradiction(book, columns, sound, *clash)
    return ManyConclusions(holds, untrue, axes)


def compiled(
    book: Rulebook, columns: Columns, *, fails: bool = False, only: Iterable[str] | None = None
) -> Program:
    """The rules asked for as array operations; columns of length one are compiled in."""
    asked = [rule.id for rule in book.rules] if only is None else list(dict.fromkeys(only))
    program = Program(book, columns)
    program.add(book.rules if only is None else behind(book, asked), asked if fails else ())
    return program


def _whole_axes(book: Rulebook, run: Set[str]) -> list[str]:
    """Axes that some rule concludes and all of whose rules are run; all when every rule is."""
    if len(run) == len(book.rules):
        return list(book.axes)
    whole = {axis for axis, rules in book.by_axis.items() if all(r.id in run for r in rules)}
    return [axis for axis in book.axes if axis in whole]


def behind(book: Rulebook, asked: Iterable[str]) -> tuple[CompiledRule, ...]:
    """The rules called `asked` and all rules whose axes they read, lowest stratum first."""
    wanted, axes = set(asked), set[str]()
    found: list[CompiledRule] = []
    for rule in reversed(book.rules):
        then = rule.concludes
        if rule.id in wanted or (then is not None and then.axis in axes):
            found.append(rule)
            axes |= rule.axes_read
    return tuple(reversed(found))


def columns_of(rows: list[Facts], vocabulary: Vocabulary) -> dict[str, Column]:
    """Columns from facts of single feet, as `infer.facts` makes them."""
    columns: dict[str, Column] = {}
    for names, places in _alike(rows).items():
        where = np.array(places)
        values = zip(*(rows[place].values() for place in places), strict=True)
        for name, column in zip(names, values, strict=True):
            words = vocabulary.words.get(name)
            if name not in columns:
                columns[name] = _missing(len(rows), number=words is None)
            if words is None:
                columns[name][where] = column
            else:
                codes = {word: code for code, word in enumerate(words)}
                columns[name][where] = [codes.get(str(word), -1) for word in column]
    return columns


def facts_at(columns: Columns, row: int, vocabulary: Vocabulary) -> dict[str, float | str]:
    """The facts of one foot of columns; what is missing is left out."""
    facts: dict[str, float | str] = {}
    for name, column in columns.items():
        value = column[row if len(column) > 1 else 0].item()
        words = vocabulary.words.get(name)
        if words is not None and value >= 0:
            facts[name] = words[value]
        elif words is None and value == value:
            facts[name] = float(value)
    return facts


def _alike(rows: list[Facts]) -> dict[tuple[str, ...], list[int]]:
    """Places of the rows that have the same facts in the same order: most of them do."""
    groups: dict[tuple[str, ...], list[int]] = {}
    for place, row in enumerate(rows):
        groups.setdefault(tuple(row), []).append(place)
    return groups


def _missing(count: int, *, number: bool) -> Column:
    return np.full(count, np.nan) if number else np.full(count, -1, np.int8)


class _Runner:
    """Runs a program over blocks of rows.

    Cells are what operations read and write: buffers, constants, and the rows of columns and
    outputs that belong to the current block. A buffer is given to another node after its last
    reader has run.
    """

    def __init__(
        self,
        program: Program,
        columns: Columns,
        outputs: list[tuple[Node, Bools]],
        axes: Mapping[str, NDArray[np.int8]],
    ) -> None:
        self._axes = axes
        self._cells: list[Any] = []
        self._sliced: list[tuple[int, NDArray[Any]]] = []  # cells that move with the block
        self._buffers: list[tuple[int, Bools]] = []
        self._fixed: list[tuple[bool, Bools]] = []
        self._columns: dict[str, int] = {}
        self._at: dict[Node, int] = {}
        self._copies: list[tuple[int, int]] = []
        self._program, self._given = program, columns
        self._place_outputs(outputs)
        self._steps = list(self._allocated())
        self._so_far = np.empty(CHUNK, np.int8)

    def _place_outputs(self, outputs: list[tuple[Node, Bools]]) -> None:
        """Let nodes write into the outputs themselves; two outputs of one node are copied."""
        for node, array in outputs:
            if node in (NEVER, ALWAYS):
                self._fixed.append((node == ALWAYS, array))
            elif node in self._at:
                self._copies.append((self._at[node], self._moving(array)))
            else:
                self._at[node] = self._moving(array)

    def _moving(self, array: NDArray[Any]) -> int:
        self._sliced.append((len(self._cells), array))
        self._cells.append(None)
        return len(self._cells) - 1

    def _allocated(self) -> Iterator[tuple[Callable[..., Any], tuple[int, ...]]]:
        """Steps with a cell for each operand and result, in order."""
        steps = self._program.steps
        last = {node: at for at, node in enumerate(steps)}
        for at, step in enumerate(steps.values()):
            last |= {operand: at for operand in step.operands if isinstance(operand, int)}
        kept = {node for nodes in self._program.values.values() for node in nodes}
        ends: dict[int, list[Node]] = {}
        for node, at in last.items():
            if node not in kept and node not in self._at:
                ends.setdefault(at, []).append(node)
        free: list[int] = []
        for at, (node, step) in enumerate(steps.items()):
            operands = [self._operand(operand) for operand in step.operands]
            if node not in self._at:
                self._at[node] = free.pop() if free else self._buffer()
            yield step.function, (*operands, self._at[node])
            free += [self._at[done] for done in ends.get(at, [])]

    def _buffer(self) -> int:
        self._buffers.append((len(self._cells), np.empty(CHUNK, np.bool_)))
        self._cells.append(None)
        return len(self._cells) - 1

    def _operand(self, operand: Node | str | NDArray[Any]) -> int:
        if isinstance(operand, int):
            return self._at[operand]
        if isinstance(operand, str):
            if operand not in self._columns:
                self._columns[operand] = self._moving(self._given[operand])
            return self._columns[operand]
        self._cells.append(operand)
        return len(self._cells) - 1

    def run(self, rows: slice) -> tuple[str, int] | None:
        """Run over `rows`; returns an axis and a row that got two values, if any did."""
        cells, count = self._cells, rows.stop - rows.start
        for at, array in self._sliced:
            cells[at] = array[rows]
        for at, buffer in self._buffers:
            cells[at] = buffer[:count]
        for function, at_ in self._steps:
            function(*[cells[at] for at in at_])
        for source, target in self._copies:
            cells[target][:] = cells[source]
        for truth, array in self._fixed:
            array[rows] = truth
        for axis, column in self._axes.items():
            clash = self._settle(axis, column[rows])
            if clash is not None:
                return axis, rows.start + clash
        return None

    def _settle(self, axis: str, out: NDArray[np.int8]) -> int | None:
        """Write the codes of an axis; returns a row with two values, if there is one."""
        so_far = self._so_far[: len(out)]
        so_far[:] = 0
        out[:] = -1
        # A value is counted once for each code up to its own: additions alone, no product.
        for node in reversed(self._program.values[axis]):
            if node == ALWAYS:
                so_far += 1
            elif node != NEVER:
                np.add(so_far, self._cells[self._at[node]].view(np.int8), out=so_far)
            np.add(out, so_far, out=out)
        return int(so_far.argmax()) if so_far.max(initial=0) > 1 else None


def _contradiction(
    book: Rulebook, columns: Columns, axes: Mapping[str, NDArray[np.int8]], axis: str, row: int
) -> ContradictionError:
    """The error for a foot of which two rules conclude different values of `axis`.

    `axes` are those settled before it.
    """
    settled = {Fact("axis", name).name: codes for name, codes in axes.items()}
    facts = facts_at({**columns, **settled}, row, book.vocabulary)
    facts |= {
        Fact("decided", a).name: "yes" if Fact("axis", a).name in facts else "no" for a in book.axes
    }
    true = [
        rule
        for rule in book.concluding(axis)
        if any(satisfied(branch, facts) for branch in rule.holds)
    ]
    other = next(rule for rule in true if rule.concludes != true[0].concludes)
    return contradiction(true[0], other)


class ArrayEngine:
    """A rulebook that concludes one foot as a column of one row.

    Parameters
    ----------
    book : the rulebook.

    Raises
    ------
    InputError
        If durable-rules could not bear a rule: a rulebook works on every machine or on none.
    """

    name = "numpy"

    def __init__(self, book: Rulebook) -> None:
        bear(book)
        self.book = book

    def conclude(self, facts: Facts) -> Conclusions:
        """Run every stratum over `facts`; errors as every engine raises them."""
        book = self.book
        known: dict[str, float | str] = dict(checked_facts(facts, book))
        many = conclude_many(book, columns_of([known], book.vocabulary), 1, fails=True)
        truth = {
            rule.id: _truth(rule.id, bool(many.holds[rule.id][0]), bool(many.fails[rule.id][0]))
            for rule in book.rules
        }
        axes: dict[str, str | None] = dict.fromkeys(book.axes)
        axes |= settle(book.rules, truth)
        known |= {
            Fact("axis", axis).name: value for axis, value in axes.items() if value is not None
        }
        known |= {
            Fact("decided", a).name: "no" if value is None else "yes" for a, value in axes.items()
        }
        return Conclusions(truth, known, axes)


def _truth(rule: str, holds: bool, fails: bool) -> Truth:
    if holds and fails:
        raise RecommendError(f"rule `{rule}` came out true and false for the same foot")
    return True if holds else False if fails else None
