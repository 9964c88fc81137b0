"""The nearest change: how little one reading would have to differ to alter the outcome.

The outcome depends on a reading only through comparisons with limits, so it can change only
where the reading, or the reading less or plus its error, meets a limit. Those places are
reckoned from the limits of the rules, and the outcome is looked at on both sides of each: the
answer is exact to the last decimal that rules compare.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from recommend.match.shortlist import GROUPS
from recommend.measure.definitions import DIFFERENCES
from recommend.measure.model import SIDES, Side
from recommend.rulebook.models import NOTE_LEVELS, NoteThen
from recommend.rulebook.naming import DECIMALS
from recommend.trail.leaders import firsts_of
from recommend.trail.whatif import (
    LENGTH,
    WIDTH,
    WIDTH_RATIO,
    Floats,
    Key,
    Outcomes,
    WhatIf,
)

STEP = 10.0**-DECIMALS  # what rules compare is rounded to this
_AROUND = (-2, -1, 0, 1, 2)  # steps looked at about each place, for rounding


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
class Change:
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


def nearest_changes(whatif: WhatIf) -> tuple[Change, ...]:
    """For each reading, the smallest changes that alter notes, a foot type, a first product.

    Notes of each level by themselves, so that a caution near by does not hide a stop beyond it.
    Ordered by standard errors: what noise could do by itself comes first.
    """
    tried = {key: candidates(whatif, key) for key in whatif.readings()}
    blocks = [({key: values}, len(values)) for key, values in tried.items()]
    before, *outcomes = whatif.together([({}, 1), *blocks])
    found: list[Change] = []
    for (key, values), after in zip(tried.items(), outcomes, strict=True):
        found += _changes(whatif, key, values, before, after)
    return tuple(sorted(found, key=_closeness))


def _closeness(change: Change) -> tuple[float, str, str, float]:
    errors = np.inf if change.errors is None else abs(change.errors)
    return (errors, change.side or "", change.measure, abs(change.by))


def candidates(whatif: WhatIf, key: Key) -> Floats:
    """Values of a reading on both sides of every place where something can change.

    Nearest to the reading first; the reading itself is left out, and so is what it can never be.
    """
    measure = whatif.measure(key)
    step = 1.0 if measure.unit == "score" else STEP
    places = np.array(list(breakpoints(whatif, key)), np.float64)
    values = (np.rint(places / step)[:, None] + np.array(_AROUND)).ravel() * step
    values = np.unique(np.round(values, DECIMALS))
    was = float(measure.value)
    low, high = whatif.possible(key)
    values = values[(values != round(was, DECIMALS)) & (values >= low) & (values <= high)]
    return np.asarray(values[np.lexsort((values, np.abs(values - was)))], np.float64)


def breakpoints(whatif: WhatIf, key: Key) -> Iterator[float]:
    """Every value of a reading at which a comparison of the rules, or a size, changes."""
    side, name = key
    yield from _own(whatif, key, name)
    for difference, base in DIFFERENCES.items():
        other: Key = ("right" if side == "left" else "left", base)
        if base == name and difference in whatif.assessment.feet[side].measures:
            centre = float(whatif.measure(other).value)
            for at in _own(whatif, (side, difference), difference):
                yield from (centre + at, centre - at)
    if WIDTH_RATIO in whatif.assessment.feet[side].measures and name in (WIDTH, LENGTH):
        width, length = (float(whatif.measure((side, n)).value) for n in (WIDTH, LENGTH))
        for limit in _own(whatif, (side, WIDTH_RATIO), WIDTH_RATIO):
            # The ratio is rounded before it is compared: it turns half a step beside the limit.
            for at in (limit - STEP / 2, limit, limit + STEP / 2):
                if at > 0:
                    yield at * length if name == WIDTH else width / at
    if name == LENGTH:
        yield from whatif.ranked.size_steps.tolist()
        yield from (  # beyond the other foot's length, this foot is the longer one
            float(whatif.measure((s, LENGTH)).value)
            for s in SIDES
            if s != side and LENGTH in whatif.assessment.feet[s].measures
        )


def _own(whatif: WhatIf, key: Key, name: str) -> Iterator[float]:
    """Values at which comparisons that name the measure itself change."""
    measure = whatif.measure(key)
    margin = whatif.book.parameters["noise.clearly"] * (measure.error or 0.0)
    for fact, limit in whatif.limits.get(name, ()):
        shift = {f"{name}_low": margin, f"{name}_high": -margin}.get(fact, 0.0)
        yield limit + shift


def _changes(
    whatif: WhatIf, key: Key, values: Floats, before: Outcomes, after: Outcomes
) -> Iterator[Change]:
    """What each thing needs at least; things that change at the same value are told together."""
    effects: dict[int, list[Effect]] = {}
    for found in (
        _notes(whatif, before, after),
        _types(whatif, before, after),
        _firsts(before, after),
    ):
        for row, effect in found:
            effects.setdefault(row, []).append(effect)
    measure = whatif.measure(key)
    was = float(measure.value)
    for row, together in effects.items():
        value = float(values[row])
        errors = (value - was) / measure.error if measure.error else None
        foot = whatif.foot_of(key)
        yield Change(foot, key[1], measure.unit, was, value, errors, tuple(together))


def _notes(whatif: WhatIf, before: Outcomes, after: Outcomes) -> Iterator[tuple[int, Effect]]:
    """For each level, the first row in which a note of it becomes due or is no longer due."""
    for level in NOTE_LEVELS:
        turned = {}
        for rule, due in after.notes.items():
            then = whatif.book.by_id[rule].rule.then
            if isinstance(then, NoteThen) and then.note == level:
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
    names = [*whatif.book.types, "undetermined"]
    for side in SIDES:
        code, codes = before.types[side][0], after.types[side]
        rows = np.flatnonzero(codes != code)
        if len(rows):
            at = int(rows[0])
            yield at, Effect(f"foot-type {side}", names[code], names[codes[at]])


def _firsts(before: Outcomes, after: Outcomes) -> Iterator[tuple[int, Effect]]:
    """The first row that alters the first product of a group."""
    was_first = firsts_of(before.case_of(0))
    changed = np.array([firsts_of(leading) != was_first for leading in after.cases])[after.case]
    rows = np.flatnonzero(changed)
    if len(rows) and was_first:
        at = int(rows[0])
        now = firsts_of(after.case_of(at))
        group = next(g for g in GROUPS if now.get(g) != was_first.get(g))
        then = now.get(group, "none") if now else "withheld by a stop"
        yield at, Effect(f"first {group}", was_first.get(group, "none"), then)
