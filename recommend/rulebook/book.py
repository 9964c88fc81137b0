"""A rulebook as a whole: everything its files say, checked and compiled."""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import replace
from functools import cached_property
from typing import Any, Literal

from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, nearest
from recommend.measure.definitions import MeasureDefs
from recommend.parameters import Parameters
from recommend.reading.texts import Texts
from recommend.rulebook.compiling import CannotRunError, Compiler
from recommend.rulebook.models import (
    AttributeDef,
    AxisDef,
    AxisThen,
    FootType,
    Heading,
    Limit,
    LimitValue,
    NeedsThen,
    NeedThen,
    NoteThen,
    Purpose,
    Question,
    Rule,
    Source,
)
from recommend.rulebook.terms import Conjunction, Disjunction, Number, Word
from recommend.rulebook.translations import (
    Key,
    Translations,
    customer_texts,
    plain,
    translations_of,
)
from recommend.rulebook.vocabulary import FOOT_TYPE, Fact, Vocabulary, about

Stage = Literal["screen", "classify", "need"]


@dataclass(frozen=True, slots=True)
class CompiledRule:
    """A rule with its place, its stage, its stratum and its normal form.

    Rules of a stratum read only axes that lower strata conclude.
    """

    rule: Rule
    stage: Stage
    place: Place
    stratum: int
    holds: Disjunction
    fails: Disjunction

    @property
    def id(self) -> str:
        """The rule's id."""
        return self.rule.id

    @property
    def concludes(self) -> AxisThen | None:
        """The value of an axis that it concludes; None of another rule."""
        return self.rule.then if isinstance(self.rule.then, AxisThen) else None

    @property
    def note(self) -> NoteThen | None:
        """The note that it brings; None of another rule."""
        return self.rule.then if isinstance(self.rule.then, NoteThen) else None

    @property
    def asks(self) -> tuple[NeedThen, ...]:
        """What it asks of products; nothing of another rule."""
        return tuple(self.rule.then.needs) if isinstance(self.rule.then, NeedsThen) else ()

    @property
    def axes_read(self) -> frozenset[str]:
        """The axes whose value, or whose being undecided, it reads."""
        return frozenset(about(f).of for f in self.facts if about(f).concluded)

    @property
    def facts(self) -> frozenset[str]:
        """Names of the facts the rule reads."""
        return facts_read(self.holds) | facts_read(self.fails)


@dataclass(frozen=True)
class Rulebook:
    """Everything a rulebook's files say.

    `texts` are its files as they were read; `digest` is the SHA-256 over the names and contents of
    all files. `limits` hold the values that
    apply; `limit_values` are all that are written, those of another norm of the Foot Posture Index
    among them.
    """

    texts: Texts
    digest: str
    heading: Heading
    sources: Mapping[str, Source]
    measures: MeasureDefs
    limits: Mapping[str, Limit]
    limit_values: tuple[LimitValue, ...]
    axes: Mapping[str, AxisDef]
    questions: Mapping[str, Question]
    purposes: Mapping[str, Purpose]
    attributes: Mapping[str, AttributeDef]
    types: Mapping[str, FootType]
    parameters: Parameters
    vocabulary: Vocabulary
    rules: tuple[CompiledRule, ...]

    @property
    def stamp(self) -> str:
        """Version and content (the first 12 digits of `digest`), as every screen has it."""
        return f"{self.heading.version} ({self.digest[:12]})"

    @property
    def byline(self) -> str:
        """By which rules something was said, as a line: name, version and content."""
        return f"by the {self.heading.name} {self.stamp}"

    @cached_property
    def by_id(self) -> dict[str, CompiledRule]:
        """Rules by id."""
        return {rule.id: rule for rule in self.rules}

    @cached_property
    def translations(self) -> Translations:
        """By language, what customers read; read at its first use, for most starts need none.

        Raises
        ------
        InputError
            If a file of translations does not fit.
        """
        return translations_of(self.texts)

    @property
    def folder(self) -> str:
        """The folder it was read from, for places; it need not be there any more."""
        return self.texts.where

    @cached_property
    def made(self) -> dict[type, Any]:
        """What is made of the book once and used again, by its class; whoever makes it fills it."""
        return {}

    @cached_property
    def strata(self) -> tuple[tuple[CompiledRule, ...], ...]:
        """Rules grouped by stratum, lowest first."""
        count = 1 + max(rule.stratum for rule in self.rules)
        return tuple(tuple(r for r in self.rules if r.stratum == n) for n in range(count))

    @cached_property
    def sums(self) -> dict[str, list[str]]:
        """Attributes that add up others, such as the wedge of shoe and insole together."""
        return {name: one.sum_of for name, one in self.attributes.items() if one.sum_of}

    @cached_property
    def errors_of_several(self) -> dict[str, float]:
        """By measure, the error of one reading where several people take it."""
        known = {name: one.error for name, one in self.measures.items() if one.error}
        return {name: error.several for name, error in known.items() if error.several is not None}

    @cached_property
    def read(self) -> frozenset[str]:
        """Names of the facts that some rule reads."""
        return frozenset().union(*(rule.facts for rule in self.rules))

    @cached_property
    def constants(self) -> dict[str, set[tuple[str, float]]]:
        """By measure, its numeric facts, each with a constant that some rule compares it with."""
        found: dict[str, set[tuple[str, float]]] = {}
        for rule in self.rules:
            for term in (term for branch in (*rule.holds, *rule.fails) for term in branch):
                if isinstance(term, Number):
                    found.setdefault(about(term.fact).of, set()).add((term.fact, term.value))
        return found

    @cached_property
    def open_questions(self) -> dict[str, str]:
        """By question, the fact that tells whether it was answered, where some rule asks that."""
        facts = {question: Fact("asked", question).name for question in self.questions}
        return {question: fact for question, fact in facts.items() if fact in self.read}

    def asked_facts(self, answered: Container[str]) -> dict[str, str]:
        """Those facts of a visit that answered some of the questions."""
        return {f: "yes" if q in answered else "no" for q, f in self.open_questions.items()}

    def paper(self, name: str) -> Source | None:
        """The source that defines a published name; None where the rulebook names none."""
        return next((one for one in self.sources.values() if name in one.defines), None)

    @cached_property
    def customer_texts(self) -> dict[Key, str]:
        """Every text that a customer may read, as the rulebook has it."""
        rules = (one.rule for one in self.rules)
        return dict(customer_texts(self.types.values(), rules, self.attributes, self.measures))

    def in_language(self, code: str) -> dict[str, str]:
        """What customers read, by the text as the rulebook has it, in the language `code`.

        A text whose translation is missing or stale is left out.
        """
        translated = self.translations.get(code, {})
        return {
            plain(text): plain(translated[key].translation)
            for key, text in self.customer_texts.items()
            if key in translated and translated[key].of(text)
        }

    def rule(self, rule_id: str) -> CompiledRule:
        """The rule called `rule_id`.

        Raises
        ------
        InputError
            If there is none, with the nearest spelling.
        """
        if rule_id not in self.by_id:
            raise InputError(
                Place(self.folder),
                f"no rule is called `{rule_id}`",
                mend=nearest(rule_id, self.by_id) or "`recommend rule list` names them all",
            )
        return self.by_id[rule_id]


