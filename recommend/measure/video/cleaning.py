"""Make marks fit for measuring: undo exchanges, drop jumps, bridge short gaps, filter, level.

Nothing is mended silently: each step returns the doubts it raised.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.measure.doubts import Doubt
from recommend.measure.filtering import bridge_gaps, low_pass_pieces
from recommend.measure.model import Flag
from recommend.measure.video.angle import camera_roll, rolled_back
from recommend.measure.video.recording import (
    LOWER_HEEL,
    LOWER_LEG,
    MARKS,
    UPPER_HEEL,
    UPPER_LEG,
    FloatArray,
    MarksRecording,
)

_WINDOW = 9  # frames of the running median that tells where a mark should be
_PAIRS = ((UPPER_LEG, LOWER_LEG), (UPPER_HEEL, LOWER_HEEL), (LOWER_LEG, UPPER_HEEL))
VERTICAL_MEASURES = ("heel-vertical-", "leg-vertical-")


def clean_marks(
    recording: MarksRecording, still: MarksRecording | None, parameters: Mapping[str, float]
) -> tuple[MarksRecording, list[Doubt]]:
    """The recording with its marks mended, filtered and levelled, and every doubt about them.

    Raises
    ------
    InputError
        If a leg or heel mark is never seen, or upper and lower marks are exchanged throughout.
    """
    _refuse_unseen(recording)
    doubts: list[Doubt] = []
    points = _undo_exchanges(recording, doubts, parameters)
    points = _drop_jumps(replace(recording, points=points), doubts, parameters)
    points = _drop_false_lengths(points, doubts, parameters)
    points = _bridge(replace(recording, points=points), doubts, parameters)
    cutoff = parameters[f"capture.cutoff-{'running' if recording.gait == 'running' else 'walking'}"]
    flat = low_pass_pieces(points.reshape(len(points), -1), cutoff, recording.rate_hz)
    cleaned = replace(recording, points=flat.reshape(points.shape))
    _refuse_upside_down(cleaned)
    return _levelled(cleaned, still, doubts, parameters), doubts


def _refuse_unseen(recording: MarksRecording) -> None:
    for index, mark in enumerate(MARKS):
        if np.isnan(recording.points[:, index]).any(axis=1).all():
            raise InputError(
                Place(recording.name), f"`{mark}` is missing in every frame", "all four marks"
            )


def _refuse_upside_down(recording: MarksRecording) -> None:
    for upper, lower in _PAIRS[:2]:
        height = recording.points[:, upper, 1] - recording.points[:, lower, 1]
        known = height[~np.isnan(height)]
        if len(known) and np.mean(known < 0) > 0.5:
            raise InputError(
                Place(recording.name),
                f"`{MARKS[upper]}` lies below `{MARKS[lower]}` in most frames (marks-swapped)",
                "upper marks above lower marks",
                "exchange the two columns, or correct `y-axis`",
            )


def running_median(values: FloatArray, window: int = _WINDOW) -> FloatArray:
    """Median of each row of (n, k) and its neighbours in time, missing values left out."""
    half = window // 2
    padded = np.pad(values, ((half, half), (0, 0)), constant_values=np.nan)
    stack = np.stack([padded[i : i + len(values)] for i in range(window)])
    empty = np.isnan(stack).all(axis=0)
    stack[0][empty] = 0.0  # nanmedian warns of columns without any number
    median = np.nanmedian(stack, axis=0)
    median[empty] = np.nan
    return np.asarray(median)


def _usual(points: FloatArray) -> FloatArray:
    return running_median(points.reshape(len(points), -1)).reshape(points.shape)


def _distance(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.hypot(a[..., 0] - b[..., 0], a[..., 1] - b[..., 1])


def _undo_exchanges(
    recording: MarksRecording, doubts: list[Doubt], parameters: Mapping[str, float]
) -> FloatArray:
    """Put back marks that stand where their neighbour should be and the other way round."""
    points, usual = recording.points.copy(), _usual(recording.points)
    exchanged = np.zeros(len(points), dtype=bool)
    for a, b in _PAIRS:
        own = _distance(points[:, a], usual[:, a]) + _distance(points[:, b], usual[:, b])
        other = _distance(points[:, a], usual[:, b]) + _distance(points[:, b], usual[:, a])
        apart = _distance(usual[:, a], usual[:, b])
        rows = (other < 0.5 * own) & (own > apart)
        points[rows, a], points[rows, b] = points[rows, b].copy(), points[rows, a].copy()
        exchanged |= rows
    if exchanged.any():
        text = f"two marks were exchanged in {_frames(exchanged)} and put back"
        doubts.append(_mended("marks-swapped", text, exchanged, parameters))
    return points


def _drop_jumps(
    recording: MarksRecording, doubts: list[Doubt], parameters: Mapping[str, float]
) -> FloatArray:
    """Take out marks that leave their course faster than a foot can move."""
    points = recording.points.copy()
    off = _distance(points, _usual(points))
    limit = parameters["capture.speed-limit"] * recording.leg_length / recording.rate_hz
    jumped = np.nan_to_num(off) > limit
    points[jumped] = np.nan
    rows = np.asarray(jumped.any(axis=1))
    if rows.any():
        text = f"a mark moved faster than a foot can in {_frames(rows)}; these were taken out"
        doubts.append(_mended("implausible-velocity", text, rows, parameters))
    return points


def _drop_false_lengths(
    points: FloatArray, doubts: list[Doubt], parameters: Mapping[str, float]
) -> FloatArray:
    """Take out frames where the leg or heel line is far longer than it usually is."""
    points = points.copy()
    wrong = np.zeros(len(points), dtype=bool)
    for upper, lower in _PAIRS[:2]:
        length = _distance(points[:, upper], points[:, lower])
        usual = float(np.nanmedian(length))
        wrong |= np.nan_to_num(length) > usual * (1.0 + parameters["capture.length-limit"])
    points[wrong] = np.nan
    if wrong.any():
        text = f"the leg or heel line was far too long in {_frames(wrong)}; these were taken out"
        doubts.append(_mended("marks-out-of-place", text, wrong, parameters))
    return points


def _mended(
    name: str, text: str, rows: NDArray[np.bool_], parameters: Mapping[str, float]
) -> Doubt:
    share = float(rows.mean())
    if share > parameters["capture.jump-limit"]:
        return Doubt(Flag(name, f"{text}: too many ({100 * share:.0f} %) to trust", "removed"))
    return Doubt(Flag(name, text, "widened"), widen=parameters["capture.gaps-widening"])


def _bridge(
    recording: MarksRecording, doubts: list[Doubt], parameters: Mapping[str, float]
) -> FloatArray:
    longest = int(parameters["capture.gap-longest-ms"] * recording.rate_hz / 1000.0)
    flat, bridged = bridge_gaps(recording.points.reshape(len(recording.points), -1), longest)
    left = int(np.isnan(flat).any(axis=1).sum())
    if bridged:
        text = f"{bridged} frames with missing marks were bridged by straight lines"
        if recording.dropped:
            text += f" ({recording.dropped} frames of the file were dropped)"
        widen = parameters["capture.gaps-widening"]
        doubts.append(Doubt(Flag("gaps-bridged", text, "widened"), widen=widen))
    if left:
        text = f"{left} frames lie in gaps too long to bridge; strides in them are left out"
        doubts.append(Doubt(Flag("gaps-left", text)))
    return flat.reshape(recording.points.shape)


def _levelled(
    recording: MarksRecording,
    still: MarksRecording | None,
    doubts: list[Doubt],
    parameters: Mapping[str, float],
) -> MarksRecording:
    """Turn the marks level by the plumb line of the still capture, or of the recording itself."""
    plumbs = [one.plumb for one in (still, recording) if one is not None and one.plumb is not None]
    roll = camera_roll(plumbs[0]) if plumbs else float("nan")
    if np.isnan(roll):
        text = "no plumb line in view: angles against the vertical stand on a level camera"
        doubts.append(Doubt(Flag("level-unknown", text), VERTICAL_MEASURES))
        return recording
    if abs(roll) < parameters["capture.roll-noted"]:
        return recording
    text = f"the camera leans {abs(roll):.1f} degrees"
    if abs(roll) > parameters["capture.roll-limit"]:
        flag = Flag("camera-not-level", f"{text}: too much for angles to the vertical", "removed")
        doubts.append(Doubt(flag, VERTICAL_MEASURES))
        return recording
    flag = Flag("camera-not-level", f"{text}; turned level by the plumb line", "widened")
    doubts.append(Doubt(flag, VERTICAL_MEASURES, parameters["capture.roll-widening"]))
    return replace(recording, points=rolled_back(recording.points, roll))


def _frames(rows: NDArray[np.bool_]) -> str:
    count = int(rows.sum())
    first = ", ".join(str(i) for i in np.flatnonzero(rows)[:5])
    return (
        f"{count} frames ({first}{' ...' if count > 5 else ''})" if count > 1 else f"frame {first}"
    )
