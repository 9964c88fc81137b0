"""What-ifs about a visit: the nearest change of a reading, and what another outcome says otherwise.

The nearest change is how little one reading would have to differ to alter the outcome.
The outcome depends on a reading only through comparisons with limits, so it can change only
where the reading, or the reading less or plus its error, meets a limit. Those places are
reckoned from the limits of the rules, and the outcome is looked at on both sides of each: the
answer is exact to the last decimal that rules compare.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from recommend.dataclass import dataclass
from recommend.infer.variations import STEP, Floats, Key
from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS
from recommend.match.sureness import Outcomes, WhatIf
from recommend.measure.model import SIDES, Side
from recommend.rulebook.models import NOTE_LEVELS
from recommend.rulebook.naming import DECIMALS

# Steps looked at from the one below each place: what is rounded before it is compared turns up to
# half a step beside the place, so that either side of it lies among these four.
_AROUND = (-1, 0, 1, 2)


@dataclass(frozen=True, slots=True)
class Effect:
    """One thing that a change alters.

    Attributes
    ----------
    alters : ``note RULE``, ``foot-type SIDE`` or ``first GROUP``.
    before, after : in ids; of a note ``due`` or ``not due``.
    level : of a note: ``stop``, ``see-clinician`` or ``caution``.
    """

    alters: str
    before: str
    after: str
    level: str = ""


@dataclass(frozen=True, slots=True)
class NearestChange:
    """The smallest change of one reading that alters something.

    Attributes
    ----------
    side, measure, unit : which reading; no side when one reading stands for both feet.
    value : what it would have to be; `was` is what it is.
    errors : the change in standard errors, None when the reading has none.
    effects : everything that first changes at this value; notes first, the most severe before.
    """

    side: Side | None
    measure: str
    unit: str
    was: float
    value: float
    errors: float | None
    effects: tuple[Effect, ...]

    @property
    def by(self) -> float:
        """The change itself."""
        return self.value - self.was


def nearest_changes(whatif: WhatIf) -> tuple[NearestChange, ...]:
    """For each reading, the smallest changes that alter notes, a foot type, a first product.

    Notes of each level by themselves, so that a caution near by does not hide a stop beyond it.
    Ordered by standard errors: what noise could do by itself comes first.
    """
    tried = {key: candidates(whatif, key) for key in whatif.variations.readings()}
    blocks = [({key: values}, len(values)) for key, values in tried.items()]
    before, *outcomes = whatif.together([({}, 1), *blocks])
    found: list[NearestChange] = []
    for (key, values), after in zip(tried.items(), outcomes, strict=True):
        found += _changes(whatif, key, values, before, after)
    return tuple(sorted(found, key=_closeness))


def _closeness(change: NearestChange) -> tuple[float, str, str, float]:
    errors = np.inf if change.errors is None else abs(change.errors)
    return (errors, change.side or "", change.measure, abs(change.by))


def candidates(whatif: WhatIf, key: Key) -> Floats:
    """Values of a reading on both sides of every place where something can change.

    Nearest to the reading first; the reading itself is left out, and so is what it can never be.
    """
    measure = whatif.variations.measure(key)
    step = 1.0 if measure.unit == "score" else STEP
    places = np.array(whatif.breakpoints(key), np.float64)
    values = (np.floor(places / step)[:, None] + np.array(_AROUND)).ravel() * step
    values = np.unique(np.round(values, DECIMALS))
    was = float(measure.value)
    low, high = whatif.variations.possible(key)
    values = values[(values != round(was, DECIMALS)) & (values >= low) & (values <= high)]
    return np.asarray(values[np.lexsort((values, np.abs(values - was)))], np.float64)


def _changes(
    whatif: WhatIf, key: Key, values: Floats, before: Outcomes, after: Outcomes
) -> Iterator[NearestChange]:
    """What each thing needs at least; things that change at the same value are told together."""
    effects: dict[int, list[Effect]] = {}
    for found in (
        _notes(whatif, before, after),
        _types(whatif, before, after),
        _firsts(before, after),
    ):
        for row, effect in found:
            effects.setdefault(row, []).append(effect)
    measure = whatif.variations.measure(key)
    was = float(measure.value)
    for row, together in effects.items():
        value = float(values[row])
        errors = (value - was) / measure.error if measure.error else None
        foot = whatif.variations.foot_of(key)
        yield NearestChange(foot, key[1], measure.unit, was, value, errors, tuple(together))


def _notes(whatif: WhatIf, before: Outcomes, after: Outcomes) -> Iterator[tuple[int, Effect]]:
    """For each level, the first row in which a note of it becomes due or is no longer due."""
    for level in NOTE_LEVELS:
        turned = {}
        for rule, due in after.notes.items():
            note = whatif.outcome.book.by_id[rule].note
            if note is not None and note.note == level:
                turned[rule] = due != before.notes[rule][0]
        rows = np.flatnonzero(np.any(list(turned.values()), axis=0))
        if len(rows):
            at = int(rows[0])
            for rule in (rule for rule, changed in turned.items() if changed[at]):
                was, now = "not due", "due"
                if before.notes[rule][0]:
                    was, now = now, was
                yield at, Effect(f"note {rule}", was, now, level)


def _types(whatif: WhatIf, before: Outcomes, after: Outcomes) -> Iterator[tuple[int, Effect]]:
    """For each foot, the first row that alters its type."""
    names = [*whatif.outcome.book.types, "undetermined"]
    for side in SIDES:
        code, codes = before.types[side][0], after.types[side]
        rows = np.flatnonzero(codes != code)
        if len(rows):
            at = int(rows[0])
            yield at, Effect(f"foot-type {side}", names[code], names[codes[at]])


def _firsts(before: Outcomes, after: Outcomes) -> Iterator[tuple[int, Effect]]:
    """The first row that alters which equals come first in a group."""
    was = before.firsts_of(0)
    rows = np.flatnonzero(after.differ_from(was))
    if len(rows) and was:
        at = int(rows[0])
        now = after.firsts_of(at)
        group = next(g for g in GROUPS if now.get(g) != was.get(g))
        then = _ids(now.get(group, ())) if now else "withheld by a stop"
        yield at, Effect(f"first {group}", _ids(was.get(group, ())), then)


def _ids(equals: tuple[str, ...]) -> str:
    return " or ".join(equals) or "none"


# --- two outcomes, statement by statement ---------------------------------------------------------

SHOWN = 3  # first products of each group that are compared


@dataclass(frozen=True, slots=True)
class Altered:
    """One statement of the outcome that is another than before; empty means it was not made."""

    what: str
    before: str
    after: str


def changes(before: Outcome, after: Outcome) -> tuple[Altered, ...]:
    """Every statement that differs: notes, axes and types of each foot, the first products."""
    return tuple(one for one in _pairs(before, after) if one.before != one.after)


def change_lines(found: Sequence[Altered]) -> Iterator[str]:
    """Lines to be wrapped: each statement that is another than before."""
    if not found:
        yield "The outcome stays as it was: same notes, same foot types, same first products."
        return
    yield "What this changes:"
    for one in found:
        if not one.before:
            yield f"  + {one.what}: {one.after}"
        elif not one.after:
            yield f"  - no longer: {one.what}: {one.before}"
        else:
            yield f"  {one.what}: {one.before} -> {one.after}"


def _pairs(before: Outcome, after: Outcome) -> Iterator[Altered]:
    notes = [{note.rule: note for note in one.assessment.notes} for one in (before, after)]
    for rule in dict.fromkeys((*notes[0], *notes[1])):
        said = [one[rule].say if rule in one else "" for one in notes]
        note = notes[1].get(rule) or notes[0][rule]
        yield Altered(note.level, *said)
    for side in SIDES:
        for axis, definition in after.book.axes.items():
            values = []
            for one in (before, after):
                value = one.assessment.feet[side].conclusions.axes[axis]
                values.append("undetermined" if value is None else definition.values[value])
            yield Altered(f"{side}, {definition.title}", *values)
    for group in GROUPS:
        for place in range(SHOWN):
            yield Altered(
                f"{group} {place + 1}", _at(before, group, place), _at(after, group, place)
            )


def _at(outcome: Outcome, group: str, place: int) -> str:
    if outcome.shortlist is None:
        return "withheld"
    ranked = {str(name): rows for name, rows in outcome.shortlist.ranked.items()}[group]
    if place >= len(ranked):
        return ""
    return ranked[place].title
