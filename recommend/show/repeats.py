"""Repeatability of a lab's measures, as a table."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from recommend.measure.definitions import MeasureDefs
from recommend.measure.repeatability import Repeated

EXPLAINED = (
    "SEM: standard error of one visit's value (in brackets its 95 % interval). MDC: the smallest "
    "change between two visits beyond error, 95 %. ICC: Shrout and Fleiss, agreement (2,1), "
    "consistency (3,1), or one-way (1,1). df: degrees of freedom the SEM stands on."
)

_ALIGNED = "<<<>>>"


def repeat_lines(found: Sequence[Repeated], defs: MeasureDefs) -> Iterator[str]:
    """One line for each measure, in columns as wide as what stands in them."""
    heads = ("measure", "unit", "SEM (95 % interval)", "MDC", "ICC", "df")
    rows = [heads, *(_cells(one, defs) for one in found)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = zip(row, widths, _ALIGNED, strict=True)
        yield " ".join(f"{text:{to}{width}}" for text, width, to in cells)


def _cells(one: Repeated, defs: MeasureDefs) -> tuple[str, ...]:
    digits = defs[one.measure].decimals + 1
    sem = f"{one.sem:.{digits}f} ({one.sem_low:.{digits}f} to {one.sem_high:.{digits}f})"
    name = " ".join([one.measure, *(w for q, w in one.qualifiers.items() if q == "gait")])
    return name, one.unit, sem, f"{one.mdc:.{digits}f}", _icc(one), str(one.freedom)


def _icc(one: Repeated) -> str:
    if one.icc_2 is None or one.icc_3 is None:
        kind, value = "1,1", one.icc_1
    else:
        kind, value = "2,1", one.icc_2
    return "-" if math.isnan(value) else f"{value:.2f} ({kind})"
