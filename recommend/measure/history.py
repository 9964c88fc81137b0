"""Measures of a customer's visits, one line for each measure and foot."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

from recommend.measure.definitions import MeasureDefs
from recommend.measure.model import SIDES, Measure, Side
from recommend.measure.observed import observe
from recommend.parameters import Parameters
from recommend.visit.models import Visit
from recommend.visit.pain import sites_of

_Z = NormalDist().inv_cdf(0.975)


@dataclass(frozen=True, slots=True)
class Line:
    """One measure of one foot over all visits; None where it was not taken.

    Readings with other qualifiers (another gait, another zero) are another line. `change` is
    the last reading less the first, and `beyond` whether that is more than the 95 % error of a
    difference of the two; both None with fewer than two readings.
    """

    measure: str
    qualifiers: Mapping[str, str]
    side: Side
    values: tuple[Measure | None, ...]

    @property
    def taken(self) -> tuple[Measure, ...]:
        """The readings there are, oldest first."""
        return tuple(one for one in self.values if one is not None)

    @property
    def change(self) -> float | None:
        """The last reading less the first."""
        if len(self.taken) < 2:
            return None
        return float(self.taken[-1].value) - float(self.taken[0].value)

    @property
    def beyond(self) -> bool | None:
        """Whether the change is beyond the error of measuring twice, at 95 %."""
        if self.change is None:
            return None
        first, last = self.taken[0], self.taken[-1]
        return beyond_error(self.change, math.hypot(first.error or 0.0, last.error or 0.0))


def beyond_error(change: float, error: float) -> bool:
    """Whether a change is more than its 95 % error; `error` is the standard error of it."""
    return abs(change) > _Z * error


def history(visits: Sequence[Visit], defs: MeasureDefs, parameters: Parameters) -> tuple[Line, ...]:
    """Numeric measures of `visits` (oldest first), in the order of the definitions.

    Pain stands site by site, so that a new pain is never taken for an old one of the same side.
    """
    found: dict[_Key, list[Measure | None]] = {}
    for number, visit in enumerate(visits):
        observed = observe(visit, defs, parameters)
        for side in SIDES:
            for measure in (*observed.used[side].values(), *observed.further[side]):
                if isinstance(measure.value, str) or measure.name in _PAIN:
                    continue
                key = (measure.name, tuple(sorted(measure.qualifiers.items())), side)
                row = found.setdefault(key, [None] * len(visits))
                row[number] = measure
    found |= _pain_by_site(visits, defs)
    order = list(defs)
    keys = sorted(found, key=lambda key: (order.index(key[0]), key[1], SIDES.index(key[2])))
    return tuple(Line(k[0], dict(k[1]), k[2], tuple(found[k])) for k in keys)


_Key = tuple[str, tuple[tuple[str, str], ...], Side]
_SCORE = "pain-score"
# What follows from the sites, side by side; the sites say it better.
_PAIN = frozenset({_SCORE, "pain-weeks", "pain-before", "pain-again", "pain-change",
                   "new-pain-sites"})  # fmt: skip


def _pain_by_site(visits: Sequence[Visit], defs: MeasureDefs) -> dict[_Key, list[Measure | None]]:
    """Pain of every site that ever hurt; 0 where pain was asked and the site was not named."""
    rows: dict[_Key, list[Measure | None]] = {}
    error = defs[_SCORE].error
    asked = [(n, visit.pain) for n, visit in enumerate(visits) if visit.pain is not None]
    for side in SIDES:
        hurt = {n: sites_of(pain, side) for n, pain in asked}
        for site in dict.fromkeys(site for scores in hurt.values() for site in scores):
            row: list[Measure | None] = [None] * len(visits)
            for n, scores in hurt.items():
                score = scores.get(site, 0)
                if score is not None:
                    sure = error.single if error and score else 0.0
                    row[n] = Measure(_SCORE, side, float(score), "score", sure, 1, "asked")
            rows[_SCORE, (("site", site),), side] = row
    return rows
