"""Small changes to a rulebook, one at a time, and which of them the worked examples notice.

Every limit is shifted, every comparison flipped, every condition and every word of a list
dropped, every conclusion weakened. The idea is mutation testing (DeMillo, Lipton and Sayward
1978, Computer 11(4):34-41, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from recommend.check.examples import Case, concluded, differences, need_keys, outcomes
from recommend.check.finding import Finding
from recommend.errors import Place
from recommend.infer.many import Bools, ManyConclusions
from recommend.reading import Strict, validate
from recommend.rulebook.book import CompiledRule, Rulebook, always, recompiled
from recommend.rulebook.compiling import Compiler
from recommend.rulebook.conditions import (
    ORDERS,
    Condition,
    Group,
    NoneOf,
    OfAxis,
    OfMeasure,
    OfVisit,
)
from recommend.rulebook.models import AxisThen, Limit, NeedsThen, NeedThen, NoteThen, Rule
from recommend.rulebook.naming import DECIMALS
from recommend.rulebook.terms import COMPARISONS, OPS, Number, opposite, satisfied
from recommend.rulebook.vocabulary import Fact, about
from recommend.rulebook.words import code

_EDGE: dict[str, str] = {**{word: OPS[one.edge].word for word, one in COMPARISONS.items()},
         "clearly-above": "above", "clearly-below": "below"}  # fmt: skip
_OTHER_WAY: dict[str, str] = {**{word: opposite(word) for word in COMPARISONS},
              "clearly-above": "clearly-below", "clearly-below": "clearly-above"}  # fmt: skip
_WEAKER = {"stop": "see-clinician", "see-clinician": "caution"}
# A need turned over keeps whether it takes in the target itself; and the edge of it.
_NEED_WAYS = {word: (OPS[OPS[one.edge].opposite].word, OPS[one.edge].word)
              for word, one in COMPARISONS.items()}  # fmt: skip
_STRENGTHS = {"must": "prefer", "never": "prefer", "prefer": "must"}
_WEIGHTS = {"strong": "usual", "usual": "slight", "slight": "usual"}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: in words, where, the changed rules, and the limits as changed."""

    words: str
    place: Place
    changed: tuple[CompiledRule, ...]
    limits: Mapping[str, Limit]

    def applied(self, book: Rulebook) -> Rulebook:
        """The rulebook with the change made."""
        new = {rule.id: rule for rule in self.changed}
        rules = tuple(new.get(rule.id, rule) for rule in book.rules)
        return replace(book, rules=rules, limits=self.limits)


def mutants(book: Rulebook) -> Iterator[Mutant]:
    """Every mutant of a rulebook, limits first."""
    yield from _limits(book)
    compiler = Compiler(book.limits, book.vocabulary)
    for rule in book.rules:
        for words, when in variants(rule.rule.when):
            changed = recompiled(rule, _with(rule.rule, when=when), compiler)
            yield _of_rule(rule, words, changed, book)
        without = replace(rule, holds=always(book.vocabulary), fails=())
        yield _of_rule(rule, "its condition is dropped", without, book)
        for words, then in _conclusions(rule.rule.then, book):
            yield _of_rule(rule, words, replace(rule, rule=_with(rule.rule, then=then)), book)


def with_limit(name: str, index: int, book: Rulebook, to: float) -> Rulebook:
    """The rulebook with one value of a limit at `to`, and the rules that refer to it made anew."""
    return _moved(book, name, index, to).applied(book)


def _moved(book: Rulebook, name: str, index: int, to: float) -> Mutant:
    """One value of a limit at `to`, in the rules that refer to it."""
    limit = book.limits[name]
    was = limit.values[index]
    moved = was.model_copy(update={"value": round(to, DECIMALS)})
    values = [*limit.values[:index], moved, *limit.values[index + 1 :]]
    limits = {**book.limits, name: limit.model_copy(update={"values": values})}
    compiler = Compiler(limits, book.vocabulary)
    rules = [rule for rule in book.rules if _refers(rule, name)]
    where = "".join(f", {word}" for word in was.where.values())
    words = f"limit {name}{where}: {was.value:g} becomes {moved.value:g}"
    place = rules[0].place if rules else Place(book.folder)
    changed = tuple(recompiled(rule, rule.rule, compiler) for rule in rules)
    return Mutant(words, place, changed, limits)


def _of_rule(rule: CompiledRule, words: str, changed: CompiledRule, book: Rulebook) -> Mutant:
    return Mutant(f"{rule.id}: {words}", rule.place, (changed,), book.limits)


def _with(rule: Rule, **changes: object) -> Rule:
    return rule.model_copy(update=changes)


