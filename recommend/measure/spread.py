"""How well a mean of repeated strides or steps is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import stdev


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
