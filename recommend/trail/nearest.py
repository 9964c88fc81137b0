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
class Change:
    """The smallest change of one reading that alters something.

    Attributes
    ----------
    side, measure, unit : which reading.
    value : what it would have to be; `was` is what it is.
    errors : the change in standard errors, None when the reading has none.
    alters : ``foot-type`` or ``first-product``.
    before, after : what it alters, in ids.
    """

    side: Side
    measure: str
    unit: str
    was: float
    value: float
    errors: float | None
    alters: str
    before: str
    after: str

    @property
    def by(self) -> float:
        """The change itself."""
        return self.value - self.was


def nearest_changes(whatif: WhatIf) -> tuple[Change, ...]:
    """For each reading, the smallest changes that alter a foot type and a first product.

    Ordered by standard errors: what noise could do by itself comes first.
    """
    before = whatif.outcomes({}, 1)
    tried = {key: candidates(whatif, key) for key in whatif.readings()}
    blocks = [({key: values}, len(values)) for key, values in tried.items()]
    found: list[Change] = []
    if blocks:
        for (key, values), after in zip(tried.items(), whatif.together(blocks), strict=True):
            found += _changes(whatif, key, values, before, after)
    return tuple(sorted(found, key=_closeness))


def _closeness(change: Change) -> tuple[float, str, str, str]:
    errors = np.inf if change.errors is None else abs(change.errors)
    return (errors, change.side, change.measure, change.alters)


def candidates(whatif: WhatIf, key: Key) -> Floats:
    """Values of a reading on both sides of every place where something can change.

    Nearest to the reading first; the reading itself is left out.
    """
    measure = whatif.measure(key)
    step = 1.0 if measure.unit == "score" else STEP
    places = np.array(list(breakpoints(whatif, key)), np.float64)
    values = (np.rint(places / step)[:, None] + np.array(_AROUND)).ravel() * step
    values = np.unique(np.round(values, DECIMALS))
    was = float(measure.value)
    values = values[values != round(was, DECIMALS)]
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
    """The first value, which is the nearest, that alters a foot type, and a first product."""
    types = [*whatif.book.types, "undetermined"]
    for side in SIDES:
        code, codes = before.types[side][0], after.types[side]
        hits = np.flatnonzero(codes != code)
        if len(hits):
            at = int(hits[0])
            names = types[code], types[codes[at]]
            yield _change(whatif, key, values[at], f"foot-type {side}", *names)
    was_first = firsts_of(before.case_of(0))
    changed = np.array([firsts_of(leading) != was_first for leading in after.cases])[after.case]
    hits = np.flatnonzero(changed)
    if len(hits) and was_first:
        at = int(hits[0])
        now = firsts_of(after.case_of(at))
        group = next(g for g in GROUPS if now.get(g) != was_first.get(g))
        then = now.get(group, "none") if now else "withheld by a stop"
        was = was_first.get(group, "none")
        yield _change(whatif, key, values[at], f"first {group}", was, then)


def _change(whatif: WhatIf, key: Key, value: float, alters: str, before: str, after: str) -> Change:
    measure = whatif.measure(key)
    was = float(measure.value)
    errors = float(value - was) / measure.error if measure.error else None
    return Change(key[0], key[1], measure.unit, was, float(value), errors, alters, before, after)
