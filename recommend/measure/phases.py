"""Stance cut into contact, midstance and propulsion, and curves put on a common stance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from recommend.parameters import Parameters

Phase = Literal["contact", "midstance", "propulsion"]
PHASES: Final[tuple[Phase, ...]] = ("contact", "midstance", "propulsion")
STANCE_POINTS: Final = 101  # 0 to 100 % of stance, one point per percent

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Mean curve over stance with its spread between strides.

    Attributes
    ----------
    mean, sd : (101,) or (101, k), at 0 to 100 % of stance; `sd` is zero for one stride.
    n : number of strides.
    unit : unit of the values.
    """

    mean: FloatArray
    sd: FloatArray
    n: int
    unit: str


def borders(parameters: Parameters) -> tuple[float, float]:
    """End of contact and end of midstance as percent of stance."""
    return parameters.capture.contact_end, parameters.capture.midstance_end


def phase_slices(parameters: Parameters) -> dict[Phase, slice]:
    """Points of a 101-point stance that belong to each phase; neighbours share none."""
    first, second = (round(border) for border in borders(parameters))
    return {
        "contact": slice(0, first),
        "midstance": slice(first, second),
        "propulsion": slice(second, STANCE_POINTS),
    }


def normalise(values: FloatArray) -> FloatArray:
    """Resample `values`, (n,) or (n, k) at even times, to (101,) or (101, k).

    The first and the last sample keep their place; between samples it is linear.
    """
    old = np.linspace(0.0, 1.0, len(values))
    new = np.linspace(0.0, 1.0, STANCE_POINTS)
    if values.ndim == 1:
        return np.interp(new, old, values)
    return np.column_stack([np.interp(new, old, column) for column in values.T])


def average(curves: Sequence[FloatArray], unit: str) -> Curve:
    """Mean and standard deviation, point by point, of curves already on 101 points."""
    stack = np.stack(curves)
    ddof = 1 if len(stack) > 1 else 0
    return Curve(stack.mean(axis=0), stack.std(axis=0, ddof=ddof), len(stack), unit)
