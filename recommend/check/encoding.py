"""A rulebook as formulas over every possible foot, for the prover.

Readings are real numbers (scores are whole), each with a margin of error of its own; words are
small whole numbers; everything may be missing. Rules enter through the same normal form that
every engine runs. z3 is an optional extra: this module is imported only when it is asked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from functools import cached_property
from typing import Any, TypeAlias, get_args

import z3

from recommend.check.feet import MOVING, PAIN, READINGS, RETURN, STRIDES, smallest_margin
from recommend.infer.facts import quantize
from recommend.measure.derived import derivations
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.terms import OPS, Disjunction, Number, Term, Word
from recommend.rulebook.vocabulary import AGE_BAND, PERSON, Fact, about, ends_of, part_of
from recommend.visit.models import PainSite

Formula: TypeAlias = Any  # z3 has no types


class FormulaFoot:
    """One foot as variables; `tag` tells two feet of one formula apart."""

    def __init__(self, book: Rulebook, tag: str = "") -> None:
        self.book, self.tag = book, tag
        self.known: dict[str, Formula] = {}
        self.value: dict[str, Formula] = {}
        self.margin: dict[str, Formula] = {}
        self.word: dict[str, Formula] = {}
        self._forms: dict[str, Formula] = {}
        self.possible: list[Formula] = []
        for name in book.measures:
            self._add_measure(name)
        self._add_words("side", z3.BoolVal(True))
        for fact in PERSON:
            self._add_words(fact, self._flag(fact))
        for question in book.questions:
            fact = Fact("answer", question).name
            self._add_words(fact, self._flag(fact))
        pain = self._flag("pain")
        for site in get_args(PainSite):
            self._add_words(Fact("pain", site).name, pain)
        self.possible += list(self._of_their_age())

    def _of_their_age(self) -> Iterator[Formula]:
        """A reading is judged as a child's exactly where the customer is a child."""
        words = self.book.vocabulary.words
        band = self.word[AGE_BAND] == words[AGE_BAND].index("child")
        child = z3.And(self.known[AGE_BAND], band)
        for fact in (part_of(name, "age") for name in self.book.measures):
            if fact in words:
                yield (self.word[fact] == words[fact].index("child")) == child

    def _flag(self, name: str) -> Formula:
        self.known[name] = z3.Bool(f"{self.tag}known {name}")
        return self.known[name]

    def _add_words(self, fact: str, known: Formula) -> None:
        self.word[fact] = z3.Int(f"{self.tag}{fact}")
        self.known[fact] = known
        count = len(self.book.vocabulary.words[fact])
        self.possible += [self.word[fact] >= 0, self.word[fact] < count]

    def _add_measure(self, name: str) -> None:
        definition = self.book.measures[name]
        known = self._flag(name)
        for qualifier in definition.qualifiers:
            self._add_words(part_of(name, qualifier), known)
        if definition.values:
            self._add_words(name, known)
            return
        whole = definition.unit == "score"
        made = z3.Int(f"{self.tag}{name}") if whole else z3.Real(f"{self.tag}{name}")
        self.value[name] = z3.ToReal(made) if whole else made
        self.margin[name] = z3.Real(f"{self.tag}{name} margin")
        self.possible += [
            self.value[name] >= number(definition.lowest),
            self.value[name] <= number(definition.highest),
            self.margin[name] >= 0,
        ]

    @cached_property
    def writable(self) -> list[Formula]:
        """What a visit file adds to `possible`: errors, films and pain as they are written."""
        out = []
        for name, value in self.value.items():
            out.append(z3.IsInt(value * 10 ** self.book.measures[name].decimals))
        for name, margin in self.margin.items():
            least = number(quantize(smallest_margin(name, self.book)))
            scattered = z3.And(margin >= least, z3.IsInt(margin * 100))
            told = z3.And(self._free_of_pain, margin == 0) if name == PAIN else False
            out.append(scattered if name in STRIDES else z3.Or(told, margin == least))
            if name in STRIDES:
                out.append(z3.Or(margin == least, self._within_bounds(name)))
        for qualifier in ("gait", "reference"):
            out += list(self._one_film(qualifier))
        out += list(self._differences())
        free = self._free_of_pain
        for name in (PAIN, "pain-weeks"):
            if name in self.value:
                out.append(z3.Implies(free, z3.And(self.known[name], self.value[name] == 0)))
                out.append(z3.Implies(self.known[name], self.known["pain"]))
        return out

    def _within_bounds(self, name: str) -> Formula:
        """Whether strides that scatter as much are each a reading that can be."""
        definition, value = self.book.measures[name], self.value[name]
        times = math.sqrt(READINGS - 1) / self.book.parameters.noise.clearly
        swing = self.margin[name] * number(round(times, 4))
        low, high = number(definition.lowest), number(definition.highest)
        return z3.And(value - swing >= low, value + swing <= high)

    @property
    def _free_of_pain(self) -> Formula:
        """Whether the visit says that nothing hurts on this side."""
        here = z3.Or([self.word[Fact("pain", site).name] == 1 for site in get_args(PainSite)])
        return z3.And(self.known["pain"], z3.Not(here))

    def near_the_limits(self) -> Iterator[Formula]:
        """One wish for each measure: a reading close to the limits it is compared with."""
        for name, compared in self.book.constants.items():
            found = [constant for _, constant in compared]
            room = 10.0 * 10.0 ** -self.book.measures[name].decimals
            low, high = number(min(found) - room), number(max(found) + room)
            yield z3.And(self.value[name] >= low, self.value[name] <= high)

    def _differences(self) -> Iterator[Formula]:
        """What follows from a reading of this foot is known only together with it."""
        for one, how in derivations(self.book.measures).items():
            other = how.between_feet
            if one in self.known and other in self.known:
                yield z3.Implies(self.known[one], self.known[other])
        if {RETURN, "peak-angle"} <= set(self.known):
            yield z3.Implies(self.known[RETURN], self.known["peak-angle"])

    def _one_film(self, qualifier: str) -> Iterator[Formula]:
        filmed = (part_of(name, qualifier) for name in MOVING)
        moving = [self.word[fact] for fact in filmed if fact in self.word]
        for one, other in zip(moving, moving[1:] + moving[:1], strict=True):
            yield one == other

    def form(self, disjunction: Disjunction) -> Formula:
        """A normal form: whether some branch of it is satisfied."""
        return z3.Or([z3.And([self.term(t) for t in branch]) for branch in disjunction])

    def holds(self, rule: CompiledRule) -> Formula:
        """Whether a rule is true."""
        if rule.id not in self._forms:
            self._forms[rule.id] = self.form(rule.holds)
        return self._forms[rule.id]

    def concluded(self, axis: str, values: Iterable[str] | None = None) -> Formula:
        """Whether some rule concludes one of `values` of an axis (any value by default)."""
        wanted = self.book.axes[axis].values if values is None else set(values)
        rules = self.book.concluding(axis)
        return z3.Or([self.holds(r) for r in rules if r.concludes and r.concludes.value in wanted])

    def term(self, term: Term) -> Formula:
        """Whether one comparison holds; over something missing it does not."""
        if isinstance(term, Number):
            return self._number(term)
        kind, name, _ = about(term.fact)
        if kind == "axis":
            return self.concluded(name, term.values)
        if kind == "decided":
            return self._one_of(self.concluded(name), term)
        if kind == "known":
            return self._one_of(self.known[name], term)
        if kind == "asked":
            return self._one_of(self.known[Fact("answer", name).name], term)
        words = self.book.vocabulary.words[term.fact]
        codes = [self.word[term.fact] == words.index(value) for value in term.values]
        return z3.And(self.known[term.fact], z3.Or(codes))

    def _number(self, term: Number) -> Formula:
        fact = about(term.fact)
        read = self.value[fact.of] + fact.margins * self.margin[fact.of]
        return z3.And(self.known[fact.of], OPS[term.op].holds(read, number(term.value)))

    @staticmethod
    def _one_of(yes: Formula, term: Word) -> Formula:
        options = [yes] if "yes" in term.values else []
        options += [z3.Not(yes)] if "no" in term.values else []
        return z3.Or(options)

    def facts(self, model: Formula) -> dict[str, float | str]:
        """The facts of the foot that a model stands for; what is missing is left out."""
        out: dict[str, float | str] = {}
        for name in self.book.measures:
            known = self._true(model, self.known[name])
            out[Fact("known", name).name] = "yes" if known else "no"
            if known and name in self.value:
                value, margin = (_float(model, one[name]) for one in (self.value, self.margin))
                out |= {f: quantize(end) for f, end in ends_of(name, value, margin).items()}
        for fact, code in self.word.items():
            if self._true(model, self.known[fact]):
                index = model.eval(code, model_completion=True).as_long()
                out[fact] = self.book.vocabulary.words[fact][index]
        answered = [one for one in self.book.questions if Fact("answer", one).name in out]
        return out | self.book.asked_facts(answered)

    @staticmethod
    def _true(model: Formula, formula: Formula) -> bool:
        return bool(z3.is_true(model.eval(formula, model_completion=True)))


def number(value: float) -> Formula:
    """A decimal as the exact fraction that is written, not the nearest binary one."""
    return z3.RealVal(repr(value))


def _float(model: Formula, formula: Formula) -> float:
    value = model.eval(formula, model_completion=True)
    return float(value.numerator_as_long()) / float(value.denominator_as_long())
