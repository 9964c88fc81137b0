r"""Marks on lower leg and heel on rear-view video, the leg-heel angle, and the roll of the camera.

Seen from behind, with x to the image's right and y up::

        left foot            right foot
     medial = right         medial = left

         o upper leg            o
         |                      |
         o lower leg            o
        /  upper heel            \
       o                          o
      /                            \
     o  lower heel (lateral)        o

The angle is that of the heel line against the leg line. It is positive in eversion (valgus): the
upper end of the heel leans to the medial side, its lower end to the lateral side, as drawn.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from recommend.measure.filtering import FloatArray, Mask
from recommend.measure.header import Gait
from recommend.measure.model import Flag, Side

Mark = Literal["upper-leg", "lower-leg", "upper-heel", "lower-heel"]
MARKS: Final[tuple[Mark, ...]] = ("upper-leg", "lower-leg", "upper-heel", "lower-heel")
UPPER_LEG, LOWER_LEG, UPPER_HEEL, LOWER_HEEL = range(4)
LANDING: Final = ("touchdown-angle", "rearfoot-range")  # what hangs on the instant of contact


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
    contact: Mask | None = None
    stances: tuple[tuple[int, int], ...] | None = None
    plumb: FloatArray | None = None
    dropped: int = 0
    name: str = ""
    toe_out_deg: float | None = None
    device: str = ""
    date: datetime.date | None = None
    seen: tuple[Flag, ...] = ()
    filmed: bool = False
    centre_error: float = 0.0
    heel_height: FloatArray | None = None

    @property
    def told_from_heel(self) -> bool:
        """Whether only the heel mark tells when the foot is on the ground."""
        return self.contact is None and self.stances is None

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


def medial_sign(side: Side) -> float:
    """+1 where medial is to the right as seen from behind (left foot), else -1."""
    return 1.0 if side == "left" else -1.0


def lean(upper: FloatArray, lower: FloatArray) -> FloatArray:
    """(n,) lean off the vertical in degrees of the lines `lower` to `upper`, right positive."""
    line = upper - lower
    return np.degrees(np.arctan2(line[..., 0], line[..., 1]))


def leg_heel_angle(points: FloatArray, side: Side) -> FloatArray:
    """(n,) angle of the heel against the leg in degrees, eversion positive, within 180.

    Parameters
    ----------
    points : (n, 4, 2) marks, x to the right as seen from behind, y up; NaN gives NaN.

    Notes
    -----
    Turning the camera about its axis turns both lines alike, so its roll does not matter here.
    """
    heel, leg = heel_lean(points, side), leg_lean(points, side)
    turned: FloatArray = (heel - leg + 180.0) % 360.0 - 180.0
    return turned


def heel_lean(points: FloatArray, side: Side) -> FloatArray:
    """(n,) angle of the heel against the vertical in degrees, eversion positive."""
    return medial_sign(side) * lean(points[:, UPPER_HEEL], points[:, LOWER_HEEL])


def leg_lean(points: FloatArray, side: Side) -> FloatArray:
    """(n,) angle of the leg against the vertical in degrees, upper end medial positive."""
    return medial_sign(side) * lean(points[:, UPPER_LEG], points[:, LOWER_LEG])


def camera_roll(plumb: FloatArray) -> float:
    """Lean of a plumb line in the picture in degrees, right positive; NaN when never marked."""
    leans = lean(plumb[:, 0], plumb[:, 1])
    return float(np.nanmedian(leans)) if not np.isnan(leans).all() else math.nan


def rolled_back(points: FloatArray, roll_deg: float) -> FloatArray:
    """The points turned so that a line leaning `roll_deg` to the right stands upright."""
    angle = math.radians(roll_deg)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    turned: FloatArray = points @ turn
    return turned
