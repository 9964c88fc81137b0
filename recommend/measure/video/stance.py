"""When the foot is on the ground: given, from a contact signal, or told from the heel mark."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.measure.doubts import Doubt
from recommend.measure.model import Flag
from recommend.measure.plausible import wrong_pace
from recommend.measure.spans import bridged, spans
from recommend.measure.video.recording import MarksRecording
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]
Span = tuple[int, int]
# What cannot be told when the end of stance is not known.
_NEEDS_THE_END = (
    "peak-time",
    "contact-",
    "midstance-",
    "propulsion-",
    "rearfoot-return",
    "heel-vertical-",
    "leg-vertical-",
)


def find_stances(
    recording: MarksRecording, parameters: Parameters
) -> tuple[list[Span], list[Doubt]]:
    """Half-open spans of frames in which the foot is on the ground, and doubts about them.

    Given stances come first, then a contact signal, then the heel mark. Stances cut by the start
    or end of the recording, and those of impossible length, are left out and said so.

    Raises
    ------
    InputError
        If all contacts are of a length that no one has: the rate, or the gait, is wrong.
    """
    doubts: list[Doubt] = []
    if recording.stances is not None:
        return list(recording.stances), doubts
    if recording.contact is not None:
        found = spans(recording.contact)
    else:
        height = recording.height
        running = recording.gait == "running"
        found = heel_stances(height, recording.rate_hz, parameters, running=running)
        text = "no contact signal: stance was told from the height and speed of the heel mark"
        doubts.append(Doubt(Flag("stance-estimated", text, "widened")))
        if running:
            text = "the heel mark does not see the toe leave the ground in running"
            doubts.append(Doubt(Flag("end-of-stance-unknown", text, "removed"), _NEEDS_THE_END))
        else:
            text = "the heel mark does not see the toe leave the ground: no contact time"
            doubts.append(Doubt(Flag("end-of-stance-unsure", text, "removed"), ("contact-time",)))
    kept = [span for span in found if _is_stride(span, recording, parameters)]
    if not kept:
        _refuse_pace(found, recording, parameters)
    if len(kept) < len(found):
        text = (
            f"{len(found) - len(kept)} of {len(found)} contacts left out: cut by the start or "
            "end of the recording, or too short or long for a stride"
        )
        doubts.append(Doubt(Flag("partial-contact", text)))
    return kept, doubts


def _refuse_pace(found: list[Span], recording: MarksRecording, parameters: Parameters) -> None:
    """Refuse contacts all of which are too long, or too short, for the gait."""
    whole = [stop - start for start, stop in found if start and stop < len(recording.points)]
    if not whole:
        return
    seconds = sum(whole) / len(whole) / recording.rate_hz
    sure = recording.contact is not None or recording.gait != "running"
    text = wrong_pace(
        seconds, recording.rate_hz, recording.gait, parameters,
        sure=sure, rate_said=recording.rate_said,
    )  # fmt: skip
    if text:
        raise InputError(Place(recording.name), f"{text} (implausible-rate)")


def _is_stride(span: Span, recording: MarksRecording, parameters: Parameters) -> bool:
    duration = 1000.0 * (span[1] - span[0]) / recording.rate_hz
    whole = span[0] > 0 and span[1] < len(recording.points)
    shortest, longest = (parameters.capture[f"stance-{end}-ms"] for end in ("shortest", "longest"))
    return whole and shortest <= duration <= longest


def heel_stances(
    height: FloatArray, rate_hz: float, parameters: Parameters, *, running: bool = False
) -> list[Span]:
    """Stances from the height of the lower heel mark (n,), y up, in any unit.

    Notes
    -----
    1. The heel is near the ground where it is lower than ``capture.heel-near`` of its range.
    2. The foot lands where the fall of the heel is stopped most sharply, about where it comes
       near (Hreljac A, Marshall RN 2000 J Biomech 33:783-786, from memory).
    3. A mark on the heel does not see the toe leave the ground. In walking that lies between the
       heel's fastest rise and its highest point, ``capture.toe-off-share`` of the way; in running
       the heel goes on rising in the air, and its fastest rise is taken.
    """
    known = height[~np.isnan(height)]
    if len(known) < _LEAST_FRAMES:
        return []
    low, high = np.percentile(known, (5, 95))
    # Noise alone has a range too: a heel that moves goes far beyond what its frames jitter.
    jitter = float(np.median(np.abs(np.diff(known))))
    if high - low <= parameters.capture.heel_jitter * jitter + 1e-9 * abs(high):
        return []
    near = np.nan_to_num(height, nan=high) < low + parameters.capture.heel_near * (high - low)
    least = parameters.capture.step_gap_ms * rate_hz / 1000.0
    downs = [span for span in bridged(spans(near), least) if span[1] - span[0] >= least]
    stop = _stopping(height, rate_hz, parameters)
    speed = np.nan_to_num(np.gradient(height))
    found: list[Span] = []
    for number, (down, rise) in enumerate(downs):
        after = downs[number + 1][0] if number + 1 < len(downs) else len(height)
        start = _landing(stop, down, rate_hz, parameters)
        fastest = rise + int(np.argmax(speed[rise:after])) if rise < after else rise
        highest = _first(speed[fastest:after] <= 0, fastest)
        share = 0.0 if running else parameters.capture.toe_off_share
        end = round(fastest + share * (highest - fastest))
        whole = down > 0 and end < len(height) - 1
        if whole and start < end:
            found.append((start, end + 1))
    return found


_LEAST_FRAMES = 10


def _stopping(height: FloatArray, rate_hz: float, parameters: Parameters) -> FloatArray:
    """How sharply the fall of the heel is stopped at each frame: its second difference."""
    reach = max(round(parameters.capture.landing_stop_ms * rate_hz / 1000.0), 1)
    stop = np.full(len(height), -np.inf)
    inner = slice(reach, -reach)
    stop[inner] = height[2 * reach :] - 2.0 * height[inner] + height[: -2 * reach]
    return np.where(np.isnan(stop), -np.inf, stop)


def _landing(stop: FloatArray, down: int, rate_hz: float, parameters: Parameters) -> int:
    """The last sharp stop about where the heel comes near: a swing slows down before it lands."""
    reach = max(round(parameters.capture.landing_about_ms * rate_hz / 1000.0), 2)
    first = max(down - reach // 2, 1)
    near = stop[first : down + 2 * reach + 1]
    if len(near) < 3:
        return down
    # Noise has tops of its own, frame by frame.
    beside = max(round(parameters.capture.landing_stop_ms * rate_hz / 2000.0), 1)
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(near, beside, constant_values=np.inf), 2 * beside + 1
    )
    tops = near >= np.where(np.isinf(around), -np.inf, around).max(axis=1)
    tops[[0, -1]] = False
    sharp = np.flatnonzero(tops & (near >= parameters.capture.landing_sharp * near.max()))
    return first + int(sharp[-1]) if len(sharp) else first + int(np.argmax(near))


def _first(flags: NDArray[np.bool_], offset: int) -> int:
    """Index of the first true value, counted from `offset`; the end when there is none."""
    return offset + (int(np.argmax(flags)) if flags.any() else len(flags))
