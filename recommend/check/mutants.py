"""Small changes to a rulebook, one at a time: every one of them should be noticed.

Every limit is shifted, every comparison flipped, every condition and every word of a list
dropped, every conclusion weakened. The idea is mutation testing (DeMillo, Lipton and Sayward
1978, Computer 11(4):34-41, from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from recommend.errors import Place
from recommend.rulebook.book import CompiledRule, Rulebook, always, recompiled
from recommend.rulebook.comparisons import COMPARISONS, OPS, opposite
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
from recommend.rulebook.terms import Number
from recommend.rulebook.vocabulary import about
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


def with_limit(book: Rulebook, name: str, index: int, to: float) -> Rulebook:
    """The rulebook with one value of a limit at `to`, and the rules that refer to it made anew."""
    limit = book.limits[name]
    moved = limit.values[index].model_copy(update={"value": round(to, DECIMALS)})
    values = [*limit.values[:index], moved, *limit.values[index + 1 :]]
    limits = {**book.limits, name: limit.model_copy(update={"values": values})}
    compiler = Compiler(limits, book.vocabulary)
    rules = tuple(
        recompiled(rule, rule.rule, compiler) if _refers(rule, name) else rule
        for rule in book.rules
    )
    return replace(book, rules=rules, limits=limits)


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
                moved = value.model_copy(update={"value": round(value.value + shift, DECIMALS)})
                values = [*limit.values[:index], moved, *limit.values[index + 1 :]]
                limits = {**book.limits, name: limit.model_copy(update={"values": values})}
                compiler = Compiler(limits, book.vocabulary)
                changed = tuple(recompiled(rule, rule.rule, compiler) for rule in rules)
                where = "".join(f", {word}" for word in value.where.values())
                words = f"limit {name}{where}: {value.value:g} becomes {moved.value:g}"
                yield Mutant(words, rules[0].place, changed, limits)


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
