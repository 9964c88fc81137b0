"""Which small changes to a rulebook the worked examples notice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from recommend.check.examples import Case, concluded, differences, need_keys, outcomes
from recommend.check.finding import Finding
from recommend.check.mutants import Mutant, mutants
from recommend.errors import Place
from recommend.infer.many import Bools, ManyConclusions
from recommend.reading import Strict, validate
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.terms import satisfied
from recommend.rulebook.vocabulary import Fact

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
    trial = Trial(book, cases)
    made, alive = 0, []
    for mutant in mutants(book):
        made += 1
        if not trial.notices(mutant):
            alive.append(mutant)
    return Mutation(made, tuple(alive))


class Trial:
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
