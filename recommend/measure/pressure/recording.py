"""A stack of pressure frames from a mat."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from recommend.measure.header import Gait
from recommend.measure.model import Side

Load = Literal["static", "dynamic"]
Frames = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class PressureRecording:
    """Frames of a pressure mat, all steps of one file.

    Attributes
    ----------
    frames : (time, rows, columns) in kPa, float32. Rows count forward in the walking direction,
        columns count to the walker's right; a recording walked the other way is recognised by
        its centre of pressure.
    pitch_mm : distance between sensor centres along rows and along columns.
    rate_hz : frames per second.
    side : the foot, or None when the file does not say.
    load : ``dynamic`` for walking or running steps, ``static`` for quiet standing.
    gait, condition : what was done and worn.
    saturation_kpa : the sensor's upper end when the file says it.
    name : file name, for messages; `device` is what took it,
        `date` the day, where the head says it.
    """

    frames: Frames
    pitch_mm: tuple[float, float]
    rate_hz: float
    side: Side | None
    load: Load
    gait: Gait
    condition: str
    saturation_kpa: float | None
    name: str
    device: str = ""
    date: datetime.date | None = None

    @property
    def cell_mm2(self) -> float:
        """Area of one sensor in mm^2."""
        return self.pitch_mm[0] * self.pitch_mm[1]

    def force(self, window: tuple[slice, slice, slice] | None = None) -> NDArray[np.float64]:
        """(time,) vertical force in N inside `window` (time, rows, columns), default all."""
        frames = self.frames if window is None else self.frames[window]
        total: NDArray[np.float64] = frames.sum(axis=(1, 2), dtype=np.float64)
        return total * (self.cell_mm2 * 1e-3)
