"""Why a rule fired, what is missing where none did, and what stands beside a reading.

A derivation leads from facts and limits to a conclusion. Beside a reading stand the marks of the
trade, and its place among people; neither decides anything: a mark is a limit that the rulebook
shows beside a measure, a place is where the reading lies in the group that was studied with the
same gait, zero and device.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field
from statistics import NormalDist

from recommend.dataclass import dataclass
from recommend.infer.conclusions import Conclusions
from recommend.measure.model import Measure, Side
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import LimitValue
from recommend.rulebook.terms import OPS, Conjunction, Facts, Number, satisfied, term_holds
from recommend.rulebook.vocabulary import about, part_of
from recommend.rulebook.words import need_line

_FINEST = 0.99  # beyond this share a place is said in hundredths
_STUDIED = ("published", "derived")


def marks_of(measure: Measure, book: Rulebook) -> tuple[str, ...]:
    """The marks beside a reading in words, such as ``above the trade's 4 degrees``."""
    return tuple(_marks(measure, book))


def _marks(measure: Measure, book: Rulebook) -> Iterator[str]:
    if isinstance(measure.value, str):
        return
    margin = book.parameters.noise.clearly * (measure.error or 0.0)
    for limit in book.limits.values():
        at = limit.value_of(measure.qualifiers) if limit.marks == measure.name else None
        if at is None:
            continue
        apart = float(measure.value) - at.value
        side = "above" if apart > 0 else "below" if apart < 0 else "at"
        within = ", within the error of it" if 0 < abs(apart) <= margin else ""
        yield f"{side} {limit.title}{within}"


def share_below(measure: Measure, book: Rulebook) -> float | None:
    """The share of the studied group whose reading is smaller; None where none was studied.

    The group is taken as normal with the mean and SD that `measures.yaml` gives for the gait,
    zero and device of the reading; a norm from memory or assumed is no study.
    """
    norm = book.measures[measure.name].norm_of(measure.qualifiers)
    if norm is None or norm.kind not in _STUDIED or isinstance(measure.value, str):
        return None
    return NormalDist(norm.mean, norm.sd).cdf(float(measure.value))


def place_of(measure: Measure, book: Rulebook) -> str:
    """The place of a reading among people in words, such as ``more than in 7 of 10``."""
    share = share_below(measure, book)
    if share is None:
        return ""
    word, part = ("more", share) if share >= 0.5 else ("less", 1 - share)
    if part > _FINEST:
        return f"{word} than in 99 of 100"
    beyond = part >= book.parameters.noise.beyond_middle
    return f"{word} than in {int(10 * part)} of 10" if beyond else "about the middle of people"


def beside(measure: Measure, book: Rulebook) -> str:
    """Marks and place of a reading as one clause; empty where there is neither."""
    return "; ".join(filter(None, (*marks_of(measure, book), place_of(measure, book))))


@dataclass(frozen=True, slots=True)
class LimitUsed:
    """A limit that a firing compared with, and where its value comes from."""

    id: str
    title: str
    fact: str
    sign: str
    value: float
    unit: str
    kind: str
    source: str | None
    cite: str
    note: str


@dataclass(frozen=True, slots=True)
class Firing:
    """One firing: rule, version, facts matched, limits, conclusion.

    `facts` are those of the first branch that was satisfied; `concludes` names what the rule
    said: ``axis posture = pronated``, ``note stop``, or needs with their strength:
    ``insole: wedge must never be more than 0°``.
    """

    rule: str
    title: str
    stage: str
    side: Side
    version: str
    place: str
    facts: Mapping[str, float | str]
    limits: tuple[LimitUsed, ...]
    concludes: str
    because: str
    kind: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lacking:
    """What would have to be known to decide something.

    `measures` and `answers` (question ids) are missing; `incomparable` are measures that were
    taken in a way no limit is meant for, such as against another zero reference; `visit` are
    missing facts of the visit.
    """

    measures: frozenset[str] = frozenset()
    answers: frozenset[str] = frozenset()
    visit: frozenset[str] = frozenset()
    incomparable: frozenset[str] = frozenset()

    @property
    def open_measures(self) -> frozenset[str]:
        """Measures whose taking, or taking in another way, can decide it."""
        return self.measures | self.incomparable

    def __or__(self, other: Lacking) -> Lacking:
        return Lacking(
            self.measures | other.measures,
            self.answers | other.answers,
            self.visit | other.visit,
            self.incomparable | other.incomparable,
        )


def derivations(book: Rulebook, conclusions: Conclusions, side: Side) -> tuple[Firing, ...]:
    """One derivation for every rule that is true, in the order of the rulebook's strata."""
    return tuple(
        _derive(book, rule, conclusions.facts, side)
        for rule in book.rules
        if conclusions.truth[rule.id]
    )


