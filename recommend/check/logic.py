"""Rules over all feet: faults of logic, and whether a note still comes wherever it came.

A note counts as kept when some note at least as grave comes in its place, by whichever rule. Rules
know nothing of a reading that is missing, so that a foot which loses the note can always be
stripped to what the old condition reads: only those facts, and the facts whose absence some rule
asks for, have to be gone through, and that is few enough to be exact.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain

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
from recommend.infer.many import Bools, ManyConclusions, behind
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import AxisThen, NoteLevel, NoteThen, at_least
from recommend.rulebook.terms import Disjunction, Number, Term, Word
from recommend.rulebook.vocabulary import Fact, Vocabulary, about


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


_WAS = "was-"  # before the names of axes and rules of the older rulebook
_ABSENT = ("known", "asked", "decided")


@dataclass(frozen=True, slots=True)
class Fate:
    """What has become of a note.

    Attributes
    ----------
    rule, level : which note, at the level it had.
    foot, visit : a foot that had it and has none as grave now, in words and as a visit file;
        empty when there is none.
    lost : whether there is such a foot.
    more : whether some foot gets it now that did not.
    exact : whether all feet were gone through; otherwise so many were drawn.
    """

    rule: str
    level: NoteLevel
    lost: bool
    more: bool
    exact: bool
    foot: str = ""
    visit: str = ""


def fate_of(new: Rulebook, old: Rulebook, rule: CompiledRule) -> Fate:
    """What has become under `new` of the note that `rule` of `old` brings.

    Raises
    ------
    ContradictionError
        If rules that conclude an axis contradict each other.
    """
    level = rule.level
    assert level is not None
    both, was = _together(new, old, rule)
    now = new.noting(*at_least(level))
    here = new.by_id.get(rule.id)
    wanted = (*now, was) if here is None or here in now else (*now, here, was)
    space = space_of(both, wanted, within=_bases(both, was, now))
    done = truths(both, wanted, space)
    had = done.holds[was.id]
    has = np.logical_or.reduce([done.holds[one.id] for one in now] or [np.zeros_like(had)])
    lost = had & ~has
    more = here is not None and bool((done.holds[here.id] & ~had).any())
    told = Fate(rule.id, level, bool(lost.any()), more, space.exhausted)
    if not told.lost:
        return told
    foot, visit = shown(space, lost, f"Had the note of {rule.id}; none as grave comes now.")
    return replace(told, foot=foot, visit=visit)


def _bases(book: Rulebook, was: CompiledRule, now: Iterable[CompiledRule]) -> frozenset[str]:
    """What has to be gone through: what the old rule reads, and whose absence any rule asks for."""
    asking = [rule for rule in now if any(map(_asks_absence, chain(*rule.holds)))]
    return base_facts(book, [was, *asking])


def _asks_absence(term: Term) -> bool:
    return isinstance(term, Word) and about(term.fact).kind in _ABSENT and "no" in term.values


def _together(new: Rulebook, old: Rulebook, rule: CompiledRule) -> tuple[Rulebook, CompiledRule]:
    """`new` with `rule` of `old` in it, and with the old axes that it reads under other names."""
    others = tuple(one for one in old.rules if one.id != rule.id)
    rules = behind(replace(old, rules=(*others, rule)), [rule.id])
    axes = {name for one in rules for name in _axes_of(one)}
    if new is old or _same_axes(new, old, rules, rule):
        axes = set()
    renamed = [_renamed(one, axes) for one in rules if one.id == rule.id or axes]
    was = renamed[-1]
    vocabulary = _both_vocabularies(new.vocabulary, old.vocabulary, axes)
    both = replace(
        new,
        rules=(*new.rules, *renamed),
        axes={**new.axes, **{f"{_WAS}{name}": old.axes[name] for name in axes}},
        measures={**old.measures, **new.measures},
        questions={**old.questions, **new.questions},
        limits={**old.limits, **new.limits},
        vocabulary=vocabulary,
    )
    return both, was


def _axes_of(rule: CompiledRule) -> set[str]:
    return {*rule.axes_read, *([rule.concludes.axis] if rule.concludes else [])}


def _same_axes(
    new: Rulebook, old: Rulebook, rules: tuple[CompiledRule, ...], rule: CompiledRule
) -> bool:
    """Whether both rulebooks conclude the axes that `rule` reads in the same way."""
    axes = {name for one in rules for name in _axes_of(one)}

    def ways(book: Rulebook) -> set[object]:
        return {
            (axis, one.concludes and one.concludes.value, _bare(one.holds), _bare(one.fails))
            for axis in axes
            for one in book.concluding(axis)
        }

    return ways(new) == ways(old)


def _bare(disjunction: Disjunction) -> frozenset[frozenset[Term]]:
    """A normal form as it runs: without order, and without the names of its limits."""
    return frozenset(
        frozenset(t._replace(limit="") if isinstance(t, Number) else t for t in branch)
        for branch in disjunction
    )


def _renamed(rule: CompiledRule, axes: set[str]) -> CompiledRule:
    then = rule.rule.then
    if isinstance(then, AxisThen):
        then = then.model_copy(update={"axis": f"{_WAS}{then.axis}"})
    body = rule.rule.model_copy(update={"id": f"{_WAS}{rule.id}", "then": then})
    return replace(
        rule,
        rule=body,
        holds=_renamed_terms(rule.holds, axes),
        fails=_renamed_terms(rule.fails, axes),
    )


def _renamed_terms(disjunction: Disjunction, axes: set[str]) -> Disjunction:
    def of(term: Term) -> Term:
        one = about(term.fact)
        if one.concluded and one.of in axes:
            return term._replace(fact=_renamed_fact(one))
        return term

    return tuple(tuple(of(term) for term in branch) for branch in disjunction)


def _renamed_fact(one: Fact) -> str:
    return one._replace(of=f"{_WAS}{one.of}").name


def _both_vocabularies(new: Vocabulary, old: Vocabulary, axes: set[str]) -> Vocabulary:
    words: dict[str, tuple[str, ...]] = dict(new.words)
    for fact, values in old.words.items():
        one = about(fact)
        if one.concluded and one.of in axes:
            words[_renamed_fact(one)] = values
        known = words.get(fact, ())
        words[fact] = (*known, *(value for value in values if value not in known))
    return Vocabulary(new.numbers | old.numbers, words)


def past_note(book: Rulebook, rule_id: str, level: NoteLevel, holds: Disjunction) -> CompiledRule:
    """A note as a change log has it, to be compared with the book: its condition in normal form."""
    model = book.rules[-1]
    then = NoteThen(note=level, say="-")
    body = model.rule.model_copy(update={"id": rule_id, "then": then})
    return replace(model, rule=body, holds=holds, fails=())
