r"""The leg-heel angle from four marks, and the roll of the camera.

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

import math

import numpy as np
from numpy.typing import NDArray

from recommend.measure.model import Side
from recommend.measure.video.recording import LOWER_HEEL, LOWER_LEG, UPPER_HEEL, UPPER_LEG

FloatArray = NDArray[np.float64]


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