def _derive(book: Rulebook, rule: CompiledRule, facts: Facts, side: Side) -> Firing:
    branch = next(terms for terms in rule.holds if satisfied(terms, facts))
    return Firing(
        rule=rule.id,
        title=rule.rule.title,
        stage=rule.stage,
        side=side,
        version=book.heading.version,
        place=str(rule.place),
        facts={term.fact: facts[term.fact] for term in branch},
        limits=tuple(limits_used(book, branch, facts)),
        concludes=conclusion_words(rule, book),
        because=rule.rule.because,
        kind=rule.rule.basis.kind,
        sources=tuple(rule.rule.basis.sources),
    )


def limits_used(book: Rulebook, branch: Conjunction, facts: Facts) -> Iterator[LimitUsed]:
    """The limits a branch compares with, as they apply to these facts."""
    for term in branch:
        if not isinstance(term, Number):
            continue
        limit = book.limits[term.limit]
        measure = about(term.fact).of
        value = next(
            v for v in limit.values if v.value == term.value and _is_meant(v, measure, facts)
        )
        cite = book.sources[value.source].cite if value.source else value.kind.replace("-", " ")
        yield LimitUsed(
            term.limit, limit.title, term.fact, OPS[term.op].sign, term.value, limit.unit,
            value.kind, value.source, cite, value.note,
        )  # fmt: skip


def _is_meant(value: LimitValue, measure: str, facts: Facts) -> bool:
    """Whether a value of a limit is meant for the measure with these qualifiers."""
    wanted = value.where.items()
    return all(facts.get(part_of(measure, q)) == word for q, word in wanted)


def conclusion_words(rule: CompiledRule, book: Rulebook) -> str:
    """What a rule concludes, in a few words; needs as `rule show` says them."""
    if rule.concludes is not None:
        return f"axis {rule.concludes.axis} = {rule.concludes.value}"
    if rule.note is not None:
        return f"note {rule.note.note}"
    return "; ".join(need_line(need, book) for need in rule.asks)


@dataclass(frozen=True, slots=True)
class CloseCall:
    """A reading beyond a limit by less than its error, so that no rule counts it as beyond."""

    measure: str
    limit: str
    title: str
    value: float
    at: float
    unit: str


def close_calls(book: Rulebook, facts: Facts) -> tuple[CloseCall, ...]:
    """Readings that lie beyond a limit, but not clearly, where a rule asks for clearly."""
    found: dict[tuple[str, str], CloseCall] = {}
    for rule in book.rules:
        for branch in rule.holds:
            if not all(term.fact in facts for term in branch):
                continue
            for term in branch:
                measure = about(term.fact).of
                if not isinstance(term, Number) or measure == term.fact:
                    continue
                meant = all(term_holds(t, facts) for t in branch if not isinstance(t, Number))
                value = float(facts[measure])
                if meant and term.holds(value) and not term_holds(term, facts):
                    limit = book.limits[term.limit]
                    found[(measure, term.limit)] = CloseCall(
                        measure, term.limit, limit.title, value, term.value, limit.unit
                    )
    return tuple(found[key] for key in sorted(found))


@dataclass
class Lacks:
    """Works out what is missing to decide rules and axes of one foot."""

    book: Rulebook
    conclusions: Conclusions
    _axes: dict[str, Lacking] = field(default_factory=dict)

    def for_axis(self, axis: str) -> Lacking:
        """What would decide `axis`; nothing when it is decided."""
        if self.conclusions.axes[axis] is not None:
            return Lacking()
        if axis not in self._axes:
            out = Lacking()
            for rule in self.book.concluding(axis):
                out |= self.for_rule(rule)
            self._axes[axis] = out
        return self._axes[axis]

    def for_rule(self, rule: CompiledRule) -> Lacking:
        """What would decide `rule`; nothing when it is decided."""
        if self.conclusions.truth[rule.id] is not None:
            return Lacking()
        out = Lacking()
        for branch in rule.holds:
            out |= self._branch(branch)
        return out

    def _branch(self, branch: Conjunction) -> Lacking:
        facts = self.conclusions.facts
        if any(t.fact in facts and not term_holds(t, facts) for t in branch):
            return self._other_reference(branch)
        out = Lacking()
        for term in branch:
            if term.fact not in facts:
                out |= self._fact(term.fact)
        return out

    def _other_reference(self, branch: Conjunction) -> Lacking:
        """A measure that is there, but with qualifiers that none of its limits is meant for."""
        facts, found = self.conclusions.facts, set()
        for term in branch:
            if isinstance(term, Number) and term.fact in facts:
                measure = about(term.fact).of
                values = self.book.limits[term.limit].values
                meant = any(_is_meant(value, measure, facts) for value in values)
                if not meant:
                    found.add(measure)
        return Lacking(incomparable=frozenset(found))

    def _fact(self, fact: str) -> Lacking:
        one = about(fact)
        if one.kind == "axis":
            return self.for_axis(one.of)
        if one.kind == "answer":
            return Lacking(answers=frozenset({one.of}))
        if one.kind in ("pain", "visit"):
            return Lacking(visit=frozenset({"pain" if one.kind == "pain" else one.of}))
        return Lacking(measures=frozenset({one.of}))
