"""How well a value is known: the error of a mean of strides or steps, and what it is made of.

Student's t stands here without scipy, which would bring 0.3 s of start-up and 100 MB for the one
quantile, of a fractional number of degrees of freedom, that the interval of a change needs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field
from functools import lru_cache
from statistics import NormalDist, stdev
from typing import Final

import numpy as np
from numpy.typing import NDArray

from recommend.dataclass import dataclass

_Z = NormalDist().inv_cdf(0.975)


def scatter_error(values: Sequence[float], *, single: float, few: float) -> float:
    """Standard error of the mean of `values` as `standard_error`, honest for small samples too.

    A spread that is itself read from a few values is often too small. The error is made larger
    by the quantile of Student's t over that of the normal curve, so that 1.96 of it hold 95 %.
    Below `few` readings the usual error of one stands in for the readings that are not there.
    """
    error = standard_error(values, single=single, few=few)
    if len(values) < 2:
        return error
    return error * t_quantile(0.975, round(max(len(values), few)) - 1) / _Z


def standard_error(
    values: Sequence[float], *, single: float, few: float, floor: float = 0.0
) -> float:
    """Standard error of the mean of `values`, honest for few of them.

    From the scatter of the readings when there are at least `few` of them; with fewer, the
    larger of that and the usual error of one reading over the square root of their number.

    Parameters
    ----------
    values : readings of one measure, one per stride or step, at least one.
    single : usual error of one reading, in the unit of `values`.
    few : readings from which their own scatter is trusted by itself.
    floor : error that repeating cannot remove (marks, sensor grid), added in quadrature.
    """
    count = len(values)
    spread = _scatter(tuple(values)) if count > 1 else 0.0
    if count < few:
        spread = max(spread, single)
    return math.hypot(spread / math.sqrt(count), floor)


@lru_cache(maxsize=1000)  # the same strides are asked about again and again, and this is slow
def _scatter(values: tuple[float, ...]) -> float:
    return stdev(values)


_TINY = 1e-300
_STEPS = 500  # the continued fraction needs about sqrt(max(a, b)) terms; this is a guard
_NORMAL_FROM = 1e6  # beyond this many degrees of freedom t is the normal to 5 digits


def t_cdf(t: float, df: float) -> float:
    """Probability that Student's t with `df` degrees of freedom is at most `t`.

    Parameters
    ----------
    t : point, no unit.
    df : degrees of freedom, above 0, need not be whole.

    Notes
    -----
    P(T <= t) = 1 - I(x; df/2, 1/2) / 2 for t >= 0, with x = df / (df + t^2) and I the
    regularised incomplete beta function (NIST Digital Library of Mathematical Functions, 8.17).
    """
    if df <= 0:
        raise ValueError(f"`df` must be above 0, was {df}")
    if df >= _NORMAL_FROM:
        return NormalDist().cdf(t)
    tail = incomplete_beta(df / (df + t * t), df / 2, 0.5) / 2
    return 1 - tail if t >= 0 else tail


@lru_cache(maxsize=4096)
def t_quantile(p: float, df: float) -> float:
    """The value that Student's t with `df` degrees of freedom stays below with probability `p`.

    Parameters
    ----------
    p : probability, strictly between 0 and 1.
    df : degrees of freedom, above 0, need not be whole.

    Raises
    ------
    ValueError
        If `p` or `df` is out of range.

    Notes
    -----
    1. A bracket is doubled until it holds the quantile.
    2. Newton's method with the density as slope; a step that leaves the bracket is replaced by
       halving it, so the iteration cannot run away for one or two degrees of freedom.

    Examples
    --------
    >>> round(t_quantile(0.975, 10), 3)
    2.228
    """
    if not 0 < p < 1:
        raise ValueError(f"`p` must be between 0 and 1, was {p}")
    if df >= _NORMAL_FROM:
        return NormalDist().inv_cdf(p)
    if p < 0.5:
        return -t_quantile(1 - p, df)
    low, high = 0.0, 2.0
    while t_cdf(high, df) < p:
        low, high = high, high * 2
    t = min(max(NormalDist().inv_cdf(p), low), high)
    for _ in range(200):
        miss = t_cdf(t, df) - p
        low, high = (low, t) if miss > 0 else (t, high)
        step = t - miss / _density(t, df)
        new = step if low < step < high else (low + high) / 2
        if abs(new - t) <= 1e-13 * max(1.0, t):
            return new
        t = new
    return t


def normal_deviates(t: NDArray[np.float64], df: NDArray[np.float64]) -> NDArray[np.float64]:
    """The normal deviates that are as probable as these values of Student's t.

    Parameters
    ----------
    t : (k,) values.
    df : (k,) degrees of freedom, at least 15 (then right to 7 digits); infinite gives `t` itself.

    Notes
    -----
    Hill 1970, Communications of the ACM 13:617-619 (algorithm 395).
    """
    known = np.minimum(df, _NORMAL_FROM)
    a = known - 0.5
    b = 48 * a**2
    z = np.sign(t) * np.sqrt(a * np.log1p(t * t / known))
    further = (((4 * z**2 + 33) * z**2 + 240) * z**2 + 855) * z / (10 * b * (b + 0.8 * z**4 + 100))
    return np.asarray(z + (z**3 + 3 * z) / b - further)


def incomplete_beta(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I(x; a, b), for 0 <= x <= 1.

    Notes
    -----
    The continued fraction of the NIST Digital Library of Mathematical Functions, 8.17.22,
    evaluated from the front by Lentz's method; I(x; a, b) = 1 - I(1 - x; b, a) is used on the
    side where the fraction converges slowly.
    """
    if x <= 0 or x >= 1:
        return float(x >= 1)
    if x > (a + 1) / (a + b + 2):
        return 1 - incomplete_beta(1 - x, b, a)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    log_front += a * math.log(x) + b * math.log1p(-x)
    return math.exp(log_front) / a / _beta_fraction(x, a, b)


