"""A rulebook as a whole: everything its files say, checked and compiled."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from itertools import chain
from typing import TYPE_CHECKING, Any, Literal

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
    NoteLevel,
    NoteThen,
    Purpose,
    Question,
    Rule,
    Source,
)
from recommend.rulebook.terms import Conjunction, Disjunction, Number, Term, Word
from recommend.rulebook.vocabulary import FOOT_TYPE, Fact, Vocabulary, about

if TYPE_CHECKING:
    from recommend.rulebook.translations import Key, Translations

Stage = Literal["screen", "classify", "need"]


@dataclass(frozen=True, slots=True)
class CompiledRule:
    """A rule with its place, its stage, and, when it is compiled, its stratum and its normal form.

    Rules of a stratum read only axes that lower strata conclude.
    """

    rule: Rule
    stage: Stage
    place: Place
    stratum: int = 0
    holds: Disjunction = ()
    fails: Disjunction = ()

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
    def level(self) -> NoteLevel | None:
        """The level of that note; None of another rule."""
        return self.note.note if self.note else None

    @property
    def asks(self) -> tuple[NeedThen, ...]:
        """What it asks of products; nothing of another rule."""
        return tuple(self.rule.then.needs) if isinstance(self.rule.then, NeedsThen) else ()

    @property
    def axes_read(self) -> frozenset[str]:
        """The axes whose value, or whose being undecided, it reads."""
        return frozenset(about(f).of for f in self.facts if about(f).concluded)

    @property
    def terms(self) -> Iterator[Term]:
        """Every comparison in both of its forms."""
        return chain(*self.holds, *self.fails)

    @property
    def limits(self) -> frozenset[str]:
        """Ids of the limits that its condition compares with."""
        return frozenset(t.limit for t in self.terms if isinstance(t, Number) and t.limit)

    @property
    def facts(self) -> frozenset[str]:
        """Names of the facts the rule reads."""
        return frozenset(term.fact for term in self.terms)


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

    def concluding(self, axis: str) -> tuple[CompiledRule, ...]:
        """The rules that conclude a value of `axis`."""
        return self.by_axis.get(axis, ())

    def noting(self, *levels: NoteLevel) -> tuple[CompiledRule, ...]:
        """The rules that bring a note, of one of `levels` where some are given."""
        return tuple(r for r in self.rules if r.level and (r.level in levels or not levels))

    @cached_property
    def by_axis(self) -> dict[str, tuple[CompiledRule, ...]]:
        """By axis that some rule concludes, its rules, lowest stratum first."""
        found: dict[str, tuple[CompiledRule, ...]] = {}
        for rule in self.rules:
            if rule.concludes is not None:
                axis = rule.concludes.axis
                found[axis] = (*found.get(axis, ()), rule)
        return found

    @cached_property
    def translations(self) -> Translations:
        """By language, what customers read; read at its first use, for most starts need none.

        Raises
        ------
        InputError
            If a file of translations does not fit.
        """
        from recommend.rulebook.translations import translations_of  # only here, as below: seldom

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
        for term in (term for rule in self.rules for term in rule.terms):
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
        """Every text that a customer may read, as the rulebook has it.

        Of a rule that is what its note says, or why it needs something; what it concludes of an
        axis is for the fitter.
        """
        from recommend.rulebook.translations import Key

        texts = {Key("types", kind.id, "sentence"): kind.sentence for kind in self.types.values()}
        for rule in self.rules:
            if rule.note:
                texts[Key("rules", rule.id, "say")] = rule.note.say
            elif rule.asks:
                texts[Key("rules", rule.id, "because")] = rule.rule.because
        texts |= {Key("attributes", n, "short"): one.short for n, one in self.attributes.items()}
        return texts | {Key("measures", n, "plain"): one.plain for n, one in self.measures.items()}

    def in_language(self, code: str) -> dict[str, str]:
        """What customers read, by the text as the rulebook has it, in the language `code`.

        A text whose translation is missing or stale is left out.
        """
        from recommend.rulebook.translations import plain

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


def compile_rules(rules: list[CompiledRule], compiler: Compiler) -> tuple[CompiledRule, ...]:
    """Compile and stratify rules as read; the result is ordered by stratum and id, not by file.

    Raises
    ------
    InputError
        If rules depend on each other in a circle, or a condition is too large.
    """
    compiled = [recompiled(one, one.rule, compiler) for one in rules]
    strata = _strata(compiled)
    ordered = (replace(one, stratum=strata[one.id]) for one in compiled)
    return tuple(sorted(ordered, key=lambda r: (r.stratum, r.id)))


def recompiled(compiled: CompiledRule, rule: Rule, compiler: Compiler) -> CompiledRule:
    """`compiled` with `rule` in its place, at the same stratum; errors as of `compile_rules`."""
    try:
        holds, fails = compiler.normal_form(rule.when)
    except CannotRunError as error:
        found = f"the condition of rule `{rule.id}` {error}"
        raise InputError(compiled.place, found, mend=error.mend) from error
    sides = compiler.vocabulary.words["side"]
    return replace(
        compiled, rule=rule, holds=_never_empty(holds, sides), fails=_never_empty(fails, sides)
    )


def always(vocabulary: Vocabulary) -> Disjunction:
    """The normal form of what is always true."""
    return _never_empty(((),), vocabulary.words["side"])


def _never_empty(disjunction: Disjunction, sides: tuple[str, ...]) -> Disjunction:
    """Give an always-true branch a term that is always true; engines need at least one."""
    always: Conjunction = (Word("side", frozenset(sides)),)
    return tuple(conjunction or always for conjunction in disjunction)


def _strata(rules: list[CompiledRule]) -> dict[str, int]:
    """By rule, its stratum."""
    concluded_by: dict[str, list[CompiledRule]] = {}
    for rule in rules:
        if rule.concludes:
            concluded_by.setdefault(rule.concludes.axis, []).append(rule)
    done: dict[str, int] = {}

    def depth(rule: CompiledRule, above: tuple[str, ...]) -> int:
        name = rule.id
        if name in above:
            circle = " -> ".join([*above[above.index(name) :], name])
            raise InputError(
                rule.place,
                f"rules depend on each other in a circle: {circle}",
                mend="let one of them read something else",
            )
        if name not in done:
            below = [one for axis in rule.axes_read for one in concluded_by.get(axis, [])]
            done[name] = 1 + max((depth(one, (*above, name)) for one in below), default=-1)
        return done[name]

    return {rule.id: depth(rule, ()) for rule in rules}
