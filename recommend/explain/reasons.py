"""Why a rule fired, did not fire, or could not be decided: its condition, part by part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from recommend.explain.node import Node, Truth
from recommend.infer.assess import FootAssessment
from recommend.infer.derivation import Lacking, conclusion_words
from recommend.measure.definitions import MeasureDef, number, unit_words, value_words
from recommend.measure.model import Measure, Side
from recommend.rulebook import CompiledRule, Rulebook
from recommend.rulebook.book import within
from recommend.rulebook.compiling import Compiler, Leaf
from recommend.rulebook.conditions import (
    ORDERS,
    UNDETERMINED,
    AllOf,
    AnyOf,
    Condition,
    NoneOf,
    OfAnswer,
    OfAxis,
    OfMeasure,
    OfPain,
    OfVisit,
)
from recommend.rulebook.models import AxisThen, Basis, LimitValue
from recommend.rulebook.terms import Facts, satisfied
from recommend.rulebook.vocabulary import Fact
from recommend.rulebook.words import kind_words

SEEN = {
    "in-source": "seen in the source",
    "second-hand": "seen quoted elsewhere",
    "derived": "derived by arithmetic",
    "from-memory": "from memory, to be verified",
}

_VERDICT = {True: "fired", False: "did not fire", None: "could not be decided"}
_CLEARLY = ("clearly-above", "clearly-below")
_ALL, _ANY, _NONE = "all of these", "at least one of these", "none of these"


def _decides(words: str, whole: Truth, part: Truth) -> bool:
    """Whether a part of a group is what gave the group its truth."""
    if whole is None:
        return part is None
    if words == _ALL:
        return whole or part is False
    if words == _ANY:
        return not whole or part is True
    return whole or part is True


@dataclass(frozen=True)
class FootReasons:
    """Explains what the rulebook says of one foot."""

    book: Rulebook
    foot: FootAssessment

    @property
    def side(self) -> Side:
        """Which foot."""
        return self.foot.side

    @property
    def facts(self) -> Facts:
        """Facts of the foot, those concluded included."""
        return self.foot.conclusions.facts

    @property
    def truth(self) -> Mapping[str, Truth]:
        """By rule id, what the engine said."""
        return self.foot.conclusions.truth

    def rule(self, rule_id: str) -> Node:
        """The rule called `rule_id`: its verdict, its condition part by part, its basis.

        Raises
        ------
        InputError
            If there is no such rule, with the nearest spelling.
        """
        return self._rule(self.book.rule(rule_id), ())

    def axis(self, axis: str) -> Node:
        """The value of an axis and the rules that gave it, or why none could."""
        return self._axis(axis, ())

    def _rule(self, rule: CompiledRule, above: tuple[str, ...]) -> Node:
        truth = self.truth.get(rule.id)
        place = within(str(rule.place), self.book.folder)
        text = f"rule {rule.id} {_VERDICT[truth]} ({self.side}): {rule.rule.title}"
        children = (
            Node("remark", f"in {place}; then: {conclusion_words(rule, self.book)}"),
            self._condition(rule.rule.when, (*above, rule.id)),
            basis_node(self.book, rule.rule.basis),
        )
        facts = {"side": self.side, "because": rule.rule.because, "place": place}
        return Node("rule", text, truth, rule.id, facts, children)

    def _condition(self, condition: Condition, above: tuple[str, ...]) -> Node:
        if isinstance(condition, AllOf):
            return self._group(_ALL, condition, condition.all, above)
        if isinstance(condition, AnyOf):
            return self._group(_ANY, condition, condition.any, above)
        if isinstance(condition, NoneOf):
            return self._group(_NONE, condition, condition.none, above)
        if isinstance(condition, OfMeasure):
            return self._of_measure(condition)
        if isinstance(condition, OfAxis):
            return self._of_axis(condition, above)
        return self._of_word(condition)

    def _group(
        self, words: str, whole: Condition, parts: list[Condition], above: tuple[str, ...]
    ) -> Node:
        truth = self._truth(whole)
        children = []
        for part in parts:
            node = self._condition(part, above)
            # What did not decide the group is said, but not laid open further.
            decides = _decides(words, truth, node.truth)
            children.append(node if decides else replace(node, children=()))
        return Node("group", words, truth, children=tuple(children))

    def _truth(self, condition: Condition) -> Truth:
        """True, false or unknown, by the same normal form that the engines run."""
        holds, fails = Compiler(self.book.limits, self.book.vocabulary).normal_form(condition)
        if any(satisfied(terms, self.facts) for terms in holds):
            return True
        return False if any(satisfied(terms, self.facts) for terms in fails) else None

    def _of_measure(self, leaf: OfMeasure) -> Node:
        definition = self.book.measures[leaf.measure]
        measure, truth = self.foot.measures.get(leaf.measure), self._truth(leaf)
        asked = f"{short_title(definition)} is {' or '.join(leaf.is_)}"
        if leaf.is_[0] in ORDERS and leaf.limit is not None:
            return self._against_limit(leaf, leaf.limit, measure)
        if measure is None:
            text = f"{asked}: it was not measured ({definition.how or 'no advice how'})"
            return Node("comparison", text, truth, leaf.measure)
        children = (measure_node(self.book, measure),)
        return Node("comparison", asked, truth, leaf.measure, children=children)

    def _against_limit(self, leaf: OfMeasure, limit_id: str, measure: Measure | None) -> Node:
        definition, limit = self.book.measures[leaf.measure], self.book.limits[limit_id]
        order = leaf.is_[0].replace("-", " ")
        asked = f"{short_title(definition)} is {order} `{limit_id}`"
        if measure is None:
            text = f"{asked}: unknown, not measured; {definition.how or 'measure it'}"
            return Node("comparison", text, None, leaf.measure)
        read = measure_node(self.book, measure)
        value = limit.value_of(measure.qualifiers)
        if value is None:
            words = ", ".join(measure.qualifiers.values())
            text = f"{asked}: unknown, the limit has no value for a reading that is {words}"
            return Node("comparison", text, None, leaf.measure, children=(read,))
        margin = margin_of(measure, value.value, definition)
        bound = f"{value.value:g}{unit_words(limit.unit)}"
        text = f"{short_title(definition)} is {order} {bound}: {margin.words}"
        if leaf.is_[0] in _CLEARLY:
            clearly = self.book.parameters.noise.clearly
            text += f"; clearly means by more than {clearly:g} SE"
        children = (read, limit_node(self.book, limit_id, value))
        return Node(
            "comparison", text, self._truth(leaf), leaf.measure, margin.as_facts(), children
        )

    def _of_axis(self, leaf: OfAxis, above: tuple[str, ...]) -> Node:
        title = self.book.axes[leaf.axis].title
        asked = f"is {'' if leaf.is_ else 'not '}{' or '.join(leaf.is_ or leaf.is_not or ())}"
        found = self.facts.get(Fact("axis", leaf.axis).name, UNDETERMINED)
        text = f"{title} {asked}: it is {found}"
        children = self._axis_rules(leaf.axis, above)
        return Node("axis", text, self._truth(leaf), leaf.axis, children=children)

    def _axis(self, axis: str, above: tuple[str, ...]) -> Node:
        title = self.book.axes[axis].title
        found = self.facts.get(Fact("axis", axis).name, UNDETERMINED)
        words = self.book.axes[axis].values.get(str(found), "no rule could decide it")
        text = f"{title} ({self.side}): {found}, {words}"
        return Node("type", text, True, axis, {"value": found}, self._axis_rules(axis, above))

    def _axis_rules(self, axis: str, above: tuple[str, ...]) -> tuple[Node, ...]:
        """The rule that gave the axis its value; when none did, what would decide it."""
        rules = [
            rule
            for rule in self.book.rules
            if isinstance(rule.rule.then, AxisThen) and rule.rule.then.axis == axis
        ]
        fired = [rule for rule in rules if self.truth.get(rule.id) and rule.id not in above]
        if fired:
            return tuple(self._rule(rule, above) for rule in fired)
        undecided = ", ".join(rule.id for rule in rules if self.truth.get(rule.id) is None)
        if not undecided:
            return (Node("remark", "every rule of it was decided, and none applies"),)
        lines = missing_words(self.book, self.foot.lacking.get(axis, Lacking()))
        remarks = [Node("remark", f"to decide it: {line}") for line in lines]
        return (*remarks, Node("remark", f"undecided: {undecided}"))

    def _of_word(self, leaf: Leaf) -> Node:
        name, asked, found, what = self._words(leaf)
        return Node("answer", f"{what}: {found} (asked whether {asked})", self._truth(leaf), name)

    def _words(self, leaf: Any) -> tuple[str, str, str, str]:
        """Name of a word fact, what the rule asks of it, what it is, and how people call it."""
        if isinstance(leaf, OfAnswer):
            found = str(self.facts.get(Fact("answer", leaf.answer).name, "not asked"))
            return leaf.answer, leaf.is_, found, self.book.questions[leaf.answer].ask
        if isinstance(leaf, OfPain):
            found = str(self.facts.get(Fact("pain", leaf.pain).name, "not asked"))
            return leaf.pain, leaf.is_, found, f"pain at {leaf.pain}, {self.side}"
        assert isinstance(leaf, OfVisit)
        found = str(self.facts.get(Fact("visit", leaf.visit).name, "not given"))
        return leaf.visit, " or ".join(leaf.is_), found, leaf.visit.replace("-", " ")


def missing_words(book: Rulebook, lacking: Lacking) -> list[str]:
    """What would have to be measured or asked, one line each."""
    lines = [
        f"{book.measures[name].how or 'measure'} ({short_title(book.measures[name])})"
        for name in sorted(lacking.measures)
    ]
    lines += [f"ask: {book.questions[name].ask}" for name in sorted(lacking.answers)]
    lines += [f"fill in `{name}` of the visit" for name in sorted(lacking.visit)]
    lines += [
        f"take {short_title(book.measures[name])} against a reference the limits are meant for"
        for name in sorted(lacking.incomparable)
    ]
    return lines


@dataclass(frozen=True, slots=True)
class Margin:
    """How far a reading lies from a limit, in its unit and in standard errors."""

    value: float
    limit: float
    unit: str
    error: float | None
    places: int

    @property
    def difference(self) -> float:
        """Reading less limit; positive above it."""
        return self.value - self.limit

    @property
    def in_errors(self) -> float | None:
        """The difference in standard errors; None when the error is not known or zero."""
        return self.difference / self.error if self.error else None

    @property
    def words(self) -> str:
        """The margin in words."""
        side = "above" if self.difference > 0 else "below" if self.difference < 0 else "exactly on"
        unit = unit_words(self.unit)
        away = number(abs(self.difference), self.places)
        text = f"{number(self.value, self.places)}{unit}, "
        if self.difference and not float(away):
            text += f"just {side}"
        else:
            text += f"{away}{unit} {side}" if self.difference else side
        if self.in_errors is not None and self.difference:
            text += f" ({abs(self.in_errors):.1f} SE)"
        return text

    def as_facts(self) -> dict[str, Any]:
        """The margin for programs."""
        return {
            "value": self.value,
            "limit": self.limit,
            "unit": self.unit,
            "margin": self.difference,
            "margin-in-errors": self.in_errors,
        }


def margin_of(measure: Measure, limit: float, definition: MeasureDef) -> Margin:
    """The margin of a numeric reading to `limit`."""
    error = measure.error
    return Margin(float(measure.value), limit, measure.unit, error, definition.decimals)


def source_node(book: Rulebook, source_id: str) -> Node:
    """A source in full: citation, what it says, how far that was verified, what conflicts."""
    source = book.sources[source_id]
    children = [Node("remark", f"says: {source.says}")]
    if source.conflict:
        children.append(Node("remark", f"in conflict: {source.conflict}"))
    text = f"{source.cite} [{SEEN[source.seen]}]"
    return Node("source", text, id=source_id, children=tuple(children))


def basis_node(book: Rulebook, basis: Basis) -> Node:
    """What stands behind a rule: its kind, its note, its sources in full."""
    words = kind_words(basis.kind, sourced=bool(basis.sources))
    text = f"basis: {words}" + (f"; {basis.note}" if basis.note else "")
    return Node("basis", text, children=tuple(source_node(book, one) for one in basis.sources))


def limit_node(book: Rulebook, limit_id: str, value: LimitValue) -> Node:
    """A limit with its value and unit, the population it is meant for, and its source."""
    limit = book.limits[limit_id]
    words = "".join(f", {name} {word}" for name, word in value.where.items())
    text = f"limit {limit_id} = {value.value:g}{unit_words(limit.unit)}: {limit.title}"
    ground = f"for {limit.population}{words}; {kind_words(value.kind, sourced=bool(value.source))}"
    ground += f"; {value.note}" if value.note else ""
    children = [Node("remark", ground)]
    if value.source:
        children.append(source_node(book, value.source))
    facts: dict[str, Any] = {"value": value.value, "unit": limit.unit, "kind": value.kind}
    return Node("limit", text, id=limit_id, facts=facts, children=tuple(children))


def measure_node(book: Rulebook, measure: Measure) -> Node:
    """A reading: how it was taken, how sure it is, its doubts, and the capture it is from."""
    definition = book.measures[measure.name]
    method = f"by: {measure.method or 'not stated'}"
    if measure.n > 1:
        method += f", {measure.n} readings"
    method += "".join(f", {name} {word}" for name, word in measure.qualifiers.items())
    doubts = (f"doubt ({flag.effect}): {flag.name}: {flag.detail}" for flag in measure.flags)
    children = [Node("remark", line) for line in (method, *doubts)]
    if measure.capture:
        children.append(Node("capture", f"capture file, SHA-256 {measure.capture}"))
    text = f"{definition.title}, {measure.side}: {value_words(measure, definition)}"
    facts = {"value": measure.value, "unit": measure.unit, "error": measure.error, "n": measure.n}
    return Node("measure", text, id=measure.name, facts=facts, children=tuple(children))


def short_title(definition: MeasureDef) -> str:
    """A measure's title without what stands in brackets."""
    return definition.title.partition(" (")[0]
