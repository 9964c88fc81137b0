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


def repeat_lines(found: Sequence[Repeated], defs: MeasureDefs) -> Iterator[str]:
    """One line for each measure, 80 columns."""
    heads = ("measure", "unit", "SEM (95 % interval)", "MDC", "ICC", "df")
    yield "{:<26} {:<7} {:<22} {:>6} {:>10} {:>4}".format(*heads)
    for one in found:
        digits = defs[one.measure].decimals + 1
        sem = f"{one.sem:.{digits}f} ({one.sem_low:.{digits}f} to {one.sem_high:.{digits}f})"
        name = " ".join([one.measure, *(w for q, w in one.qualifiers.items() if q == "gait")])
        mdc = f"{one.mdc:.{digits}f}"
        yield f"{name:<26} {one.unit:<7} {sem:<22} {mdc:>6} {_icc(one):>10} {one.freedom:>4}"


def _icc(one: Repeated) -> str:
    if one.icc_2 is None or one.icc_3 is None:
        kind, value = "1,1", one.icc_1
    else:
        kind, value = "2,1", one.icc_2
    return "-" if math.isnan(value) else f"{value:.2f} ({kind})"
