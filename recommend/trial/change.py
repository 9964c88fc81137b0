"""Before and after: a change with its interval, and how many strides would settle it.

The strides are the sample. Both steps were filmed on the same foot on the same day, so the
spread between people does not enter; the spread of the strides may differ between barefoot and
shod, and neighbouring strides resemble each other (see `recommend.trial.resemblance`).
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from functools import cached_property
from statistics import NormalDist
from typing import TypeVar

import numpy as np

from recommend.measure.spread import t_quantile
from recommend.parameters import Parameters
from recommend.trial.resemblance import Floats, Known, every_resemblance, known_drift, known_mean

_ONE = np.ones(1)
Shares = TypeVar("Shares", float, Floats)


@dataclass(frozen=True)
class Sample:
    """Strides of one reading in one step of a trial, in the order in which they were taken.

    Attributes
    ----------
    strides : in the unit of the reading.
    single : spread that stands in where one stride has none, same unit.
    stated : resemblance of neighbouring strides that is taken while they are few.
    floor : error that all strides share (marks taken anew), where the lab knows it; else 0.
    mean_of : strides that one number is itself the mean of.
    """

    strides: tuple[float, ...]
    single: float
    stated: float
    floor: float = 0.0
    mean_of: int = 1

    @property
    def n(self) -> int:
        """Number of strides behind it."""
        return self.mean_of if self.assumed else len(self.strides)

    @cached_property
    def mean(self) -> float:
        """Mean of the strides."""
        return math.fsum(self.strides) / len(self.strides)

    @cached_property
    def sd(self) -> float:
        """Stride-to-stride standard deviation; `single` for one stride."""
        return self.single if self.assumed else float(np.std(self.strides, ddof=1))

    @property
    def assumed(self) -> bool:
        """Whether `sd` comes from the rulebook, because one number has no spread."""
        return len(self.strides) == 1

    def known(self, resemblance: Floats, least: float) -> Known:
        """What the strides tell of their mean for each resemblance."""
        if self.assumed:
            alike = np.ones(len(resemblance))
            never = np.full(len(resemblance), np.inf)
            variance = self.single**2 * share_of_variance(self.n, resemblance)
            return Known(alike * self.mean, alike * variance, never, 0 * alike)
        return known_mean(self.strides, resemblance, least)


@dataclass(frozen=True, slots=True)
class Interval:
    """A number with the two ends of its interval."""

    value: float
    low: float
    high: float

    def holds(self, truth: float) -> bool:
        """Whether `truth` lies in the interval, its ends included."""
        return self.low <= truth <= self.high


class Told(Enum):
    """Whether a change is there; the value is the word in JSON."""

    YES = "told"
    FEW = "more-strides-tell"
    SMALL = "too-small-to-matter"


@dataclass(frozen=True, slots=True)
class StepChange:
    """The change between two steps, after minus before (negative: less eversion).

    Attributes
    ----------
    before, after : the two samples.
    interval : the change and its confidence interval.
    smallest : the smallest change that these strides can tell from noise (half the width of the
        interval).
    needed : strides in each step with which a true change of this size would be told from
        noise with the wanted probability; None when it is told already, or would take more than
        anyone walks.
    resemblance : how much each stride resembles the one before (correlation): what was stated,
        or the mean of what the strides tell.
    stated : whether it was stated, because a step has few strides.
    variance : squared standard error of the change, about.
    """

    before: Sample
    after: Sample
    interval: Interval
    smallest: float
    needed: int | None
    resemblance: float
    stated: bool
    variance: float

    @property
    def value(self) -> float:
        """After minus before."""
        return self.interval.value

    @property
    def told(self) -> bool:
        """Whether the change can be told from noise: its interval leaves out zero."""
        return not self.interval.holds(0.0)

    @property
    def state(self) -> Told:
        """Told, or told by more strides, or too small to matter."""
        if self.told:
            return Told.YES
        return Told.SMALL if self.needed is None else Told.FEW

    @property
    def more(self) -> int | None:
        """Strides to add to the step that has fewest; None when more than anyone walks."""
        if self.needed is None:
            return None
        return max(0, self.needed - min(self.before.n, self.after.n))


def sample(
    strides: Sequence[float],
    parameters: Parameters,
    single: float,
    stated: float | None = None,
    floor: float = 0.0,
    mean_of: int = 1,
) -> Sample:
    """The strides of one reading with what is taken for known about them.

    Parameters
    ----------
    strides : one number a stride, in the unit of the reading, in the order taken.
    parameters : ``trial.stride-resemblance`` stands in for `stated` where the lab knows none.
    single : the error of one reading in ``rules/measures.yaml``, in the unit of the reading.
    stated, floor : the lab's own resemblance of strides, and its error of taking marks anew.
    mean_of : strides that one number is itself the mean of.

    Raises
    ------
    ValueError
        If `strides` is empty.
    """
    if len(strides) == 0:
        raise ValueError("`strides` must hold at least one stride, was empty")
    known = parameters.trial.stride_resemblance if stated is None else stated
    return Sample(tuple(float(one) for one in strides), single, known, floor, mean_of)


def mean_interval(one: Sample, parameters: Parameters) -> Interval:
    """Confidence interval of the mean of one sample, with the error its strides share."""
    known = one.known(_resemblance([one], parameters), _least(parameters))
    return _interval(known.with_variance(one.floor**2), one.mean, parameters)


def change(before: Sample, after: Sample, parameters: Parameters) -> StepChange:
    """After minus before with an interval that bears strides which resemble each other.

    Parameters
    ----------
    before, after : strides of one foot and reading in the same gait and zero reference.
    parameters : ``trial.confidence`` and ``trial.power`` (0 to 1), ``trial.few-strides``, below
        which the stated resemblance is taken, ``trial.reading-step`` (the finest step in which
        readings are written), and ``trial.most-strides``, beyond which nobody walks.

    Notes
    -----
    1. For each resemblance r of neighbouring strides, the two means by generalised least
       squares, with spreads of their own and Welch's degrees of freedom.
    2. With 20 strides or more in both steps all r from -0.5 to 0.95 are mixed by how well they
       explain the strides; with fewer, strides tell too little of r and it is stated.
    3. Errors that all strides of a step share are added where the lab knows them.
    """
    resemblance = _resemblance([before, after], parameters)
    least = _least(parameters)
    known = _known_change(before, after, resemblance, least)
    interval = _interval(known, after.mean - before.mean, parameters)
    weights = known.weights()
    needed = None
    if interval.holds(0.0):
        one, two = (max(step.sd, least) for step in (before, after))
        needed = strides_to_tell(
            interval.value, one, two, _expected(before, after, least), parameters
        )
    return StepChange(
        before=before,
        after=after,
        interval=interval,
        smallest=(interval.high - interval.low) / 2,
        needed=needed,
        resemblance=float(weights @ resemblance),
        stated=len(resemblance) == 1,
        variance=float(weights @ known.variance),
    )


def _known_change(before: Sample, after: Sample, resemblance: Floats, least: float) -> Known:
    known = after.known(resemblance, least).less(before.known(resemblance, least))
    return known.with_variance(before.floor**2 + after.floor**2)


def _interval(known: Known, value: float, parameters: Parameters) -> Interval:
    """The interval of a number around its plain mean, which lies in it whatever is weighed."""
    low, high = known.ends(parameters.trial.confidence)
    return Interval(value, min(low, value), max(high, value))


def drift(one: Sample, parameters: Parameters) -> Interval | None:
    """How far readings drift from the first stride to the last; None when it is not told.

    A straight line through at least ``trial.few-strides`` strides that resemble their
    neighbours; told at ``trial.drift-confidence``, since many readings are looked at.
    """
    if len(one.strides) < parameters.trial.few_strides:
        return None
    known = known_drift(one.strides, every_resemblance(), _least(parameters))
    low, high = known.ends(parameters.trial.drift_confidence)
    value = float(known.weights() @ known.value)
    return None if low <= 0 <= high else Interval(value, low, high)


def strides_to_tell(
    size: float,
    sd_before: float,
    sd_after: float,
    resemblance: float,
    parameters: Parameters,
) -> int | None:
    """Strides in each of two steps that tell a true change of `size` from noise.

    Parameters
    ----------
    size : the change, in the unit of the spreads; its sign does not matter.
    sd_before, sd_after : stride-to-stride standard deviations.
    resemblance : correlation of neighbouring strides to reckon with; while they are few, the
        stated one where that is larger, as their interval will.
    parameters : as for `change`.

    Returns
    -------
    int or None
        At least 2; None when it would take more than ``trial.most-strides``.

    Notes
    -----
    The smallest n with |size| >= (t(confidence) + t(power)) times the standard error, where a
    mean of n strides has the variance s^2 (1 + r) / (n - (n - 2) r) and the degrees of freedom
    are Welch's. The sum of two t quantiles stands in for the non-central t; it is right to about
    one stride.
    """
    most = parameters.trial.most_strides
    reach = _NORMAL.inv_cdf((1 + parameters.trial.confidence) / 2)
    reach += _NORMAL.inv_cdf(parameters.trial.power)
    spread = math.hypot(sd_before, sd_after)
    if abs(size) < reach * spread * math.sqrt(share_of_variance(most, resemblance)):
        return None
    stated = max(resemblance, parameters.trial.stride_resemblance)
    few = parameters.trial.few_strides
    counts = range(2, most + 1)  # more strides tell no less, so halving finds the first
    first = bisect_left(
        counts,
        True,
        key=lambda n: _tells(
            size, sd_before, sd_after, stated if n < few else resemblance, n, parameters
        ),
    )
    return counts[first] if first < len(counts) else None


def share_of_variance(n: int, resemblance: Shares) -> Shares:
    """Variance of the mean of `n` strides as a share of that of one stride."""
    return (1 + resemblance) / (n - (n - 2) * resemblance)


_NORMAL = NormalDist()


def _tells(
    size: float, one: float, two: float, alike: float, n: int, parameters: Parameters
) -> bool:
    """Whether `n` strides a step tell `size` from noise with the wanted probability."""
    alone = math.hypot(one, two) * math.sqrt(share_of_variance(n, alike))
    if abs(size) < 2 * alone:  # t is never below the normal: spares its quantiles
        return False
    df = (n - 1) * (one**2 + two**2) ** 2 / (one**4 + two**4)
    two_sided = t_quantile((1 + parameters.trial.confidence) / 2, df)
    return abs(size) >= (two_sided + t_quantile(parameters.trial.power, df)) * alone


def _expected(before: Sample, after: Sample, least: float) -> float:
    """The resemblance to plan with: what the strides tell so far, and never below none."""
    every = every_resemblance()
    weights = after.known(every, least).less(before.known(every, least)).weights()
    return max(0.0, float(weights @ every))


def _resemblance(samples: Sequence[Sample], parameters: Parameters) -> Floats:
    """The values of r to weigh: all when every sample has enough strides, else the stated one."""
    if min(len(one.strides) for one in samples) >= parameters.trial.few_strides:
        return every_resemblance()
    return max(one.stated for one in samples) * _ONE


def _least(parameters: Parameters) -> float:
    """Spread of rounding: equal strides are rounded strides, not strides without noise."""
    return parameters.trial.reading_step / math.sqrt(12)
