"""Whether a note still comes for every foot for which it came: looked for over all feet.

A note counts as kept when some note at least as grave comes in its place, by whichever rule. Rules
know nothing of a reading that is missing, so that a foot which loses the note can always be
stripped to what the old condition reads: only those facts, and the facts whose absence some rule
asks for, have to be gone through, and that is few enough to be exact.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from recommend.check.cells import base_facts, space_of, truths
from recommend.check.logic import shown
from recommend.infer.many import behind
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import NOTE_LEVELS, AxisThen, NoteLevel, NoteThen
from recommend.rulebook.terms import Disjunction, Number, Term, Word
from recommend.rulebook.vocabulary import Fact, Vocabulary, about

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


def note_of(rule: CompiledRule) -> NoteLevel | None:
    """The level of the note a rule brings; None of another rule."""
    return rule.rule.then.note if isinstance(rule.rule.then, NoteThen) else None


def notes_from(book: Rulebook, level: NoteLevel) -> tuple[CompiledRule, ...]:
    """The rules that bring a note at least as grave as `level`."""
    grave = NOTE_LEVELS[: NOTE_LEVELS.index(level) + 1]
    return tuple(rule for rule in book.rules if note_of(rule) in grave)


def fate_of(new: Rulebook, old: Rulebook, rule: CompiledRule) -> Fate:
    """What has become under `new` of the note that `rule` of `old` brings.

    Raises
    ------
    ContradictionError
        If rules that conclude an axis contradict each other.
    """
    level = note_of(rule)
    assert level is not None
    both, was = _together(new, old, rule)
    now = notes_from(new, level)
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
    asking = [rule for rule in now if any(map(_asks_absence, _terms(rule.holds)))]
    return base_facts(book, [was, *asking])


def _terms(disjunction: Disjunction) -> Iterable[Term]:
    return (term for branch in disjunction for term in branch)


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
    then = rule.rule.then
    return set(rule.axes_read) | ({then.axis} if isinstance(then, AxisThen) else set())


def _same_axes(
    new: Rulebook, old: Rulebook, rules: tuple[CompiledRule, ...], rule: CompiledRule
) -> bool:
    """Whether both rulebooks conclude the axes that `rule` reads in the same way."""
    axes = {name for one in rules for name in _axes_of(one)}

    def ways(book: Rulebook) -> set[object]:
        found: set[object] = set()
        for one in book.rules:
            then = one.rule.then
            if isinstance(then, AxisThen) and then.axis in axes:
                found.add((then.axis, then.value, _bare(one.holds), _bare(one.fails)))
        return found

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
