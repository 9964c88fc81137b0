"""Make marks fit for measuring: undo exchanges, drop jumps, bridge short gaps, filter, level.

Nothing is mended silently: each step returns the doubts it raised.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recommend.errors import InputError, Place
from recommend.measure.doubts import EVERYTHING, Doubt, noted, removed, widened
from recommend.measure.filtering import FloatArray, Mask, bridge_gaps, low_pass_pieces, within
from recommend.measure.model import Flag
from recommend.measure.video.recording import (
    LANDING,
    LOWER_HEEL,
    LOWER_LEG,
    MARKS,
    UPPER_HEEL,
    UPPER_LEG,
    MarksRecording,
    camera_roll,
    rolled_back,
)
from recommend.parameters import Capture, Film, Parameters

_PAIRS = ((UPPER_LEG, LOWER_LEG), (UPPER_HEEL, LOWER_HEEL), (LOWER_LEG, UPPER_HEEL))
_TAKEN_OUT = "; these were taken out"
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
    capture = parameters.capture
    doubts = [_of_film(flag, parameters.film) for flag in recording.seen]
    for step in (_undo_exchanges, _drop_jumps, _drop_false_lengths, _bridge):
        recording = replace(recording, points=step(recording, doubts, capture))
    _refuse_upside_down(recording)
    mended = _levelled(recording, still, doubts, capture)
    cutoff = cutoff_of(recording, capture)
    flat = mended.points.reshape(len(mended.points), -1)
    smooth = low_pass_pieces(flat, cutoff, recording.rate_hz).reshape(mended.points.shape)
    return Cleaned(mended, replace(mended, points=smooth), doubts)


# Doubts of the film in which marks were found that concern some measures only.
_CONCERNS = {"motion-blur": LANDING, "rolling-shutter": LANDING}


def _of_film(flag: Flag, film: Film) -> Doubt:
    widen = film.doubt_widening if flag.effect == "widened" else 1.0
    return Doubt(flag, _CONCERNS.get(flag.name, EVERYTHING), widen)


def cutoff_of(recording: MarksRecording, capture: Capture) -> float:
    """Cut-off of the low-pass filter in Hz: that of the gait, or the highest the rate can bear."""
    gait = "running" if recording.gait == "running" else "walking"
    return min(capture[f"cutoff-{gait}"], capture.cutoff_most * recording.rate_hz)


def _refuse_unseen(recording: MarksRecording) -> None:
    for index, mark in enumerate(MARKS):
        if np.isnan(recording.points[:, index]).any(axis=1).all():
            raise InputError(
                Place(recording.name), f"`{mark}` is missing in every frame", "all four marks"
            )


def _refuse_upside_down(recording: MarksRecording) -> None:
    height = recording.points[..., 1]
    for upper, lower in _PAIRS[:2]:
        if _mostly_below(height[:, upper], height[:, lower]):
            raise InputError(
                Place(recording.name),
                f"`{MARKS[upper]}` lies below `{MARKS[lower]}` in most frames (marks-swapped)",
                "upper marks above lower marks",
                "exchange the two columns, or correct `y-axis`",
            )


def refuse_leg_for_heel(recording: MarksRecording) -> None:
    """Refuse marks of leg and heel that are exchanged all through.

    Raises
    ------
    InputError
        If the heel's marks lie above the leg's in most frames.
    """
    height = recording.points[..., 1]
    leg, heel = ((height[:, upper] + height[:, lower]) / 2.0 for upper, lower in _PAIRS[:2])
    if _mostly_below(leg, heel):
        raise InputError(
            Place(recording.name),
            "the marks of the heel lie above those of the leg in most frames (leg-heel-exchanged)",
            "leg marks above heel marks",
            "exchange the columns of leg and heel, or correct `y-axis`",
        )


def _mostly_below(upper: FloatArray, lower: FloatArray) -> bool:
    """Whether what should be higher is lower in most of the frames in which both are known."""
    off = upper - lower
    known = off[~np.isnan(off)]
    return bool(len(known) and np.mean(known < 0) > 0.5)


def refuse_moving(still: MarksRecording, capture: Capture) -> None:
    """Refuse a still capture in which the heel is lifted.

    Raises
    ------
    InputError
        If the heel's height ranges further than ``capture.still-range`` of the leg line.
    """
    known = still.height[~np.isnan(still.height)]
    if not len(known):
        return
    low, high = np.percentile(known, (2, 98))
    if high - low > capture.still_range * still.leg_length:
        raise InputError(
            Place(still.name),
            "the heel is lifted in the still capture (still-moves)",
            "a capture of quiet standing",
            "give the film of standing as --still, not that of walking",
        )


def _distance(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.hypot(a[..., 0] - b[..., 0], a[..., 1] - b[..., 1])


def _undo_exchanges(recording: MarksRecording, doubts: list[Doubt], capture: Capture) -> FloatArray:
    """Put back marks that stand where their neighbour should be and the other way round.

    Each frame is held against where the two frames before it lead to.
    """
    points = recording.points.copy()
    exchanged = np.zeros(len(points), dtype=bool)
    for pair in _PAIRS:
        exchanged |= _untangled(points, list(pair), capture)
    what = "two marks were exchanged"
    doubts += _mended("marks-swapped", what, " and put back", exchanged, capture)
    return points


def _untangled(points: FloatArray, pair: list[int], capture: Capture) -> Mask:
    """Exchange two marks back, in place, wherever they stand crosswise; which frames those are."""
    exchanged = np.zeros(len(points), dtype=bool)
    known = np.flatnonzero(~np.isnan(points[:, pair]).any(axis=(1, 2)))
    both = points[:, pair][known]
    moved = _distance(both[1:], both[:-1]).sum(axis=1)
    far = moved > capture.exchange_moved * _distance(both[:-1, 0], both[:-1, 1])
    doubtful = np.concatenate([[False], far])
    at = 1
    while at < len(known):
        if not (doubtful[at] or exchanged[known[at - 1]]):
            ahead = np.flatnonzero(doubtful[at:])  # frames that hardly moved are in order
            at = at + int(ahead[0]) if len(ahead) else len(known)
            continue
        seen, frame = known[max(at - 2, 0) : at].tolist(), int(known[at])
        if _crosswise(points[:, pair], seen, frame, capture):
            points[frame, pair] = points[frame, pair[::-1]]
            exchanged[frame] = True
        at += 1
    return exchanged


def _crosswise(both: FloatArray, seen: list[int], frame: int, capture: Capture) -> bool:
    """Whether two marks (frames, 2, 2) stand exchanged in a `frame`, by one or two `seen` before.

    They are led on as they went between those two.
    """
    reach, last = capture.exchange_reach, seen[-1]
    if frame - last > reach:
        return False
    ahead: FloatArray = both[last]
    if len(seen) > 1 and last - seen[0] <= reach:
        ahead = both[last] + (both[last] - both[seen[0]]) / (last - seen[0]) * (frame - last)
    straight = float(_distance(both[frame], ahead).sum())
    crosswise = float(_distance(both[frame][::-1], ahead).sum())
    apart = float(_distance(ahead[0], ahead[1]))
    return crosswise < capture.exchange_nearer * straight and straight > apart


def _drop_jumps(recording: MarksRecording, doubts: list[Doubt], capture: Capture) -> FloatArray:
    """Take out marks that leave the line between their neighbours in time further than a foot can.

    The frame that lies furthest off is taken out, not the ones beside it that seem off by half.
    """
    points = recording.points.copy()
    off = np.zeros(points.shape[:2])
    off[1:-1] = np.nan_to_num(_distance(points[1:-1], (points[:-2] + points[2:]) / 2.0))
    beside = np.zeros_like(off)
    beside[1:-1] = np.maximum(off[:-2], off[2:])
    jumped = (off > capture.jump_length * recording.leg_length) & (off >= beside)
    points[jumped] = np.nan
    rows = np.asarray(jumped.any(axis=1))
    what = "a mark moved faster than a foot can"
    doubts += _mended("implausible-velocity", what, _TAKEN_OUT, rows, capture)
    return points


def _drop_false_lengths(
    recording: MarksRecording, doubts: list[Doubt], capture: Capture
) -> FloatArray:
    """Take out frames where the leg or heel line is far longer than it usually is."""
    points = recording.points.copy()
    wrong = np.zeros(len(points), dtype=bool)
    for upper, lower in _PAIRS[:2]:
        length = _distance(points[:, upper], points[:, lower])
        usual = float(np.nanmedian(length))
        wrong |= np.nan_to_num(length) > usual * (1.0 + capture.length_limit)
    points[wrong] = np.nan
    what = "the leg or heel line was far too long"
    doubts += _mended("marks-out-of-place", what, _TAKEN_OUT, wrong, capture)
    return points


def _mended(name: str, what: str, done: str, rows: Mask, capture: Capture) -> list[Doubt]:
    """The doubt of frames in which something was mended; none where nothing was."""
    if not rows.any():
        return []
    share, text = float(rows.mean()), f"{what} in {_frames(rows)}{done}"
    if share > capture.jump_limit:
        return [removed(name, f"{text}: too many ({100 * share:.0f} %) to trust")]
    return [widened(name, text, capture.gaps_widening)]


def _bridge(recording: MarksRecording, doubts: list[Doubt], capture: Capture) -> FloatArray:
    longest = int(capture.gap_longest_ms * recording.rate_hz / 1000.0)
    flat, bridged = bridge_gaps(recording.points.reshape(len(recording.points), -1), longest)
    left = int(within(np.asarray(np.isnan(flat).any(axis=1)), longest).sum())
    if bridged > capture.gaps_few * len(flat):
        text = f"{bridged} frames with missing marks were bridged by straight lines"
        if recording.dropped:
            text += f" ({recording.dropped} frames of the file were dropped)"
        doubts.append(widened("gaps-bridged", text, capture.gaps_widening))
    if left:
        text = f"{left} frames lie in gaps too long to bridge; strides in them are left out"
        doubts.append(noted("gaps-left", text))
    return flat.reshape(recording.points.shape)


def _levelled(
    recording: MarksRecording, still: MarksRecording | None, doubts: list[Doubt], capture: Capture
) -> MarksRecording:
    """Turn the marks level by the plumb line of the still capture, or of the recording itself."""
    plumbs = [one.plumb for one in (still, recording) if one is not None and one.plumb is not None]
    roll = camera_roll(plumbs[0]) if plumbs else float("nan")
    if np.isnan(roll):
        text = "no plumb line in view: angles against the vertical stand on a level camera"
        doubts.append(noted("level-unknown", text, VERTICAL_MEASURES))
        return recording
    if abs(roll) < capture.roll_noted:
        return recording
    text = f"the camera leans {abs(roll):.1f} degrees"
    if abs(roll) > capture.roll_limit:
        text += ": too much for angles to the vertical"
        doubts.append(removed("camera-not-level", text, VERTICAL_MEASURES))
        return recording
    text += "; turned level by the plumb line"
    doubts.append(widened("camera-not-level", text, capture.roll_widening, VERTICAL_MEASURES))
    return replace(recording, points=rolled_back(recording.points, roll))


def _frames(rows: Mask) -> str:
    count = int(rows.sum())
    first = ", ".join(str(i) for i in np.flatnonzero(rows)[:5])
    more = " ..." if count > 5 else ""
    return f"{count} frames ({first}{more})" if count > 1 else f"frame {first}"