def _beta_fraction(x: float, a: float, b: float) -> float:
    """1 + d1/(1 + d2/(1 + ...)) of DLMF 8.17.22 by Lentz's method."""
    value, c, d = 1.0, 1.0, 0.0
    for step in range(1, _STEPS):
        m, odd = divmod(step, 2)
        if odd:
            term = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            term = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        d = 1 / (1 + term * d or _TINY)
        c = 1 + term / c or _TINY
        value *= c * d
        if abs(c * d - 1) < 1e-15:
            break
    return value


def _density(t: float, df: float) -> float:
    log_constant = math.lgamma((df + 1) / 2) - math.lgamma(df / 2) - math.log(df * math.pi) / 2
    return math.exp(log_constant - (df + 1) / 2 * math.log1p(t * t / df))


# What the terms are, for people. `scatter` is seen between strides or steps and shrinks with
# their number; the others stay.
TERMS: Final[Mapping[str, str]] = {
    "scatter": "strides or steps, with their noise",
    "landing": "reading back to contact",
    "events": "contact told from the heel",
    "flat": "how flat the peak is",
    "placing": "placing of the marks",
    "centres": "centres of the marks",
    "toe-out": "toe-out to the camera",
    "level": "leaning camera",
    "grid": "sensor pitch",
    "rate": "frame rate",
    "threshold": "contact threshold",
    "doubts": "doubts",
}


@dataclass(frozen=True, slots=True)
class Budget:
    """Standard errors by term, in the unit of the measure; they add up in quadrature."""

    terms: Mapping[str, float] = field(default_factory=dict)

    @property
    def total(self) -> float:
        """The standard error of the measure."""
        return math.hypot(*self.terms.values())

    def plus(self, **terms: float) -> Budget:
        """The same with more terms; one that is there already grows in quadrature."""
        joined = dict(self.terms)
        for name, value in terms.items():
            key = name.replace("_", "-")
            joined[key] = math.hypot(joined.get(key, 0.0), value)
        return Budget(joined)

    def widened_to(self, error: float) -> Budget:
        """The same with what doubts add, so that it comes to `error`."""
        added = math.sqrt(max(error**2 - self.total**2, 0.0))
        return self.plus(doubts=added) if added > 1e-9 * error else self
