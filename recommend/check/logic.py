"""Faults of logic in a rulebook: contradictions, gaps, rules that never fire or add nothing."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from recommend.check.cells import (
    Space,
    axes_by_stratum,
    base_facts,
    below,
    comparable,
    space_of,
    truths,
)
from recommend.check.feet import foot_words, visit_text
from recommend.check.finding import Finding
from recommend.errors import Place
from recommend.infer.many import Bools, ManyConclusions
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import at_least


def logic_findings(book: Rulebook) -> Iterator[Finding]:
    """Every fault of logic, each with a concrete foot where one shows it."""
    broken: set[str] = set()
    for axis in axes_by_stratum(book):
        rules = book.concluding(axis)
        if any(rule.axes_read & broken for rule in rules):
            broken.add(axis)  # what stands on a contradiction is looked at once that is mended
            continue
        found = list(_axis_findings(book, axis, rules))
        if any(one.code == "contradiction" for one in found):
            broken.add(axis)
        yield from found
    rest = [r for r in book.rules if not r.concludes and not _stands_on(book, r, broken)]
    for rule in rest:
        yield from _single_findings(book, rule)
    yield from _shadowed(book, rest)


def _stands_on(book: Rulebook, rule: CompiledRule, axes: set[str]) -> bool:
    return any(one.axes_read & axes for one in below(book, [rule]))


def _axis_findings(book: Rulebook, axis: str, rules: tuple[CompiledRule, ...]) -> Iterator[Finding]:
    space = space_of(book, rules)
    if not space.exhausted:
        yield _too_large(rules[0].place, f"axis `{axis}`", space)
    done = truths(book, rules, space)
    for rule in rules:
        yield from _firing(rule, done.holds[rule.id], space)
    for one, other in itertools.combinations(rules, 2):
        both = done.holds[one.id] & done.holds[other.id]
        if both.any():
            yield from _both_fire(one, other, both, done, space)
    yield from _gap(axis, rules, done, space)


def _firing(rule: CompiledRule, holds: Bools, space: Space) -> Iterator[Finding]:
    if not holds.any() and space.exhausted:
        yield Finding(
            "never-fires", "error", rule.place, f"no foot can make rule `{rule.id}` fire",
            mend="look for comparisons that exclude each other, or remove the rule",
        )  # fmt: skip
    if holds.all() and space.exhausted:
        yield Finding(
            "always-fires", "warning", rule.place,
            f"rule `{rule.id}` fires for every foot, even one with nothing measured",
            mend="say for which feet it is meant",
        )  # fmt: skip


def _both_fire(
    one: CompiledRule, other: CompiledRule, both: Bools, done: ManyConclusions, space: Space
) -> Iterator[Finding]:
    first, second = one.concludes, other.concludes
    assert first is not None
    assert second is not None
    if first.value != second.value:
        foot, visit = shown(space, both, f"Shows a contradiction on the axis {first.axis}.")
        yield Finding(
            "contradiction", "error", other.place,
            f"rules `{one.id}` and `{other.id}` contradict each other: axis `{first.axis}` is "
            f"`{first.value}` and `{second.value}` for the same foot",
            mend="make their conditions exclude each other",
            foot=foot, visit=visit, related=(one.place,),
        )  # fmt: skip
        return
    for inner, outer in ((one, other), (other, one)):
        if not (done.holds[inner.id] & ~done.holds[outer.id]).any() and space.exhausted:
            yield _shadow(inner, outer)
            return


def _shadow(inner: CompiledRule, outer: CompiledRule) -> Finding:
    return Finding(
        "says-nothing-new", "warning", inner.place,
        f"whenever rule `{inner.id}` fires, `{outer.id}` fires too and concludes as much",
        mend="remove one of the two, or let it conclude something of its own",
        related=(outer.place,),
    )  # fmt: skip


def _gap(
    axis: str, rules: tuple[CompiledRule, ...], done: ManyConclusions, space: Space
) -> Iterator[Finding]:
    none = ~np.logical_or.reduce([done.holds[rule.id] for rule in rules])
    none &= comparable(space, below(space.book, rules))
    for lower in {a for rule in rules for a in rule.axes_read}:
        none &= done.axes[lower] >= 0  # a gap below is said there
    if none.any():
        foot, visit = shown(space, none, f"Shows a gap on the axis {axis}: all measured, no value.")
        first = min(rules, key=lambda r: (r.place.file, r.place.line))
        yield Finding(
            "gap", "error", first.place,
            f"a foot with everything measured gets no value on the axis `{axis}`",
            mend="widen a rule of this axis, or add one for such feet",
            foot=foot, visit=visit,
        )  # fmt: skip


def _single_findings(book: Rulebook, rule: CompiledRule) -> Iterator[Finding]:
    space = space_of(book, [rule])
    holds = truths(book, (rule,), space).holds[rule.id]
    if not space.exhausted and not holds.any():
        yield _too_large(rule.place, f"rule `{rule.id}`", space)
    yield from _firing(rule, holds, space)


def _too_large(place: Place, what: str, space: Space) -> Finding:
    return Finding(
        "not-exhausted", "note", place,
        f"{what} can tell too many feet apart to look at all; {space.count} were drawn",
        mend="split it into axes of its own, or prove it with `--prove`",
    )  # fmt: skip


def _shadowed(book: Rulebook, rules: list[CompiledRule]) -> Iterator[Finding]:
    """Notes and needs that another rule of the same stage always says as well."""
    reads = {rule.id: base_facts(book, [rule]) for rule in rules}
    for inner, outer in itertools.permutations(rules, 2):
        if not reads[outer.id] <= reads[inner.id] or not _says_as_much(outer, inner):
            continue
        space = space_of(book, [inner, outer])
        done = truths(book, (inner, outer), space)
        only = done.holds[inner.id] & ~done.holds[outer.id]
        if not only.any() and done.holds[inner.id].any() and space.exhausted:
            yield _shadow(inner, outer)


def _says_as_much(outer: CompiledRule, inner: CompiledRule) -> bool:
    if inner.level and outer.level:
        return outer.level in at_least(inner.level)
    return bool(inner.asks and outer.asks) and all(need in outer.asks for need in inner.asks)


def shown(space: Space, mask: Bools, heading: str) -> tuple[str, str]:
    """The simplest foot within `mask`: in words, and as the text of a visit file."""
    facts = space.facts(space.simplest(mask))
    return foot_words(facts, space.book), visit_text(facts, space.book, heading)
