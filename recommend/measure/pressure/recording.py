"""A stack of pressure frames from a mat, where a foot lies on it, and where the foot bears.

Foot coordinates: ``x`` in mm from the foot axis, lateral positive; ``y`` in mm forward along the
axis from the back of the heel. The axis runs from the centre of the heel to the second ray.
"""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from recommend.measure.filtering import FloatArray
from recommend.measure.header import Gait
from recommend.measure.model import Side
from recommend.parameters import Capture

Load = Literal["static", "dynamic"]
Frames = NDArray[np.float32]
_REFINEMENTS = 4  # the axis settles to well below one sensor in three rounds


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
    rate_said: ClassVar[str] = "`rate-hz`"  # by which word the rate is put right

    @property
    def cell_mm2(self) -> float:
        """Area of one sensor in mm^2."""
        return self.pitch_mm[0] * self.pitch_mm[1]

    def force(self) -> FloatArray:
        """(time,) vertical force in N."""
        total: FloatArray = self.frames.sum(axis=(1, 2), dtype=np.float64)
        return total * (self.cell_mm2 * 1e-3)


@dataclass(frozen=True, slots=True, eq=False)
class FootFrame:
    """Where a foot lies on the mat.

    Attributes
    ----------
    origin : (2,) mat position in mm (right, forward) of the axis at the back of the heel.
    forward : (2,) unit vector of the foot axis in mat coordinates.
    side : ``left`` or ``right``; decides which way is lateral.
    length_mm : from the back of the heel to the front of the contact, toes included.
    """

    origin: FloatArray
    forward: FloatArray
    side: Side
    length_mm: float

    @property
    def lateral(self) -> FloatArray:
        """(2,) unit vector to the lateral side in mat coordinates."""
        sign = 1.0 if self.side == "right" else -1.0
        return sign * np.array([self.forward[1], -self.forward[0]])

    @property
    def toe_out_deg(self) -> float:
        """Angle of the axis from the mat's rows, toes outward positive, in degrees."""
        along = math.copysign(1.0, self.forward[1])
        sign = along if self.side == "right" else -along
        return math.degrees(math.atan2(sign * self.forward[0], abs(self.forward[1])))

    def to_foot(self, points: FloatArray) -> FloatArray:
        """(n, 2) of x and y in the foot from (n, 2) of mat positions in mm."""
        moved = points - self.origin
        return np.column_stack([moved @ self.lateral, moved @ self.forward])

    def to_mat(self, points: FloatArray) -> FloatArray:
        """(n, 2) of mat positions in mm from (n, 2) of x and y in the foot."""
        return self.origin + points[:, :1] * self.lateral + points[:, 1:] * self.forward


def cell_positions(shape: tuple[int, ...], pitch_mm: tuple[float, float]) -> FloatArray:
    """(rows, columns, 2) centres of the sensors in mm: right, forward."""
    rows, columns = np.indices(shape[-2:], dtype=np.float64)
    return np.stack([columns * pitch_mm[1], rows * pitch_mm[0]], axis=-1)


def walking_direction(path_mm: FloatArray) -> FloatArray:
    """(2,) unit vector from the first to the last point of a centre-of-pressure path."""
    step = path_mm[-1] - path_mm[0]
    size = float(np.hypot(*step))
    return step / size if size > 0 else np.array([0.0, 1.0])


def find_frame(
    peak: Frames,
    pitch_mm: tuple[float, float],
    heading: FloatArray,
    side: Side,
    capture: Capture,
    *,
    second_ray: float | None = None,
) -> FootFrame:
    """Frame of the foot whose peak map is `peak`.

    Parameters
    ----------
    peak : (rows, columns) in kPa, zero where there is no contact.
    heading : (2,) rough direction of walking in mat coordinates.
    parameters : uses ``capture.heel-share``, ``capture.forefoot-low``,
        ``capture.forefoot-high``, ``capture.second-ray`` and ``capture.edge-share``.
    second_ray : another place of the second ray across the forefoot than the parameters'.

    Notes
    -----
    1. The first axis is the long axis of the contact area, turned to `heading`.
    2. The heel centre is the middle of the contact's rear share.
    3. The second ray stands at a share of the width of the forefoot from its medial border.
    4. The axis joins the two; 2 to 4 are repeated until it settles.
    """
    points = cell_positions(peak.shape, pitch_mm)[peak > 0]
    edge = (capture.edge_share - 0.5) * max(pitch_mm)
    frame = FootFrame(points.mean(axis=0), _long_axis(points, heading), side, 0.0)
    across = capture.second_ray if second_ray is None else second_ray
    for _ in range(_REFINEMENTS):
        frame = _refined(frame, points, edge, across, capture)
    return frame


