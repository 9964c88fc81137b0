"""What a change means for one foot and phase: a verdict in words.

The band is the rulebook's: the motion that is ordinary for this phase, gait and zero reference.
Over-correction is judged first. A device that pushes a foot below the band, or its load to the
outside, is not made good by anything else it does.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from recommend.trial.change import Change, Interval, Sample, change, mean_interval


class Verdict(Enum):
    """What happened to one foot in one phase; the value is the word in JSON and in files."""

    OVER_CORRECTED = "over-corrected"
    AWAY = "away"
    UNCLEAR = "not-told-from-noise"
    TOWARDS = "towards-band"
    WITHIN = "within-band"
    NO_BAND = "no-band"


@dataclass(frozen=True, slots=True)
class Band:
    """What is ordinary, from `low` to `high`; an end that no rule names is infinite."""

    low: float = -math.inf
    high: float = math.inf

    def outside(self, value: float) -> float:
        """How far `value` lies outside the band; 0 inside."""
        return max(self.low - value, value - self.high, 0.0)

    def holds_all(self, interval: Interval) -> bool:
        """Whether the whole interval lies inside the band."""
        return self.low <= interval.low and interval.high <= self.high


@dataclass(frozen=True, slots=True)
class Judged:
    """One foot and phase, judged.

    Attributes
    ----------
    change : before, after, and the change with its interval.
    band : what is ordinary; None where the rulebook knows none for this gait and zero.
    verdict : see `Verdict`.
    level : the mean after, with its own interval.
    clear : True when that whole interval lies on one side of each end of the band, so that
        'within', 'above' or 'below' is itself beyond noise.
    doubtful : True when the change is larger than footwear is known to bring about; a sign or
        a mark may be wrong.
    """

    change: Change
    band: Band | None
    verdict: Verdict
    level: Interval
    clear: bool
    doubtful: bool

    @property
    def residual(self) -> float:
        """Units outside the band after the change; 0 inside, and where no band is known."""
        return self.band.outside(self.change.after.mean) if self.band else 0.0


def judge(
    before: Sample, after: Sample, band: Band | None, parameters: Mapping[str, float]
) -> Judged:
    """Judge the motion of one foot in one phase.

    Parameters
    ----------
    before, after : strides (degrees, eversion positive), same gait and zero reference.
    band : degrees, or None where none is known: the change is still told or not.
    parameters : the group ``trial``.
    """
    moved = change(before, after, parameters)
    level = mean_interval(after, parameters["trial.confidence"])
    doubtful = abs(moved.value) > parameters["trial.largest-change"]
    if band is None:
        return Judged(moved, None, Verdict.NO_BAND, level, clear=False, doubtful=doubtful)
    verdict = _verdict(moved, level, band)
    return Judged(moved, band, verdict, level, _clear(level, band), doubtful)


def _verdict(moved: Change, level: Interval, band: Band) -> Verdict:
    before, after = moved.before.mean, moved.after.mean
    if _over_corrected(moved, level, band):
        return Verdict.OVER_CORRECTED
    nearer = band.outside(before) - band.outside(after)
    if not moved.told:
        inside = band.outside(before) == 0 == band.outside(after)
        return Verdict.WITHIN if inside else Verdict.UNCLEAR
    if band.outside(after) == 0:
        return Verdict.WITHIN
    crossed = before < band.low and after > band.high
    return Verdict.TOWARDS if nearer > 0 and not crossed else Verdict.AWAY


def _over_corrected(moved: Change, level: Interval, band: Band) -> bool:
    """Below the band, and brought there or further down by this change.

    Either the change down is beyond noise, or the foot was in or above the band before and its
    whole interval is now below it. A foot that was below before and did not move is what it was.
    """
    before, after = moved.before.mean, moved.after.mean
    if after >= band.low or after >= before:
        return False
    return moved.told or (before >= band.low and level.high < band.low)


def _clear(level: Interval, band: Band) -> bool:
    return not any(level.low < end < level.high for end in (band.low, band.high))


@dataclass(frozen=True, slots=True)
class LoadShift:
    """The lateral share of load (percent) of one foot, before and after.

    `over` is True when it went up beyond noise. Where a foot came from the medial side and its
    load is still inside the band, the shift is what the device is for, and `over` is False.
    """

    change: Change
    band: Band
    over: bool


def judge_load(
    before: Sample, after: Sample, band: Band, parameters: Mapping[str, float]
) -> LoadShift:
    """Judge the shift of load to the outside of one foot.

    Parameters
    ----------
    before, after : lateral share of load in percent, one number a step.
    band : percent; without one every shift to the outside beyond noise counts.
    parameters : the group ``trial``.
    """
    moved = change(before, after, parameters)
    intended = before.mean < band.low and band.outside(after.mean) == 0
    return LoadShift(moved, band, moved.told and moved.value > 0 and not intended)