def _limits(book: Rulebook) -> Iterator[Mutant]:
    for name, limit in book.limits.items():
        rules = [rule for rule in book.rules if _refers(rule, name)]
        step = _step(rules, name, book)
        for index, value in enumerate(limit.values if rules else ()):
            for shift in (-step, step):
                yield _moved(book, name, index, value.value + shift)


def _refers(rule: CompiledRule, limit: str) -> bool:
    return limit in rule.limits or any(need.limit == limit for need in rule.asks)


def _step(rules: list[CompiledRule], limit: str, book: Rulebook) -> float:
    """The last decimal of the measure compared; 1 for the target of a need."""
    for term in (term for rule in rules for term in rule.terms):
        if isinstance(term, Number) and term.limit == limit:
            return 10.0 ** -book.measures[about(term.fact).of].decimals
    return 1.0


def variants(condition: Condition) -> Iterator[tuple[str, Condition]]:
    """Every condition one small change away, with the change in words."""
    if not isinstance(condition, Group):
        yield from _leaf_variants(condition)
        return
    for index, part in enumerate(condition.parts):
        before, after = condition.parts[:index], condition.parts[index + 1 :]
        if before or after:
            yield f"`{code(part)}` is dropped", condition.of([*before, *after])
        for words, new in variants(part):
            yield words, condition.of([*before, new, *after])


def _leaf_variants(leaf: Condition) -> Iterator[tuple[str, Condition]]:
    if isinstance(leaf, OfMeasure) and leaf.is_[0] in ORDERS:
        for table in (_EDGE, _OTHER_WAY):
            new = leaf.model_copy(update={"is_": [table[leaf.is_[0]]]})
            yield f"`{code(leaf)}` becomes `{code(new)}`", new
        return
    flipped = NoneOf(none=[leaf])
    yield f"`{code(leaf)}` is turned round", flipped
    if isinstance(leaf, (OfMeasure, OfAxis, OfVisit)):
        key = "is_" if leaf.is_ else "is_not"
        words = getattr(leaf, key)
        for word in words if len(words) > 1 else ():
            fewer = leaf.model_copy(update={key: [w for w in words if w != word]})
            yield f"`{word}` is left out of `{code(leaf)}`", fewer


def _conclusions(
    then: AxisThen | NoteThen | NeedsThen, book: Rulebook
) -> Iterator[tuple[str, AxisThen | NoteThen | NeedsThen]]:
    if isinstance(then, AxisThen):
        for value in book.axes[then.axis].values:
            if value != then.value:
                new = then.model_copy(update={"value": value})
                yield f"concludes `{value}` instead of `{then.value}`", new
                return
    elif isinstance(then, NoteThen):
        if then.note in _WEAKER:
            weaker = _WEAKER[then.note]
            yield f"a `{then.note}` becomes a `{weaker}`", then.model_copy(update={"note": weaker})
    else:
        for index, need in enumerate(then.needs):
            for words, one in _needs(need, book):
                kept = [*then.needs[:index], *one, *then.needs[index + 1 :]]
                yield f"need of {need.attribute} {words}", NeedsThen.model_construct(needs=kept)


def _needs(need: NeedThen, book: Rulebook) -> Iterator[tuple[str, list[NeedThen]]]:
    yield "is dropped", []
    for way in _NEED_WAYS[need.is_]:
        yield f"{need.is_} becomes {way}", [need.model_copy(update={"is_": way})]
    if need.level is not None:
        steps = list(book.attributes[need.attribute].scale)
        at = steps.index(need.level)
        for index in (at - 1, at + 1):
            if 0 <= index < len(steps):
                level = steps[index]
                yield f"{need.level} becomes {level}", [need.model_copy(update={"level": level})]
    other = _STRENGTHS[need.strength]
    yield f"{need.strength} becomes {other}", [need.model_copy(update={"strength": other})]
    if need.strength == "prefer":
        weight = _WEIGHTS[need.weight]
        yield f"{need.weight} becomes {weight}", [need.model_copy(update={"weight": weight})]


SURVIVORS = "survivors.yaml"


@dataclass(frozen=True, slots=True)
class Mutation:
    """How many mutants there were, and which of them no example noticed."""

    made: int
    alive: tuple[Mutant, ...]


def mutate(book: Rulebook, cases: tuple[Case, ...]) -> Mutation:
    """Try every mutant on every example.

    Only the changed rules are run again, on the axes as they were, and only the feet that come
    out differently are looked at; everything runs again only where that shows nothing.
    """
    trial = MutantTrial(book, cases)
    made, alive = 0, []
    for mutant in mutants(book):
        made += 1
        if not trial.notices(mutant):
            alive.append(mutant)
    return Mutation(made, tuple(alive))


