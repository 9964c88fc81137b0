"""A compiled rulebook in CLIPS: a second engine that shares none of our code that runs rules.

CLIPS 6.4 through clipspy. A foot is one fact with a slot for everything it can have, and
``nil`` where it is missing. Each branch of a rule's normal form is a defrule that notes its
verdict; one that concludes an axis asserts it, and later rules match it: strata are salience.
"""

from __future__ import annotations

import itertools
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import clips
import numpy as np

from recommend.infer.conclusions import last_stratum_of_axes
from recommend.infer.many import Column
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import AxisThen
from recommend.rulebook.terms import Conjunction, Number, Term

BATCH = 100  # feet in working memory at a time
_FEET_OF_AN_ENVIRONMENT = 5000  # clipspy's own memory grows with the facts it has met
_SIGN = {"gt": ">", "ge": ">=", "lt": "<", "le": "<="}


class Clips:
    """CLIPS with the rules of `book`; verdicts are kept as columns.

    With `fails` rules are also run for being false.
    """

    def __init__(self, book: Rulebook, *, fails: bool = True) -> None:
        self.book, self._fails = book, fails
        given = [f for f in _facts_of(book) if not f.startswith(("axis_", "decided_"))]
        self._slots = {fact: f"s{index}" for index, fact in enumerate(given)}
        self._constructs = [*self._templates(), *self._rules(), *self._closing()]

    def conclude(
        self, columns: dict[str, Column], count: int
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Truth and falsity by (rule, foot), and codes by (axis, foot), as CLIPS has them."""
        with tempfile.TemporaryDirectory() as folder:
            log = Path(folder) / "verdicts"
            self._run(columns, count, log)
            verdicts = np.array(log.read_text(encoding="ascii").split(), np.int32).reshape(-1, 3)
        true = np.zeros((len(self.book.rules), count), np.bool_)
        false, axes = np.zeros_like(true), np.full((len(self.book.axes), count), -1, np.int8)
        foot, number, verdict = verdicts.T
        of_rule = number < len(true)
        for truth, table in ((1, true), (0, false)):
            here = of_rule & (verdict == truth)
            table[number[here], foot[here]] = True
        for offset, codes in enumerate(axes):
            of_axis = number == len(true) + offset
            assert len(np.unique(foot[of_axis])) == of_axis.sum(), "an axis has two values"
            codes[foot[of_axis]] = verdict[of_axis]
        return true, false, axes

    def _run(self, columns: dict[str, Column], count: int, log: Path) -> None:
        texts = [self._texts(fact, columns[fact]) for fact in self._slots if fact in columns]
        for start in range(0, count, BATCH):
            if start % _FEET_OF_AN_ENVIRONMENT == 0:
                env = self._environment()
                env.eval(f'(open "{log}" log "a")')
            env.reset()
            for row in range(start, min(start + BATCH, count)):
                slots = "".join(text[row] for text in texts)
                env.assert_string(f"(foot (id {row}){slots})")
            env.run()
            if (start + BATCH) % _FEET_OF_AN_ENVIRONMENT == 0 or start + BATCH >= count:
                env.eval("(close log)")

    def _environment(self) -> clips.Environment:
        env = clips.Environment()
        for construct in self._constructs:
            env.build(construct)
        return env

    def _texts(self, fact: str, column: Column) -> list[str]:
        """What stands in the slot of `fact` for each foot; nothing where it is missing."""
        slot, words = self._slots[fact], self.book.vocabulary.words.get(fact)
        if words is None:
            return ["" if v != v else f" ({slot} {v!r})" for v in column.tolist()]
        known = [f" ({slot} {word})" for word in words]
        return [known[code] if code >= 0 else "" for code in column.tolist()]

    def _templates(self) -> Iterator[str]:
        slots = " ".join(f"(slot {slot})" for slot in self._slots.values())
        yield f"(deftemplate foot (slot id) {slots})"
        yield "(deftemplate axis (slot foot) (slot name) (slot value))"
        yield "(deftemplate decided (slot foot) (slot name) (slot value))"

    def _rules(self) -> Iterator[str]:
        for number, rule in enumerate(self.book.rules):
            for index, branch in enumerate(rule.holds):
                then = f"{_log(number, '1')} {self._conclusion(rule)}"
                yield self._rule(f"r{number}-{index}", rule.stratum, branch, then)
            for index, branch in enumerate(rule.fails if self._fails else ()):
                then = _log(number, "0")
                yield self._rule(f"not-r{number}-{index}", rule.stratum, branch, then)

    def _conclusion(self, rule: CompiledRule) -> str:
        then = rule.rule.then
        if not isinstance(then, AxisThen):
            return ""
        return f"(assert (axis (foot ?i) (name {then.axis}) (value {then.value})))"

    def _rule(self, name: str, stratum: int, branch: Conjunction, then: str) -> str:
        slots, others = [], []
        for fact, terms in itertools.groupby(branch, key=lambda term: term.fact):
            kind, _, axis = fact.partition("_")
            if kind in ("axis", "decided"):
                others.append(f"({kind} (foot ?i) (name {axis}) (value {_test('?a', terms)}))")
            else:
                slot = self._slots[fact]
                slots.append(f"({slot} {_test(f'?{slot}', terms)})")
        # An axis fact knows its foot; the foot itself is matched only where it is asked about.
        foot = [f"(foot (id ?i) {' '.join(slots)})"] if slots else []
        when = " ".join([*foot, *others])
        return f"(defrule {name} (declare (salience {-2 * stratum})) {when} => {then})"

    def _closing(self) -> Iterator[str]:
        """Rules that run after those of an axis, and say whether it was decided."""
        last = last_stratum_of_axes(self.book)
        for number, axis in enumerate(self.book.axes):
            late = f"(declare (salience {-2 * last.get(axis, 0) - 1}))"
            value = f"(axis (foot ?i) (name {axis}) (value ?v))"
            told = f"(assert (decided (foot ?i) (name {axis}) (value yes)))"
            words = " ".join(self.book.axes[axis].values)
            code = f"(- (member$ ?v (create$ {words})) 1)"
            noted = _log(len(self.book.rules) + number, code)
            yield f"(defrule {axis}-is {late} {value} => {told} {noted})"
            without = f"(foot (id ?i)) (not (axis (foot ?i) (name {axis})))"
            told = f"(assert (decided (foot ?i) (name {axis}) (value no)))"
            yield f"(defrule {axis}-is-open {late} {without} => {told})"


def _log(number: int, verdict: str) -> str:
    """Write one verdict; text files are quicker than calls from CLIPS back into Python."""
    return f'(printout log ?i " " {number} " " {verdict} crlf)'


def _facts_of(book: Rulebook) -> list[str]:
    return sorted(book.read)


def _test(variable: str, terms: Iterable[Term]) -> str:
    """The constraint of a slot: one of some words, or all comparisons of a number."""
    words, numbers = [], []
    for term in terms:
        if isinstance(term, Number):
            numbers.append(f"&:({_SIGN[term.op]} {variable} {term.value!r})")
        else:
            words.append("|".join(sorted(term.values)))
    return "&".join(words) if words else f"{variable}&~nil{''.join(numbers)}"
