"""Before and after: a change with its interval, and how many strides would settle it.

The strides are the sample. Both steps were filmed on the same foot on the same day, so the
spread between people does not enter; the spread of the strides may differ between barefoot and
shod, so the variances are not pooled (Welch 1947, Biometrika 34:28-35). What the strides cannot
show is whether a mark was put back on the same spot: see `caution` in `recommend.trial.judge`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from recommend.trial.student import t_quantile


@dataclass(frozen=True, slots=True)
class Sample:
    """Strides of one phase in one step of a trial.

    Attributes
    ----------
    mean : in the unit of the reading (degrees, or percent of load).
    sd : stride-to-stride standard deviation, same unit.
    n : number of strides.
    assumed : True when `sd` was taken from the rulebook because one stride has no spread.
    """

    mean: float
    sd: float
    n: int
    assumed: bool = False

    @property
    def variance_of_mean(self) -> float:
        """Squared standard error of the mean."""
        return self.sd**2 / self.n


@dataclass(frozen=True, slots=True)
class Interval:
    """A number with the two ends of its interval."""

    value: float
    low: float
    high: float

    def holds(self, truth: float) -> bool:
        """Whether `truth` lies in the interval, its ends included."""
        return self.low <= truth <= self.high


@dataclass(frozen=True, slots=True)
class Change:
    """The change between two steps, after minus before (negative: less eversion).

    Attributes
    ----------
    before, after : the two samples.
    interval : the change and its confidence interval.
    smallest : the smallest change that this many strides can tell from noise (half the width
        of the interval).
    needed : strides in each step with which a true change of this size would be told from
        noise with the wanted probability; None when it is beyond any practical number.
    """

    before: Sample
    after: Sample
    interval: Interval
    smallest: float
    needed: int | None

    @property
    def value(self) -> float:
        """After minus before."""
        return self.interval.value

    @property
    def told(self) -> bool:
        """Whether the change can be told from noise: its interval leaves out zero."""
        return not self.interval.holds(0.0)

    @property
    def more(self) -> int | None:
        """Strides to add to the step that has fewest; None when beyond practice."""
        if self.needed is None:
            return None
        return max(0, self.needed - min(self.before.n, self.after.n))


def sample(strides: Sequence[float], parameters: Mapping[str, float], single: float) -> Sample:
    """Mean and spread of the strides of one phase.

    Parameters
    ----------
    strides : one number a stride, in the unit of the reading.
    parameters : ``trial.reading-step`` is the finest step in which readings are written: equal
        strides are rounded strides, not strides without noise.
    single : spread that stands in where one stride has none: the error of one reading in
        ``rules/measures.yaml``, in the unit of the reading.

    Raises
    ------
    ValueError
        If `strides` is empty.
    """
    values = np.asarray(strides, dtype=float)
    if values.size == 0:
        raise ValueError("`strides` must hold at least one stride, was empty")
    mean = float(values.mean())
    if values.size == 1:
        return Sample(mean, single, 1, assumed=True)
    rounding = parameters["trial.reading-step"] / math.sqrt(12)
    return Sample(mean, max(float(values.std(ddof=1)), rounding), int(values.size))


def mean_interval(one: Sample, confidence: float) -> Interval:
    """Confidence interval of the mean of one sample."""
    half = _half_width(one.variance_of_mean, _df([one]), confidence)
    return Interval(one.mean, one.mean - half, one.mean + half)


def change(before: Sample, after: Sample, parameters: Mapping[str, float]) -> Change:
    """After minus before with Welch's interval.

    Parameters
    ----------
    before, after : strides of one foot and phase in the same gait and zero reference.
    parameters : ``trial.confidence`` (0 to 1), ``trial.power`` (0 to 1), and
        ``trial.most-strides``, beyond which nobody films.

    Notes
    -----
    1. standard error: sqrt(s1^2/n1 + s2^2/n2);
    2. degrees of freedom after Welch and Satterthwaite;
    3. half width: t quantile times the standard error.
    A step of one stride brings the rulebook's spread, taken as known: it adds no degrees of
    freedom to lose.
    """
    confidence = parameters["trial.confidence"]
    value = after.mean - before.mean
    variance = before.variance_of_mean + after.variance_of_mean
    half = _half_width(variance, _df([before, after]), confidence)
    return Change(
        before,
        after,
        Interval(value, value - half, value + half),
        half,
        strides_to_tell(value, before.sd, after.sd, parameters),
    )


def strides_to_tell(
    size: float, sd_before: float, sd_after: float, parameters: Mapping[str, float]
) -> int | None:
    """Strides in each of two steps that tell a true change of `size` from noise.

    Parameters
    ----------
    size : the change, in the unit of the spreads; its sign does not matter.
    sd_before, sd_after : stride-to-stride standard deviations.
    parameters : as for `change`.

    Returns
    -------
    int or None
        At least 2; None when it would take more than ``trial.most-strides``.

    Notes
    -----
    The smallest n with |size| >= (t(confidence) + t(power)) sqrt((s1^2 + s2^2) / n), where
    the degrees of freedom are Welch's for n strides in each step. The sum of two t quantiles
    stands in for the non-central t; it is right to about one stride.
    """
    most = int(parameters["trial.most-strides"])
    normal = NormalDist()
    reach = normal.inv_cdf((1 + parameters["trial.confidence"]) / 2)
    reach += normal.inv_cdf(parameters["trial.power"])
    spread = math.hypot(sd_before, sd_after)
    if abs(size) * math.sqrt(most) < reach * spread:
        return None
    # The normal answer is never above that of t, and mostly one or two below it.
    first = max(2, math.ceil((reach * spread / size) ** 2))
    enough = (n for n in range(first, most + 1) if _tells(size, sd_before, sd_after, n, parameters))
    return next(enough, None)


def _tells(size: float, one: float, two: float, n: int, parameters: Mapping[str, float]) -> bool:
    """Whether `n` strides a step tell `size` from noise with the wanted probability."""
    df = _df([Sample(0.0, one, n), Sample(0.0, two, n)])
    two_sided = t_quantile((1 + parameters["trial.confidence"]) / 2, df)
    reach = two_sided + t_quantile(parameters["trial.power"], df)
    return abs(size) >= reach * math.sqrt((one**2 + two**2) / n)


def _half_width(variance: float, df: float, confidence: float) -> float:
    return t_quantile((1 + confidence) / 2, df) * math.sqrt(variance)


def _df(samples: Sequence[Sample]) -> float:
    """Degrees of freedom of a sum of means, after Welch (1947) and Satterthwaite (1946)."""
    total = sum(s.variance_of_mean for s in samples)
    loss = sum(s.variance_of_mean**2 / (s.n - 1) for s in samples if not s.assumed)
    return total**2 / loss if loss > 0 else math.inf