class MutantTrial:
    """The examples with everything the unchanged rulebook concludes about them."""

    def __init__(self, book: Rulebook, cases: tuple[Case, ...]) -> None:
        self.book, self.cases = book, cases
        self.before = concluded(book, cases)
        self.facts = [
            {**case.facts, **axes} for case, axes in zip(cases, self._axes(), strict=True)
        ]

    def _axes(self) -> Iterator[dict[str, str]]:
        """What every example's axes are, as the facts that rules above them read."""
        for row in range(len(self.cases)):
            facts: dict[str, str] = {}
            for axis, codes in self.before.axes.items():
                code = int(codes[row])
                facts[Fact("decided", axis).name] = "no" if code < 0 else "yes"
                if code >= 0:
                    facts[Fact("axis", axis).name] = list(self.book.axes[axis].values)[code]
            yield facts

    def notices(self, mutant: Mutant) -> bool:
        """Whether some example fails on the mutant."""
        changed = mutant.applied(self.book)
        holds = {rule.id: self._holds(rule) for rule in mutant.changed}
        rows = np.zeros(len(self.cases), np.bool_)
        for rule in mutant.changed:
            rows |= holds[rule.id] != self.before.holds[rule.id]
            if self._says_otherwise(rule, changed):
                rows |= holds[rule.id]
        if not rows.any():
            return False
        done = replace(self.before, holds={**self.before.holds, **holds})
        axes = {rule.concludes.axis for rule in mutant.changed if rule.concludes}
        settled = {axis: _codes(changed, axis, done) for axis in axes}
        codes = {axis: one for axis, one in settled.items() if one is not None}
        if len(codes) < len(settled):
            return True  # the mutant contradicts itself on an example
        done = replace(done, axes={**done.axes, **codes})
        near = any(
            next(differences(changed, self.cases[row], int(row), done), None)
            for row in np.flatnonzero(rows)
        )
        return near or (bool(axes) and any(outcomes(changed, self.cases)))

    def _holds(self, rule: CompiledRule) -> Bools:
        if rule.holds == self.book.by_id[rule.id].holds:
            return self.before.holds[rule.id]
        return np.array([any(satisfied(b, facts) for b in rule.holds) for facts in self.facts])

    def _says_otherwise(self, rule: CompiledRule, changed: Rulebook) -> bool:
        was = self.book.by_id[rule.id]
        if rule.rule.then != was.rule.then:
            return True
        return list(need_keys(rule, changed)) != list(need_keys(was, self.book))


def _codes(book: Rulebook, axis: str, done: ManyConclusions) -> NDArray[np.int8] | None:
    """Values of an axis from which of its rules hold; None where two of them contradict."""
    values = list(book.axes[axis].values)
    codes = np.full(len(done.axes[axis]), -1, np.int8)
    for rule in book.concluding(axis):
        code, mask = values.index(rule.concludes.value), done.holds[rule.id]  # type: ignore[union-attr]
        if np.any(mask & (codes >= 0) & (codes != code)):
            return None
        codes[mask] = code
    return codes


class Survivor(Strict):
    """A mutant that may live, in the words of the finding, and why."""

    change: str
    reason: str = Field(min_length=1)


class SurvivorsFile(Strict):
    """``survivors.yaml`` of a rulebook."""

    title: str
    survivors: list[Survivor]


def mutation_findings(book: Rulebook, found: Mutation) -> Iterator[Finding]:
    """Mutants that live without a reason, and reasons for mutants that do not live."""
    listed: dict[str, Place] = {}
    if SURVIVORS in book.texts:
        document = book.texts.document(SURVIVORS)
        for index, one in enumerate(validate(SurvivorsFile, document).survivors):
            listed[one.change] = document.place(("survivors", index))
    for mutant in found.alive:
        if mutant.words not in listed:
            yield Finding(
                "unnoticed-change", "error", mutant.place,
                f"this change goes unnoticed: {mutant.words}",
                mend="write an example or a promise that fails on it; or, where it makes no "
                "difference for any foot, say so in survivors.yaml of the rulebook, the list of "
                "such changes, in these words and with the reason",
            )  # fmt: skip
    alive = {mutant.words for mutant in found.alive}
    for change, place in listed.items():
        if change not in alive:
            yield Finding(
                "unnoticed-change", "warning", place,
                f"listed as making no difference, but it is noticed: {change}",
                mend="remove it from survivors.yaml",
            )  # fmt: skip
