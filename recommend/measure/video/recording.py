"""Marks on lower leg and heel, clicked or tracked on rear-view video."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from recommend.measure.header import Gait
from recommend.measure.model import Flag, Side

FloatArray = NDArray[np.float64]
Mark = Literal["upper-leg", "lower-leg", "upper-heel", "lower-heel"]
MARKS: Final[tuple[Mark, ...]] = ("upper-leg", "lower-leg", "upper-heel", "lower-heel")
UPPER_LEG, LOWER_LEG, UPPER_HEEL, LOWER_HEEL = range(4)


@dataclass(frozen=True, slots=True, eq=False)
class MarksRecording:
    """One leg filmed from behind.

    Attributes
    ----------
    points : (frames, 4, 2) of x and y of the `MARKS`; x to the right as seen from behind, y up;
        NaN where a mark is missing. Dropped frames stand as rows of NaN.
    unit : ``px`` or ``mm``.
    rate_hz : frames per second.
    side, gait, condition : which foot, doing what, wearing what.
    contact : (frames,) whether the foot is on the ground, or None when not recorded.
    stances : given stances as half-open spans of frames, or None.
    plumb : (frames, 2, 2) upper and lower end of a plumb line in view, or None.
    dropped : how many frame numbers were missing in the file.
    toe_out_deg : how far the foot points outwards from the line of the camera, or None when the
        file does not say.
    name : file name, for messages; `device` is what took it,
        `date` the day, where the head says it.
    seen : doubts of the film in which the marks were found.
    heel_height : (frames,) height of the lower heel mark above the ground in `unit`, where the
        distance to the camera was told; else its row stands for it.
    filmed : whether the marks were found in a film.
    centre_error : standard error of the found centre of a mark, in `unit`; 0 when not stated.
    """

    points: FloatArray
    unit: Literal["px", "mm"]
    rate_hz: float
    side: Side
    gait: Gait
    condition: str
    contact: NDArray[np.bool_] | None
    stances: tuple[tuple[int, int], ...] | None
    plumb: FloatArray | None
    dropped: int
    name: str
    toe_out_deg: float | None = None
    device: str = ""
    date: datetime.date | None = None
    seen: tuple[Flag, ...] = ()
    filmed: bool = False
    centre_error: float = 0.0
    heel_height: FloatArray | None = None

    @property
    def rate_said(self) -> str:
        """By which word the rate is put right."""
        return "`--slow-motion`" if self.filmed else "`rate-hz`"

    @property
    def height(self) -> FloatArray:
        """(frames,) how high the lower heel mark is, in `unit`, from any zero."""
        return self.points[:, LOWER_HEEL, 1] if self.heel_height is None else self.heel_height

    @property
    def leg_length(self) -> float:
        """Median distance of the two leg marks, in `unit`; the yardstick for speeds."""
        leg = self.points[:, UPPER_LEG] - self.points[:, LOWER_LEG]
        return float(np.nanmedian(np.hypot(leg[:, 0], leg[:, 1])))
