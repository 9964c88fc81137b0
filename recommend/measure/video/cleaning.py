"""Make marks fit for measuring: undo exchanges, drop jumps, bridge short gaps, filter, level.

Nothing is mended silently: each step returns the doubts it raised.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.measure.doubts import EVERYTHING, Doubt
from recommend.measure.filtering import bridge_gaps, low_pass_pieces
from recommend.measure.model import Flag
from recommend.measure.spans import within
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
from recommend.parameters import Parameters

_REACH = 5  # frames over which marks are followed; after a longer gap they begin anew
_PAIRS = ((UPPER_LEG, LOWER_LEG), (UPPER_HEEL, LOWER_HEEL), (LOWER_LEG, UPPER_HEEL))
VERTICAL_MEASURES = ("heel-vertical-", "leg-vertical-")


@dataclass(frozen=True, slots=True, eq=False)
class Cleaned:
    """Marks fit for measuring: `mended` and levelled, and the same low-pass filtered as `smooth`.

    `doubts` are all that was noticed on the way.
    """

    mended: MarksRecording
    smooth: MarksRecording
    doubts: list[Doubt]


def clean_marks(
    recording: MarksRecording, still: MarksRecording | None, parameters: Parameters
) -> Cleaned:
    """The recording with its marks mended and levelled, filtered too, and every doubt about them.

    Raises
    ------
    InputError
        If a leg or heel mark is never seen, or upper and lower marks are exchanged throughout.
    """
    _refuse_unseen(recording)
    doubts = [_of_film(flag, parameters) for flag in recording.seen]
    points = _undo_exchanges(recording, doubts, parameters)
    points = _drop_jumps(replace(recording, points=points), doubts, parameters)
    points = _drop_false_lengths(points, doubts, parameters)
    points = _bridge(replace(recording, points=points), doubts, parameters)
    _refuse_upside_down(replace(recording, points=points))
    mended = _levelled(replace(recording, points=points), still, doubts, parameters)
    cutoff = cutoff_of(recording, parameters)
    flat = low_pass_pieces(mended.points.reshape(len(points), -1), cutoff, recording.rate_hz)
    return Cleaned(mended, replace(mended, points=flat.reshape(points.shape)), doubts)


# Doubts of the film in which marks were found that concern some measures only.
_LANDING = ("touchdown-angle", "rearfoot-range")
_CONCERNS = {"motion-blur": _LANDING, "rolling-shutter": _LANDING}


def _of_film(flag: Flag, parameters: Parameters) -> Doubt:
    concerns = _CONCERNS.get(flag.name, EVERYTHING)
    widen = parameters.film.doubt_widening if flag.effect == "widened" else 1.0
    return Doubt(flag, concerns, widen)


def cutoff_of(recording: MarksRecording, parameters: Parameters) -> float:
    """Cut-off of the low-pass filter in Hz: that of the gait, or the highest the rate can bear."""
    gait = "running" if recording.gait == "running" else "walking"
    return min(
        parameters.capture[f"cutoff-{gait}"], parameters.capture.cutoff_most * recording.rate_hz
    )


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


def _distance(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.hypot(a[..., 0] - b[..., 0], a[..., 1] - b[..., 1])


def _undo_exchanges(
    recording: MarksRecording, doubts: list[Doubt], parameters: Parameters
) -> FloatArray:
    """Put back marks that stand where their neighbour should be and the other way round.

    Each frame is held against where the two frames before it lead to.
    """
    points = recording.points.copy()
    exchanged = np.zeros(len(points), dtype=bool)
    for pair in _PAIRS:
        exchanged |= _untangled(points, list(pair))
    if exchanged.any():
        text = f"two marks were exchanged in {_frames(exchanged)} and put back"
        doubts.append(_mended("marks-swapped", text, exchanged, parameters))
    return points


def _untangled(points: FloatArray, pair: list[int]) -> NDArray[np.bool_]:
    """Exchange two marks back, in place, wherever they stand crosswise; which frames those are."""
    exchanged = np.zeros(len(points), dtype=bool)
    known = np.flatnonzero(~np.isnan(points[:, pair]).any(axis=(1, 2)))
    doubtful = _moved_far(points[:, pair][known])
    at = 1
    while at < len(known):
        if not (doubtful[at] or exchanged[known[at - 1]]):
            ahead = np.flatnonzero(doubtful[at:])  # frames that hardly moved are in order
            at = at + int(ahead[0]) if len(ahead) else len(known)
            continue
        before = int(known[at - 2]) if at > 1 else None
        frame = int(known[at])
        if _crosswise(points, pair, before, int(known[at - 1]), frame):
            points[frame, pair] = points[frame, pair[::-1]]
            exchanged[frame] = True
        at += 1
    return exchanged


def _moved_far(both: FloatArray) -> NDArray[np.bool_]:
    """(n,) whether two marks (n, 2, 2) moved, since the frame before, like marks exchanged."""
    moved = _distance(both[1:], both[:-1]).sum(axis=1)
    apart = _distance(both[:-1, 0], both[:-1, 1])
    return np.concatenate([[False], moved > 0.5 * apart])


def _crosswise(
    points: FloatArray, pair: list[int], before: int | None, last: int, frame: int
) -> bool:
    if frame - last > _REACH:
        return False
    ahead = _led_to(points[:, pair], before, last, frame)
    straight = float(_distance(points[frame, pair], ahead).sum())
    crosswise = float(_distance(points[frame, pair[::-1]], ahead).sum())
    apart = float(_distance(ahead[0], ahead[1]))
    return crosswise < 0.5 * straight and straight > apart


def _led_to(points: FloatArray, before: int | None, last: int, frame: int) -> FloatArray:
    """(2, 2) where two marks would be at `frame` if they went on as from `before` to `last`."""
    ahead: FloatArray = points[last]
    if before is None or last - before > _REACH:
        return ahead
    going: FloatArray = (points[last] - points[before]) / (last - before)
    ahead = points[last] + going * (frame - last)
    return ahead


def _drop_jumps(
    recording: MarksRecording, doubts: list[Doubt], parameters: Parameters
) -> FloatArray:
    """Take out marks that leave the line between their neighbours in time further than a foot can.

    The frame that lies furthest off is taken out, not the ones beside it that seem off by half.
    """
    points = recording.points.copy()
    off = np.zeros(points.shape[:2])
    off[1:-1] = np.nan_to_num(_distance(points[1:-1], (points[:-2] + points[2:]) / 2.0))
    beside = np.zeros_like(off)
    beside[1:-1] = np.maximum(off[:-2], off[2:])
    jumped = (off > parameters.capture.jump_length * recording.leg_length) & (off >= beside)
    points[jumped] = np.nan
    rows = np.asarray(jumped.any(axis=1))
    if rows.any():
        text = f"a mark moved faster than a foot can in {_frames(rows)}; these were taken out"
        doubts.append(_mended("implausible-velocity", text, rows, parameters))
    return points


def _drop_false_lengths(
    points: FloatArray, doubts: list[Doubt], parameters: Parameters
) -> FloatArray:
    """Take out frames where the leg or heel line is far longer than it usually is."""
    points = points.copy()
    wrong = np.zeros(len(points), dtype=bool)
    for upper, lower in _PAIRS[:2]:
        length = _distance(points[:, upper], points[:, lower])
        usual = float(np.nanmedian(length))
        wrong |= np.nan_to_num(length) > usual * (1.0 + parameters.capture.length_limit)
    points[wrong] = np.nan
    if wrong.any():
        text = f"the leg or heel line was far too long in {_frames(wrong)}; these were taken out"
        doubts.append(_mended("marks-out-of-place", text, wrong, parameters))
    return points


def _mended(name: str, text: str, rows: NDArray[np.bool_], parameters: Parameters) -> Doubt:
    share = float(rows.mean())
    if share > parameters.capture.jump_limit:
        return Doubt(Flag(name, f"{text}: too many ({100 * share:.0f} %) to trust", "removed"))
    return Doubt(Flag(name, text, "widened"), widen=parameters.capture.gaps_widening)


def _bridge(recording: MarksRecording, doubts: list[Doubt], parameters: Parameters) -> FloatArray:
    longest = int(parameters.capture.gap_longest_ms * recording.rate_hz / 1000.0)
    flat, bridged = bridge_gaps(recording.points.reshape(len(recording.points), -1), longest)
    left = int(within(np.asarray(np.isnan(flat).any(axis=1)), longest).sum())
    if bridged > parameters.capture.gaps_few * len(flat):
        text = f"{bridged} frames with missing marks were bridged by straight lines"
        if recording.dropped:
            text += f" ({recording.dropped} frames of the file were dropped)"
        widen = parameters.capture.gaps_widening
        doubts.append(Doubt(Flag("gaps-bridged", text, "widened"), widen=widen))
    if left:
        text = f"{left} frames lie in gaps too long to bridge; strides in them are left out"
        doubts.append(Doubt(Flag("gaps-left", text)))
    return flat.reshape(recording.points.shape)


def _levelled(
    recording: MarksRecording,
    still: MarksRecording | None,
    doubts: list[Doubt],
    parameters: Parameters,
) -> MarksRecording:
    """Turn the marks level by the plumb line of the still capture, or of the recording itself."""
    plumbs = [one.plumb for one in (still, recording) if one is not None and one.plumb is not None]
    roll = camera_roll(plumbs[0]) if plumbs else float("nan")
    if np.isnan(roll):
        text = "no plumb line in view: angles against the vertical stand on a level camera"
        doubts.append(Doubt(Flag("level-unknown", text), VERTICAL_MEASURES))
        return recording
    if abs(roll) < parameters.capture.roll_noted:
        return recording
    text = f"the camera leans {abs(roll):.1f} degrees"
    if abs(roll) > parameters.capture.roll_limit:
        flag = Flag("camera-not-level", f"{text}: too much for angles to the vertical", "removed")
        doubts.append(Doubt(flag, VERTICAL_MEASURES))
        return recording
    flag = Flag("camera-not-level", f"{text}; turned level by the plumb line", "widened")
    doubts.append(Doubt(flag, VERTICAL_MEASURES, parameters.capture.roll_widening))
    return replace(recording, points=rolled_back(recording.points, roll))


def _frames(rows: NDArray[np.bool_]) -> str:
    count = int(rows.sum())
    first = ", ".join(str(i) for i in np.flatnonzero(rows)[:5])
    return (
        f"{count} frames ({first}{' ...' if count > 5 else ''})" if count > 1 else f"frame {first}"
    )
