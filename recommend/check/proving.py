"""Proving promises for every possible foot, or finding a smallest foot that breaks one."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

import z3

from recommend.check.cells import base_facts
from recommend.check.encoding import FormulaFoot, number
from recommend.check.feet import foot_words, visit_text
from recommend.check.finding import Finding
from recommend.check.promises import (
    EVERY_AXIS,
    Adding,
    Alarming,
    AtMostOne,
    Decides,
    Forbids,
    Given,
    Keeps,
    NeverWins,
    Notes,
    PromiseResult,
    Unasked,
)
from recommend.infer.many import behind
from recommend.match.needs import Need, contradict, needs_of, rule_needs, target_of
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.compiling import Compiler
from recommend.rulebook.models import NOTE_LEVELS, NoteLevel, at_least
from recommend.rulebook.terms import COMPARISONS, Number
from recommend.rulebook.vocabulary import Fact, about, part_of

Formula: TypeAlias = Any

SECONDS = 20  # for one promise; a guard of time, after which it is said to be undecided


@dataclass(frozen=True, slots=True)
class Breach:
    """A way in which a promise could be broken: satisfiable means that it is."""

    formula: Formula
    why: str


def prove(book: Rulebook, promises: Iterable[Given]) -> Iterator[PromiseResult]:
    """One verdict for every promise, as it is reached."""
    prover = _Prover(book)
    for given in promises:
        yield prover.verdict(given)


def promise_findings(verdicts: Iterable[PromiseResult]) -> Iterator[Finding]:
    """Findings for the promises that are not proved."""
    for one in verdicts:
        promise = one.given.promise
        if one.outcome == "broken":
            yield Finding(
                "promise-broken", "error", one.given.place,
                f"promise `{promise.id}` ({promise.title}) is broken: {one.why}",
                mend="mend the rules, or the promise if it says too much",
                foot=one.foot, visit=one.visit,
            )  # fmt: skip
        elif one.outcome == "undecided":
            yield Finding(
                "not-decided", "warning", one.given.place,
                f"promise `{promise.id}` could not be decided in {SECONDS} s",
                mend="split it, or prove it for one axis at a time",
            )  # fmt: skip


class _Prover:
    def __init__(self, book: Rulebook) -> None:
        self.book = book
        self.foot, self.other = FormulaFoot(book), FormulaFoot(book, "other ")
        self.product = {name: z3.Real(f"product {name}") for name in book.attributes}

    def verdict(self, given: Given) -> PromiseResult:
        start = time.perf_counter()
        outcome, why, foot, visit = "proved", "", "", ""
        for doubt in self._doubts(given):
            found = self._look(doubt, given)
            if found is None:
                continue
            outcome, foot, visit = found
            why = doubt.why if outcome == "broken" else ""
            break
        seconds = time.perf_counter() - start
        return PromiseResult(given, outcome, seconds, why, foot, visit)  # type: ignore[arg-type]

    def _look(self, doubt: Breach, given: Given) -> tuple[str, str, str] | None:
        """None when no foot satisfies the doubt; else the outcome and the smallest foot."""
        solver = z3.Solver()
        solver.set("timeout", SECONDS * 1000)
        solver.add(*self.foot.possible, *self.other.possible, doubt.formula)
        answer = solver.check()
        if answer == z3.unsat:
            return None
        if answer == z3.unknown:
            return "undecided", "", ""
        model = solver.model()
        solver.push()
        solver.add(*self.foot.writable, *self.other.writable)
        if solver.check() == z3.sat:  # such a foot can be written down as a visit
            model = self._smallest(solver)
        facts = self.foot.facts(model)
        heading = f"Shows that the promise {given.promise.id} is broken:\n{doubt.why}."
        both = isinstance(given.promise.then, Forbids)
        visit = visit_text(facts, self.book, heading, both=both)
        return "broken", foot_words(facts, self.book), visit

    def _smallest(self, solver: Formula) -> Formula:
        """Leave out one thing after the other, as long as the doubt still stands."""
        missing = [z3.Not(k) for k in self.foot.known.values() if not z3.is_true(k)]
        for wish in (*missing, *self.foot.near_the_limits()):
            solver.push()
            solver.add(wish)
            if solver.check() != z3.sat:
                solver.pop()
        solver.check()
        return solver.model()

    def _doubts(self, given: Given) -> Iterator[Breach]:
        then = given.promise.then
        ways: dict[type, Callable[[Any, Formula], Iterator[Breach]]] = {
            AtMostOne: self._two_values,
            Decides: self._no_value,
            Notes: self._not_due,
            Forbids: self._let_through,
            Alarming: self._lengthened,
            Adding: self._taken_away_by_adding,
            Keeps: self._taken_away,
            Unasked: self._bolder_unasked,
            NeverWins: self._never_gives_way,
        }
        meant = z3.BoolVal(True)
        if given.promise.when is not None:
            compiler = Compiler(self.book.limits, self.book.vocabulary)
            meant = self.foot.form(compiler.normal_form(given.promise.when)[0])
        return ways[type(then)](then, meant)

    def _not_due(self, then: Notes, meant: Formula) -> Iterator[Breach]:
        due = z3.Or([holds for _, holds in self._notes(self.foot, at_least(then.note))])
        yield Breach(z3.And(meant, z3.Not(due)), f"no note as grave as `{then.note}` is due")

    def _two_values(self, then: AtMostOne, meant: Formula) -> Iterator[Breach]:
        every = then.at_most_one == EVERY_AXIS
        for axis in self.book.axes if every else [then.at_most_one]:
            rules = self.book.concluding(axis)
            both = [
                z3.And(self.foot.holds(one), self.foot.holds(other))
                for one, other in itertools.combinations(rules, 2)
                if one.concludes != other.concludes
            ]
            yield Breach(z3.And(meant, z3.Or(both)), f"axis `{axis}` gets two values")

    def _no_value(self, then: Decides, meant: Formula) -> Iterator[Breach]:
        rules = self.book.concluding(then.decides)
        below = behind(self.book, [rule.id for rule in rules])
        given = [self._comparable(measure, below) for measure in then.given]
        none = z3.Not(self.foot.concluded(then.decides))
        yield Breach(z3.And(meant, *given, none), f"axis `{then.decides}` stays undetermined")
        yield from self._two_values(AtMostOne(at_most_one=then.decides), meant)

    def _comparable(self, measure: str, rules: tuple[CompiledRule, ...]) -> Formula:
        """The measure is known, and each limit it is compared with has a value meant for it."""
        limits = {
            term.limit
            for rule in rules
            for term in rule.terms
            if isinstance(term, Number) and about(term.fact).of == measure
        }
        meant = []
        for limit in sorted(limits):
            ways = [
                z3.And([self._qualified(measure, q, w) for q, w in value.where.items()])
                for value in self.book.limits[limit].values
            ]
            meant.append(z3.Or(ways))
        return z3.And(self.foot.known[measure], *meant)

    def _qualified(self, measure: str, qualifier: str, word: str) -> Formula:
        fact = part_of(measure, qualifier)
        words = self.book.vocabulary.words[fact]
        return self.foot.word[fact] == words.index(word) if word in words else z3.BoolVal(False)

    def _notes(
        self, foot: FormulaFoot, levels: Iterable[NoteLevel]
    ) -> list[tuple[CompiledRule, Formula]]:
        return [(rule, foot.holds(rule)) for rule in self.book.noting(*levels)]

    def _let_through(self, then: Forbids, meant: Formula) -> Iterator[Breach]:
        forbidden = _as_need(then, self.book)
        beyond = compared(self.product[forbidden.attribute], forbidden)
        words = (
            f"a product with {forbidden.attribute} {then.forbids.is_} {forbidden.target:g} passes"
        )
        if then.under is not None:
            due = [holds for _, holds in self._notes(self.foot, [then.under])]
            meant = z3.And(meant, z3.Or(due))
        yield Breach(z3.And(meant, self._sold(), self._passes(self.foot), beyond), words)

    def _sold(self) -> Formula:
        """Attributes within their ranges; those of a pair add up."""
        parts = []
        for name, attribute in self.book.attributes.items():
            low, high = attribute.low, attribute.high
            if attribute.scale:
                low, high = 0.0, float(len(attribute.scale) - 1)
                parts.append(z3.IsInt(self.product[name]))
            assert low is not None
            assert high is not None
            parts += [self.product[name] >= number(low), self.product[name] <= number(high)]
            if attribute.sum_of:
                total = z3.Sum([self.product[part] for part in attribute.sum_of])
                parts.append(self.product[name] == total)
        return z3.And(parts)

    def _passes(self, foot: FormulaFoot) -> Formula:
        """No never is broken, and every must is met that no other need sets aside."""
        binding = list(self._binding())
        parts = []
        for rule, need in binding:
            met = compared(self.product[need.attribute], need)
            if need.strength == "never":
                parts.append(z3.Implies(foot.holds(rule), z3.Not(met)))
                continue
            against = [foot.holds(r) for r, other in binding if contradict(need, other)]
            binds = z3.And(foot.holds(rule), z3.Not(z3.Or(against)))
            parts.append(z3.Implies(binds, met))
        return z3.And(parts)

    def _binding(self) -> Iterator[tuple[CompiledRule, Need]]:
        for rule in self.book.rules:
            needs = rule_needs(self.book, rule.id) if rule.asks else ()
            yield from ((rule, need) for need in needs if need.strength != "prefer")

    def _taken_away(self, then: Keeps, meant: Formula) -> Iterator[Breach]:
        measure = then.higher or then.lower or ""
        more = z3.And(meant, self._moved(measure, up=then.higher is not None))
        what = f"a {'higher' if then.higher else 'lower'} {measure}"
        yield from self._lost(measure, more, then.keeps, what)

    def _taken_away_by_adding(self, then: Adding, meant: Formula) -> Iterator[Breach]:
        """The foot lacks one reading; the other is the same foot with it."""
        for measure, definition in self.book.measures.items():
            if measure in then.but:
                continue
            mine, theirs = self.foot.known[measure], self.other.known[measure]
            own = {measure, *(part_of(measure, word) for word in definition.qualifiers)}
            same = self._same(leaving_out=own)
            more = z3.And(meant, z3.Not(mine), theirs, *same)
            yield from self._lost(measure, more, then.keeps, f"adding {measure}")

    def _lost(
        self, measure: str, more: Formula, levels: Iterable[NoteLevel], what: str
    ) -> Iterator[Breach]:
        """Notes that this foot has and the other, with `more`, has not."""
        for rule, due in self._notes(self.foot, levels):
            if not _reads(self.book, rule, measure):
                continue  # the note does not depend on it at all
            graver = self._notes(self.other, at_least(rule.level or "caution"))
            kept = z3.Or([self.other.holds(rule), *(h for r, h in graver if r.id != rule.id)])
            why = f"{what} takes the note of `{rule.id}` away"
            yield Breach(z3.And(more, due, z3.Not(kept)), why)

    def _moved(self, measure: str, *, up: bool) -> Formula:
        """The other foot is the same but for one measure, which is at least as extreme."""
        mine, theirs = self.foot, self.other
        parts = [mine.known[measure], theirs.known[measure]]
        for shift in (-1, 0, 1):
            was = mine.value[measure] + shift * mine.margin[measure]
            now = theirs.value[measure] + shift * theirs.margin[measure]
            parts.append(now >= was if up else now <= was)
        return z3.And(*parts, *self._same(leaving_out={measure}))

    def _same(self, leaving_out: set[str]) -> Iterator[Formula]:
        pairs = (
            (self.foot.known, self.other.known), (self.foot.value, self.other.value),
            (self.foot.margin, self.other.margin), (self.foot.word, self.other.word),
        )  # fmt: skip
        for mine, theirs in pairs:
            for name, one in mine.items():
                if name not in leaving_out:
                    yield one == theirs[name]

    def _bolder_unasked(self, then: Unasked, meant: Formula) -> Iterator[Breach]:
        """The foot was not asked; the other is the same foot that was asked and said no."""
        kind = {"answers": "answer", "pain": "pain"}[then.unasked]
        facts = [fact for fact in self.foot.word if about(fact).kind == kind]
        groups = [[fact] for fact in facts] if then.unasked == "answers" else [facts]
        for group in groups:
            flags = {"pain"} if then.unasked == "pain" else set(group)
            silent = [z3.Not(self.foot.known[flag]) for flag in flags]
            said = [self.other.known[flag] for flag in flags]
            said += [self.other.word[fact] == self._harmless(fact) for fact in group]
            same = self._same(leaving_out={*flags, *group})
            asked = z3.And(meant, *silent, *said, *same)
            what = "pain" if then.unasked == "pain" else about(group[0]).of
            yield from self._bolder(asked, what, frozenset(group))

    def _lengthened(self, _then: Alarming, meant: Formula) -> Iterator[Breach]:
        """The foot gave the alarming answer; the other is the same foot with the harmless one."""
        stops = z3.Or([due for _, due in self._notes(self.foot, ["stop"])])
        for question in self.book.questions:
            fact = Fact("answer", question).name
            if fact not in base_facts(self.book, [rule for rule, _ in self._binding()]):
                continue
            calm = self._harmless(fact)
            said = [self.foot.known[fact], self.foot.word[fact] == 1 - calm]
            said += [self.other.known[fact], self.other.word[fact] == calm]
            asked = z3.And(meant, *said, *self._same(leaving_out={fact}), z3.Not(stops))
            yield self._listed(asked, f"the alarming answer to `{question}` lets a product through")

    def _listed(self, asked: Formula, why: str) -> Breach:
        """A product passes for this foot, and not for the other."""
        passes = z3.And(asked, self._sold(), self._passes(self.foot))
        return Breach(z3.And(passes, z3.Not(self._passes(self.other))), why)

    def _harmless(self, fact: str) -> int:
        """The position of the answer that speaks against nothing: the one that does not alarm."""
        question = self.book.questions.get(about(fact).of)
        calm = "yes" if question is not None and question.alarming == "no" else "no"
        return self.book.vocabulary.words[fact].index(calm)

    def _bolder(self, asked: Formula, what: str, facts: frozenset[str]) -> Iterator[Breach]:
        """Only rules that depend on `facts` can come out differently."""
        for rule, due in self._notes(self.other, NOTE_LEVELS):
            if not facts & base_facts(self.book, [rule]):
                continue
            lost = z3.And(asked, due, z3.Not(self.foot.holds(rule)))
            yield Breach(lost, f"not asking `{what}` loses the note of `{rule.id}`")
        if not facts & base_facts(self.book, [rule for rule, _ in self._binding()]):
            return
        yield self._listed(
            asked, f"not asking `{what}` lets a product through that a `no` keeps out"
        )

    def _never_gives_way(self, _then: NeverWins, _meant: Formula) -> Iterator[Breach]:
        """Every two rules of needs, on one foot or on two, reconciled as for a shortlist."""
        rules = [rule for rule in self.book.rules if rule.asks]
        for one, other in itertools.combinations_with_replacement(rules, 2):
            kept = needs_of(self.book, {"left": [one.id], "right": [other.id]}).of("never")
            left = {(need.attribute, need.comparison, need.target) for need in kept}
            for rule in (one, other):
                for need in rule_needs(self.book, rule.id):
                    key = (need.attribute, need.comparison, need.target)
                    if need.strength == "never" and key not in left:
                        both = z3.And(self.foot.holds(one), self.foot.holds(other))
                        yield Breach(both, f"the never of `{rule.id}` gives way")


def _reads(book: Rulebook, rule: CompiledRule, measure: str) -> bool:
    """Whether a rule depends on a measure: its value, or whether it was taken."""
    return bool({measure, Fact("known", measure).name} & base_facts(book, [rule]))


def _as_need(then: Forbids, book: Rulebook) -> Need:
    """What a promise forbids, as a need with its target in figures."""
    need = then.forbids.as_need()
    target = target_of(book, need)
    return Need(need.attribute, need.is_, target, "never", 0.0, (), (), ())


def compared(level: Formula, need: Need) -> Formula:
    """Whether the comparison of a need holds for an attribute at `level`."""
    return COMPARISONS[need.comparison].holds(level, number(need.target))
