"""How well a mean of repeated strides or steps is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist, stdev

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
    return error * student_quantile(round(max(len(values), few)) - 1) / _Z


def student_quantile(freedom: int) -> float:
    """The 97.5 % quantile of Student's t.

    Exact for 1 and 2 degrees of freedom, else the series of Cornish and Fisher (Abramowitz and
    Stegun 1964, 26.7.5), which is right to 0.4 % from 3.
    """
    if freedom == 1:
        return math.tan(0.475 * math.pi)
    if freedom == 2:
        a = 0.95
        return a * math.sqrt(2.0 / (1.0 - a * a))
    z, v = _Z, float(freedom)
    g1 = (z**3 + z) / 4
    g2 = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    g3 = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    g4 = (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160
    return z + g1 / v + g2 / v**2 + g3 / v**3 + g4 / v**4


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
    spread = stdev(values) if count > 1 else 0.0
    if count < few:
        spread = max(spread, single)
    return math.hypot(spread / math.sqrt(count), floor)
