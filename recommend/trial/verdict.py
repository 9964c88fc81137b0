"""What a change means for one reading of one foot: a verdict in words.

The band is the rulebook's, a pair of limits: what is usual for this reading, gait and zero.
Over-correction is judged first. A device that pushes a foot below the band, or its load beyond
the outer edge of its band, is not made good by anything else it does. Beyond an edge means by
more than noise: the whole interval lies beyond it. What is nearer is near.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import Limit
from recommend.rulebook.words import kind_words
from recommend.trial.change import Interval, Sample, StepChange, change, drift, mean_interval
from recommend.trial.steps import READINGS, ReadingKey


class Verdict(Enum):
    """What happened to one reading of one foot; the value is the word in JSON and in files."""

    OVER_CORRECTED = "over-corrected"
    AWAY = "away"
    UNCLEAR = "not-told-from-noise"
    NEAR_LOWER = "near-lower-edge"
    TOWARDS = "towards-band"
    WITHIN = "within-band"
    NO_BAND = "no-band"


@dataclass(frozen=True, slots=True)
class Band:
    """What is usual, from `low` to `high`; an end that no rule names is infinite."""

    low: float = -math.inf
    high: float = math.inf

    def outside(self, value: float) -> float:
        """How far `value` lies outside the band; 0 inside."""
        return max(self.low - value, value - self.high, 0.0)


@dataclass(frozen=True, slots=True)
class JudgedReading:
    """One reading of one foot, judged.

    Attributes
    ----------
    change : before, after, and the change with its interval.
    band : what is usual; None where the rulebook knows none for this gait and zero.
    verdict : see `Verdict`.
    level : the mean after, with its own interval.
    clear : True when that whole interval lies on one side of each end of the band, so that
        'within', 'above' or 'below' is itself beyond noise.
    doubtful : True when the change is larger than footwear is known to bring about; a sign or
        a mark may be wrong.
    drift : how far the readings of the step before and of this one drift from the first stride
        to the last, beyond noise; None where they do not.
    """

    change: StepChange
    band: Band | None
    verdict: Verdict
    level: Interval
    clear: bool
    doubtful: bool
    drift: tuple[Interval | None, Interval | None]

    @property
    def residual(self) -> float:
        """Units outside the band after the change; 0 inside, and where no band is known."""
        return self.band.outside(self.change.after.mean) if self.band else 0.0


def judge(
    before: Sample,
    after: Sample,
    band: Band | None,
    parameters: Parameters,
    *,
    angle: bool = True,
) -> JudgedReading:
    """Judge one reading of one foot.

    Parameters
    ----------
    before, after : strides (an angle in degrees, eversion positive), same gait and zero.
    band : in the unit of the reading, or None where none is known: the change is told or not.
    parameters : the group ``trial``.
    angle : whether the reading is an angle from a zero: only such can be over-corrected, and
        only for such a largest change is known.
    """
    moved = change(before, after, parameters)
    level = mean_interval(after, parameters)
    doubtful = angle and abs(moved.value) > parameters.trial.largest_change
    drifts = (drift(before, parameters), drift(after, parameters))
    if band is None:
        return JudgedReading(moved, None, Verdict.NO_BAND, level, False, doubtful, drifts)
    verdict = (_too_far(moved, level, band) if angle else None) or _verdict(moved, band)
    return JudgedReading(moved, band, verdict, level, _clear(level, band), doubtful, drifts)


def _too_far(moved: StepChange, level: Interval, band: Band) -> Verdict | None:
    """Below the band and brought there, or further down, by this change: beyond noise or near.

    A foot that was below before and did not move beyond noise is what it was.
    """
    before, after = moved.before.mean, moved.after.mean
    if after >= band.low or after >= before or not (moved.told or before >= band.low):
        return None
    return Verdict.OVER_CORRECTED if level.high < band.low else Verdict.NEAR_LOWER


def _verdict(moved: StepChange, band: Band) -> Verdict:
    before, after = moved.before.mean, moved.after.mean
    if not moved.told:
        inside = band.outside(before) == 0 == band.outside(after)
        return Verdict.WITHIN if inside else Verdict.UNCLEAR
    if band.outside(after) == 0:
        return Verdict.WITHIN
    crossed = before < band.low and after > band.high
    nearer = band.outside(before) > band.outside(after)
    return Verdict.TOWARDS if nearer and not crossed else Verdict.AWAY


def _clear(level: Interval, band: Band) -> bool:
    return not any(level.low < end < level.high for end in (band.low, band.high))


@dataclass(frozen=True, slots=True)
class LoadShift:
    """The share of load on the outer half (percent) of one foot, before and after.

    `over` is True when it went outwards beyond noise and now lies beyond its band by more than
    noise. `band` is None where the rulebook knows none: then the shift is told, not judged.
    """

    change: StepChange
    band: Band | None
    level: Interval
    over: bool


def judge_load(
    before: Sample, after: Sample, band: Band | None, parameters: Parameters
) -> LoadShift:
    """Judge the shift of load of one foot; towards the middle is never over-correction.

    Parameters
    ----------
    before, after : share of load on the outer half in percent, one number a step.
    band : percent, or None where none is known.
    parameters : the group ``trial``.
    """
    moved = change(before, after, parameters)
    level = mean_interval(after, parameters)
    beyond = band is not None and level.low > band.high
    return LoadShift(moved, band, level, beyond and moved.told and moved.value > 0)


# Where the rulebook has no limit of these names, that end is open; with neither there is no band.
LOAD_LIMITS = ("lateral-load-lower", "lateral-load-upper")


def band_of(book: Rulebook, key: ReadingKey) -> Band | None:
    """The usual band of a reading, in its unit; None when the rulebook has none for it."""
    names = READINGS[key.reading].limits
    return _between(book, names, {"gait": key.gait, "reference": key.reference})


def load_band(book: Rulebook) -> Band | None:
    """The usual share of load on the outer half in percent; None where no limit is known."""
    return _between(book, LOAD_LIMITS, {})


def load_mark(book: Rulebook) -> str:
    """Where the outer edge of the band of load comes from, in words; empty where there is none."""
    limit = book.limits.get(LOAD_LIMITS[1])
    found = limit.value_of({}) if limit else None
    return kind_words(found.kind, sourced=found.source is not None) if found else ""


def _between(book: Rulebook, names: tuple[str, str], words: dict[str, str]) -> Band | None:
    low, high = (_value(book.limits.get(name), words) for name in names)
    if low is None and high is None:
        return None
    open_ = Band()
    return Band(open_.low if low is None else low, open_.high if high is None else high)


def _value(limit: Limit | None, words: dict[str, str]) -> float | None:
    found = limit.value_of(words) if limit else None
    return found.value if found else None