def within(place: str, folder: str) -> str:
    """A place as counted from the rulebook's `folder`: ``classify/motion.yaml:136:5``."""
    return place.removeprefix(folder).lstrip("/\\").replace("\\", "/")  # on every platform alike


def facts_read(disjunction: Disjunction) -> frozenset[str]:
    """Names of the facts that a normal form reads."""
    return frozenset(term.fact for conjunction in disjunction for term in conjunction)


@dataclass(frozen=True, slots=True)
class Draft:
    """A rule read and checked by itself, before it is compiled together with the others."""

    rule: Rule
    stage: Stage
    place: Place


def type_as_rule(one: FootType) -> Rule:
    """A foot type is a rule that concludes the axis ``foot-type``."""
    return Rule(
        id=f"type-{one.id}",
        title=one.title,
        when=one.when,
        then=AxisThen(axis=FOOT_TYPE, value=one.id),
        because=one.sentence,
        basis=one.basis,
    )


def compile_rules(drafts: list[Draft], compiler: Compiler) -> tuple[CompiledRule, ...]:
    """Compile and stratify; the result is ordered by stratum and id, not by file.

    Raises
    ------
    InputError
        If rules depend on each other in a circle, or a condition is too large.
    """
    forms = {d.rule.id: _normal_form(d, compiler) for d in drafts}
    stratum = _stratify(drafts, forms)
    compiled = [
        CompiledRule(d.rule, d.stage, d.place, stratum[d.rule.id], *forms[d.rule.id])
        for d in drafts
    ]
    return tuple(sorted(compiled, key=lambda r: (r.stratum, r.id)))


def _normal_form(draft: Draft, compiler: Compiler) -> tuple[Disjunction, Disjunction]:
    try:
        holds, fails = compiler.normal_form(draft.rule.when)
    except CannotRunError as error:
        found = f"the condition of rule `{draft.rule.id}` {error}"
        raise InputError(draft.place, found, mend=error.mend) from error
    always = compiler.vocabulary.words["side"]
    return _never_empty(holds, always), _never_empty(fails, always)


def recompiled(compiled: CompiledRule, rule: Rule, compiler: Compiler) -> CompiledRule:
    """`compiled` with `rule` in its place, at the same stratum."""
    draft = Draft(rule, compiled.stage, compiled.place)
    holds, fails = _normal_form(draft, compiler)
    return replace(compiled, rule=rule, holds=holds, fails=fails)


def always(vocabulary: Vocabulary) -> Disjunction:
    """The normal form of what is always true."""
    return _never_empty(((),), vocabulary.words["side"])


def _never_empty(disjunction: Disjunction, sides: tuple[str, ...]) -> Disjunction:
    """Give an always-true branch a term that is always true; engines need at least one."""
    always: Conjunction = (Word("side", frozenset(sides)),)
    return tuple(conjunction or always for conjunction in disjunction)


def _stratify(
    drafts: list[Draft], forms: Mapping[str, tuple[Disjunction, Disjunction]]
) -> dict[str, int]:
    concluded_by: dict[str, list[Draft]] = {}
    for draft in drafts:
        if isinstance(draft.rule.then, AxisThen):
            axis = draft.rule.then.axis
            for fact in (Fact("axis", axis), Fact("decided", axis)):
                concluded_by.setdefault(fact.name, []).append(draft)
    done: dict[str, int] = {}

    def depth(draft: Draft, above: tuple[str, ...]) -> int:
        name = draft.rule.id
        if name in above:
            circle = " -> ".join([*above[above.index(name) :], name])
            raise InputError(
                draft.place,
                f"rules depend on each other in a circle: {circle}",
                mend="let one of them read something else",
            )
        if name not in done:
            facts = facts_read(forms[name][0]) | facts_read(forms[name][1])
            below = [d for fact in facts for d in concluded_by.get(fact, [])]
            done[name] = 1 + max((depth(d, (*above, name)) for d in below), default=-1)
        return done[name]

    return {draft.rule.id: depth(draft, ()) for draft in drafts}
