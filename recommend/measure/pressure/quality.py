"""Doubts about pressure frames: sensors that fail, steps that are not whole, unclear sides."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.measure.doubts import Doubt, noted, removed, too_few, widened, wrong_force
from recommend.measure.filtering import FloatArray, Mask
from recommend.measure.pressure.footsteps import Footstep
from recommend.measure.pressure.recording import (
    Frames,
    PressureRecording,
    centre_of_pressure,
    walking_direction,
)
from recommend.parameters import Capture

_BASELINE_SENSORS = 150  # so many tell the baseline as well as all of them
SIDED_MEASURES = ("cpei", "cop-", "medial-lateral-", "peak-", "integral-", "toe-out")
SIZE_MEASURES = ("footprint-", "cop-path", "cop-excursion", "cop-shift")
LOAD_MEASURES = ("peak-", "integral-", "arch-index-weighted", "cpei", "cop-", "medial-lateral-")


@dataclass(frozen=True, slots=True)
class Rejected:
    """A step left out, counted from 1, and why (a flag's name and words)."""

    number: int
    name: str
    why: str


def refuse_still(recording: PressureRecording, capture: Capture) -> None:
    """Refuse a still capture that calls itself one of steps, and the other way round.

    Raises
    ------
    InputError
        If a foot bears all through, as no step does that begins and ends; or if the load of a
        still capture travels as that of a step.
    """
    flat = recording.frames.reshape(len(recording.frames), -1)
    base = np.median(flat[:, :: _every(recording)], axis=1) * flat.shape[1]
    bears = (flat.sum(axis=1) - base) * recording.cell_mm2 * 1e-3
    least = max(capture.step_force, capture.still_force * float(bears.max()))
    if recording.load == "static":
        path, _ = centre_of_pressure(recording.frames[bears >= least], recording.pitch_mm, 0.0)
        wrong = len(path) and float(np.ptp(path, axis=0).max()) > capture.still_travel
        said = (
            "the load travels over the foot in this recording: it is of steps, not a still capture",
            "`load: dynamic` for steps",
            "write `load: dynamic` in the head, or record quiet standing alone",
        )
    else:
        wrong = bears.min() >= least
        said = (
            "the foot bears all through this recording: it is a still capture, not steps",
            "`load: static` for standing",
            "write `load: static` in the head, or record from before the foot lands",
        )
    if wrong:
        raise InputError(Place(recording.name), *said)


def _every(recording: PressureRecording) -> int:
    """Each how many sensors one is looked at for the baseline."""
    return max(int(recording.frames[0].size) // _BASELINE_SENSORS, 1)


def repair_sensors(recording: PressureRecording, capture: Capture) -> list[Doubt]:
    """Refuse negative load, replace dead sensors in place, and find saturation.

    Dead sensors read nothing (or NaN) while all their neighbours bear, or read load all the
    time; they take the mean of their neighbours that work.

    Raises
    ------
    InputError
        If pressures lie further below zero than the contact threshold.
    """
    frames = recording.frames
    _refuse_negative(recording, capture.contact_threshold)
    doubts = _without_baseline(recording, capture)
    dead = _dead_sensors(recording, capture)
    if dead.any():
        _replace(frames, dead)
        doubts.append(_dead_doubt(dead, frames, capture))
    saturated = _saturated_count(recording, capture)
    if saturated:
        text = f"{saturated} sensors read the mat's upper end; true pressures are higher there"
        widen = capture.saturated_widening
        doubts.append(widened("saturated-sensors", text, widen, LOAD_MEASURES))
    return doubts


def _refuse_negative(recording: PressureRecording, threshold: float) -> None:
    frames = recording.frames
    lowest = float(np.fmin.reduce(frames, axis=None))  # without a copy of a large recording
    if lowest < -threshold:
        raise InputError(
            Place(recording.name),
            f"the lowest pressure is {lowest:.0f} kPa",
            "pressures from 0",
            "zero the mat before recording, and check the unit",
        )
    if lowest < 0:
        np.maximum(frames, 0.0, out=frames)


def _without_baseline(recording: PressureRecording, capture: Capture) -> list[Doubt]:
    """Take off what unloaded sensors read, frame by frame, in place.

    A foot covers less than half of the mat, so half of the sensors tell what no load reads.
    """
    frames = recording.frames
    if recording.load == "static" or np.isnan(frames.max(axis=0)).any():
        return []
    sample = frames.reshape(len(frames), -1)[:, :: _every(recording)]
    base = np.median(sample, axis=1)
    highest = float(base.max())
    if highest < capture.baseline_noted:
        return []
    frames -= base[:, None, None].astype(np.float32)
    np.maximum(frames, 0.0, out=frames)
    text = f"unloaded sensors read up to {highest:.0f} kPa, which was taken off; zero the mat"
    return [widened("baseline-removed", text, capture.dead_widening)]


def _dead_lines(known: NDArray[Any], capture: Capture) -> Mask:
    """Sensors of whole rows or columns that never read contact between two that bear.

    Between toes and metatarsal heads a row may be silent in life, but pressure falls towards it
    from both sides. Where few sensors bear beside a silent row, it is therefore dead where what
    bears on each side leads on to a load in it.
    """
    dead = np.zeros(known.shape, dtype=bool)
    least = capture.dead_surround
    for view in (known, known.T):
        silent = view.max(axis=1) < capture.contact_threshold
        bears = view >= least
        both = bears[:-2] & bears[2:]
        beside = np.pad(view, 1)
        line = np.maximum(np.maximum(beside[:, :-2], beside[:, 2:]), beside[:, 1:-1])  # feet slant
        led = np.minimum(2 * line[1:-3] - line[:-4], 2 * line[3:-1] - line[4:]) >= least
        broad = both.sum(axis=1) >= capture.dead_line
        narrow = (led & (bears[:-2] | bears[2:])).sum(axis=1) >= capture.dead_line_led
        lines = np.flatnonzero(silent[1:-1] & (broad | narrow)) + 1
        (dead if view is known else dead.T)[lines] = True
    return dead


def _dead_sensors(recording: PressureRecording, capture: Capture) -> Mask:
    frames = recording.frames
    peak, least = frames.max(axis=0), frames.min(axis=0)
    broken = np.isnan(peak)  # max keeps NaN, so this is any frame of the sensor
    threshold = capture.contact_threshold
    known = np.nan_to_num(peak)
    surrounded = _neighbour_sum(known >= capture.dead_surround) == 8
    near = _neighbour_sum(known) / 8.0
    silent = surrounded & (known < capture.dead_share * near)
    stuck = np.nan_to_num(least) >= threshold
    if recording.load == "static":
        stuck[:] = False  # a still foot bears on its sensors all the time
    dead: Mask = broken | silent | stuck | _dead_lines(known, capture)
    return dead


def _neighbour_sum(values: NDArray[Any]) -> FloatArray:
    """Sum over the 8 neighbours of each sensor; beyond the mat is zero."""
    padded = np.pad(values.astype(np.float64), 1)
    rows, columns = values.shape
    around = [(r, c) for r in range(3) for c in range(3) if (r, c) != (1, 1)]
    return np.asarray(sum(padded[r : r + rows, c : c + columns] for r, c in around))


def _replace(frames: Frames, dead: Mask) -> None:
    """Give each dead sensor the mean of its working neighbours, frame by frame, in place."""
    rows, columns = dead.shape
    for row, column in np.argwhere(dead):
        r0, r1 = max(row - 1, 0), min(row + 2, rows)
        c0, c1 = max(column - 1, 0), min(column + 2, columns)
        alive = ~dead[r0:r1, c0:c1]
        near = frames[:, r0:r1, c0:c1][:, alive]
        frames[:, row, column] = near.mean(axis=1) if alive.any() else 0.0


def _dead_doubt(dead: Mask, frames: Frames, capture: Capture) -> Doubt:
    count = int((dead & (frames.max(axis=0) > 0)).sum())
    active = max(int((frames.max(axis=0) >= capture.contact_threshold).sum()), 1)
    text = f"{count} dead sensors were given the mean of their neighbours"
    if count > capture.dead_limit * active:
        text = f"{count} of the {active} sensors under the foot are dead: too many to bridge"
        return removed("dead-sensors", text)
    return widened("dead-sensors", text, capture.dead_widening)


def _saturated_count(recording: PressureRecording, capture: Capture) -> int:
    """Sensors at the stated upper end; or, unstated, several at one same highest value."""
    frames = recording.frames
    top = float(frames.max())
    if recording.saturation_kpa is not None:
        return int((frames.max(axis=0) >= recording.saturation_kpa).sum())
    if top <= 0:
        return 0
    at_top = int((frames.max(axis=0) >= top).sum())
    return at_top if at_top >= capture.saturated_sensors else 0


def whole_steps(
    steps: Sequence[Footstep], recording: PressureRecording, capture: Capture
) -> tuple[list[Footstep], list[Rejected]]:
    """The steps that hold a whole foot from heel contact to toe-off, and the others with why."""
    if not steps:
        return [], []
    forces = [float(step.force.max(initial=0.0)) for step in steps]
    lengths = [_extents(step, recording)[0] for step in steps]
    usual_force, usual_length = max(float(np.median(forces)), 1e-9), float(np.median(lengths))
    kept, rejected = [], []
    for number, (step, force, length) in enumerate(zip(steps, forces, lengths, strict=True), 1):
        if reason := _not_whole(step, recording, capture):
            rejected.append(Rejected(number, *reason))
        elif force / usual_force < capture.partial_share:  # what the others have
            text = f"the foot bore {100 * (force / usual_force):.0f} % of the other steps' load"
            rejected.append(Rejected(number, "partial-contact", text))
        elif length / usual_length < capture.partial_length:
            text = f"only {length:.0f} mm of the foot touched the mat"
            rejected.append(Rejected(number, "partial-contact", text))
        else:
            kept.append(step)
    return kept, rejected


def _extents(step: Footstep, recording: PressureRecording) -> tuple[float, float]:
    """How far the contact reaches along and across the mat, in mm."""
    touched = step.peak > 0
    along, across = (np.flatnonzero(touched.any(axis=axis)) for axis in (1, 0))
    if not len(along):
        return 0.0, 0.0
    pitch = recording.pitch_mm
    return float(np.ptp(along) + 1) * pitch[0], float(np.ptp(across) + 1) * pitch[1]


def _not_whole(
    step: Footstep, recording: PressureRecording, capture: Capture
) -> tuple[str, str] | None:
    if step.cut_by_edge:
        return _cut(step, capture)
    if step.cut_in_time:
        return "cut-in-time", "the recording begins or ends while the foot is down"
    along, across = _extents(step, recording)
    if along < capture.footprint_least:
        text = f"only {along:.0f} mm of the foot touched the mat"
        if across < capture.width_most * along:  # whole, by its shape
            words = _pitch_words(along, recording, capture)
            text = f"the whole foot is {along:.0f} mm long; {words}"
        return "partial-contact", text
    if recording.load == "dynamic" and _goes_back(step, capture):
        text = "the load goes back to the heel: steps run together; check `rate-hz`"
        return "several-steps", f"{text} ({recording.rate_hz:g} a second now), or leave a pause"
    return None


def _cut(step: Footstep, capture: Capture) -> tuple[str, str]:
    """Why a foot reaches the edge of the mat: it was walked across, or the foot lay over it."""
    known = len(step.path) > 1
    right, forward = np.abs(walking_direction(step.path)) if known else (0.0, 1.0)
    angle = math.degrees(math.atan2(right, forward))
    if angle <= capture.askew_cut:
        return "cut-by-edge", "the foot reaches the edge of the mat"
    return "walked-askew", (
        f"walked {angle:.0f} degrees off the rows of the mat, over its edge; walk along the rows"
    )


def _goes_back(step: Footstep, capture: Capture) -> bool:
    """Whether the load travels the length of the foot both ways, as in no single step."""
    if len(step.path) < 3:
        return False
    y = step.path[:, 1]
    back = float((np.maximum.accumulate(y) - y).max())
    forth = float((y - np.minimum.accumulate(y)).max())
    return min(back, forth) > capture.back_again * float(np.ptp(y))


def plausibility_doubts(
    force_n: float, sizes: Mapping[str, float], recording: PressureRecording, capture: Capture
) -> list[Doubt]:
    """Doubts about unit, pitch and wholeness: a force, length or shape that no foot has.

    `force_n` is the usual highest force of a step, `sizes` the mean footprint: its
    ``footprint-length`` and ``footprint-width`` in mm, and ``toe-out`` in degrees.
    """
    doubts = []
    length, width = sizes["footprint-length"], sizes["footprint-width"]
    text = wrong_force(force_n, length, capture)
    if text:
        doubts.append(removed("implausible-load", text))
    doubts += _size_doubts(force_n, length, recording, capture)
    if width > capture.width_most * length:
        text = f"{length:.0f} mm long and {width:.0f} wide: the heel, or the toes, never touched"
        concerns = ("arch-index", "chippaux", "staheli", "cpei", "cop-", "footprint-length")
        doubts.append(removed("footprint-not-whole", text, concerns))
    out = abs(sizes["toe-out"])
    if out > capture.across:
        text = (
            f"the foot lies {out:.0f} degrees off the rows, which count forward: walk along them, "
            "or exchange rows and columns (in a .mat file, its `axes`)"
        )
        doubts.append(removed("walked-across", text))
    elif out > capture.askew:
        text = f"the foot lies {out:.0f} degrees off the rows of the mat"
        doubts.append(removed("walked-askew", text, ("toe-out",)))
    return doubts


def _size_doubts(
    force_n: float, length: float, recording: PressureRecording, capture: Capture
) -> list[Doubt]:
    """Doubts about the pitch: a footprint too long, or too small for what it bears."""
    text = f"the footprint is {length:.0f} mm long"
    heavy = force_n > capture.small_load * length**2
    if length > capture.footprint_most or (length < capture.small_length and heavy):
        text += f" and bears {force_n:.0f} N; {_pitch_words(length, recording, capture)}"
        return [removed("implausible-size", text, SIZE_MEASURES)]
    if length < capture.toddler_length:
        text += f", as of a child under two; else {_pitch_words(length, recording, capture)}"
        return [noted("small-footprint", text)]
    return []


def _pitch_words(length: float, recording: PressureRecording, capture: Capture) -> str:
    """What to check, and twice or half the pitch where that makes an adult's foot."""
    pitch = recording.pitch_mm[0]
    factor = 2.0 if length < capture.footprint_usual else 0.5
    return (
        f"check `pitch-mm` ({pitch:g} written, {factor * pitch:g} would make it "
        f"{factor * length:.0f} mm)"
    )


def step_doubts(
    rejected: Sequence[Rejected], used: int, load: str, capture: Capture
) -> list[Doubt]:
    """Doubts from steps left out and from few steps left."""
    doubts = []
    for name, count in Counter(r.name for r in rejected).items():
        numbers = ", ".join(str(r.number) for r in rejected if r.name == name)
        why = next(r.why for r in rejected if r.name == name)
        text = f"{count} of {used + len(rejected)} steps left out (step {numbers}): {why}"
        doubts.append(noted(name, text))
    if load == "dynamic":
        doubts += too_few("steps", used, capture.steps_wanted, capture.steps_needed, capture)
    return doubts