def _long_axis(points: FloatArray, heading: FloatArray) -> FloatArray:
    centred = points - points.mean(axis=0)
    _, _, vectors = np.linalg.svd(centred, full_matrices=False)
    axis: FloatArray = vectors[0]
    return axis if axis @ heading >= 0 else -axis


def _refined(
    frame: FootFrame, points: FloatArray, edge: float, second_ray: float, capture: Capture
) -> FootFrame:
    foot = frame.to_foot(points)
    back, front = foot[:, 1].min() - edge, foot[:, 1].max() + edge
    length = front - back
    share = (foot[:, 1] - back) / length
    heel = foot[share <= capture.heel_share]
    fore = foot[(share >= capture.forefoot_low) & (share <= capture.forefoot_high)]
    if not len(fore):  # contact without a forefoot: keep the long axis
        fore = foot
    heel_point = np.array([(heel[:, 0].min() + heel[:, 0].max()) / 2.0, heel[:, 1].mean()])
    medial, lateral = fore[:, 0].min(), fore[:, 0].max()
    ray = medial + second_ray * (lateral - medial)
    front_point = np.array([ray, fore[:, 1].mean()])
    ends = frame.to_mat(np.stack([heel_point, front_point]))
    forward = walking_direction(ends)
    turned = FootFrame(ends[0], forward, frame.side, 0.0)
    ys = turned.to_foot(points)[:, 1]
    origin = ends[0] + forward * (ys.min() - edge)
    return FootFrame(origin, forward, frame.side, float(ys.max() - ys.min() + 2.0 * edge))


def tell_side(
    peak: Frames, pitch_mm: tuple[float, float], heading: FloatArray, capture: Capture
) -> tuple[Side, float]:
    """Left or right from the shape of the footprint, and how clearly (0 not at all, 1 fully).

    Notes
    -----
    Two traits of every foot are read in the frame of its long axis, as shares of its width: the
    midfoot bears on the lateral side of the line from heel to forefoot, and the contact reaches
    furthest forward on the medial side, at the hallux. Their sum is the evidence.
    """
    # The middle ray favours neither side.
    right = find_frame(peak, pitch_mm, heading, "right", capture, second_ray=0.5)
    points = cell_positions(peak.shape, pitch_mm)[peak > 0]
    foot = right.to_foot(points)
    share = foot[:, 1] / right.length_mm
    width = max(float(np.ptp(foot[:, 0])), 1.0)
    low, high = capture.midfoot_low, capture.midfoot_high
    midfoot = foot[(share > low) & (share < high), 0]
    front = foot[share > capture.toes_low, 0]
    trait = 0.0
    if len(midfoot):
        trait += float(midfoot.mean()) / width
    if len(front):
        trait -= float(front.mean()) / width
    side: Side = "right" if trait > 0 else "left"
    return side, min(abs(trait) / capture.side_clear, 1.0)


def centre_of_pressure(
    frames: Frames, pitch_mm: tuple[float, float], trim_n: float
) -> tuple[FloatArray, FloatArray]:
    """Force-weighted centroid of each frame.

    Parameters
    ----------
    frames : (time, rows, columns) in kPa.
    pitch_mm : sensor pitch along rows and columns.
    trim_n : frames at the start and end below this force in N are left out, because a few
        sensors then set the path's ends, and with them the excursion index.

    Returns
    -------
    path : (n, 2) mat positions in mm, right and forward.
    force : (n,) in N.

    Notes
    -----
    A mat feels vertical force only; a force plate's centre of pressure also holds the moments of
    shear and differs by some millimetres.
    """
    force = frames.sum(axis=(1, 2), dtype=np.float64) * (pitch_mm[0] * pitch_mm[1] * 1e-3)
    kept = np.flatnonzero(force > trim_n)
    if not len(kept):
        return np.empty((0, 2)), np.empty(0)
    window = slice(int(kept[0]), int(kept[-1]) + 1)
    inside = frames[window]
    positions = cell_positions(inside.shape, pitch_mm)
    total = inside.sum(axis=(1, 2), dtype=np.float64)
    column_sums = inside.sum(axis=1, dtype=np.float64)
    row_sums = inside.sum(axis=2, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        right = column_sums @ positions[0, :, 0] / total
        forward = row_sums @ positions[:, 0, 1] / total
    path = np.column_stack([right, forward])
    loaded = np.isfinite(path).all(axis=1)  # a dip to zero inside the step leaves a gap
    return path[loaded], force[window][loaded]
