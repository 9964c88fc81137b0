"""How well a mean of repeated strides or steps is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist, stdev

from recommend.measure.student import t_quantile

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
