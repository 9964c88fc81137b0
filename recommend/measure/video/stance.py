"""When the foot is on the ground: given, from a contact signal, or told from the heel mark."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from recommend.measure.doubts import Doubt
from recommend.measure.model import Flag
from recommend.measure.spans import spans
from recommend.measure.video.recording import LOWER_HEEL, MarksRecording

FloatArray = NDArray[np.float64]
Span = tuple[int, int]


def find_stances(
    recording: MarksRecording, parameters: Mapping[str, float]
) -> tuple[list[Span], list[Doubt]]:
    """Half-open spans of frames in which the foot is on the ground, and doubts about them.

    Given stances come first, then a contact signal, then the heel mark. Stances cut by the start
    or end of the recording, and those of impossible length, are left out and said so.
    """
    doubts: list[Doubt] = []
    if recording.stances is not None:
        return list(recording.stances), doubts
    if recording.contact is not None:
        found = spans(recording.contact)
    else:
        found = heel_stances(recording.points[:, LOWER_HEEL, 1], recording.rate_hz, parameters)
        text = "no contact signal: stance was told from the height and speed of the heel mark"
        widen = parameters["capture.events-widening"]
        doubts.append(Doubt(Flag("stance-estimated", text, "widened"), widen=widen))
    kept = [span for span in found if _is_stride(span, recording, parameters)]
    if len(kept) < len(found):
        text = (
            f"{len(found) - len(kept)} of {len(found)} contacts left out: cut by the start or "
            "end of the recording, or too short or long for a stride"
        )
        doubts.append(Doubt(Flag("partial-contact", text)))
    return kept, doubts


def _is_stride(span: Span, recording: MarksRecording, parameters: Mapping[str, float]) -> bool:
    duration = 1000.0 * (span[1] - span[0]) / recording.rate_hz
    whole = span[0] > 0 and span[1] < len(recording.points)
    shortest, longest = (parameters[f"capture.stance-{end}-ms"] for end in ("shortest", "longest"))
    return whole and shortest <= duration <= longest


def heel_stances(height: FloatArray, rate_hz: float, parameters: Mapping[str, float]) -> list[Span]:
    """Stances from the height of the lower heel mark (n,), y up, in any unit.

    Notes
    -----
    Speeds are shares of the highest vertical speed in the recording.

    1. The heel comes down: a descent faster than ``capture.heel-fast``. The foot is on the ground
       from the first frame after it that is slower than ``capture.heel-slow``.
    2. The heel rises again: the next rise faster than ``capture.heel-fast``. A mark on the heel
       does not see the toe leave the ground; that lies between the heel's fastest rise and its
       highest point, and the middle of the two is taken.

    In the manner of methods that read events from the vertical speed of heel and toe (O'Connor CM
    et al. 2007 Gait Posture 25:469-474, from memory); with the heel alone both are estimates.
    """
    velocity = np.gradient(height) if len(height) > 2 else np.full(len(height), np.nan)
    known = velocity[~np.isnan(velocity)]
    top = float(np.abs(known).max()) if len(known) else 0.0
    if top <= 1e-9 * max(1.0, float(np.nanmax(np.abs(height))) if len(known) else 1.0):
        return []
    share = np.nan_to_num(velocity) / top
    fast, slow = parameters["capture.heel-fast"], parameters["capture.heel-slow"]
    least = parameters["capture.step-gap-ms"] * rate_hz / 1000.0
    rises = [span for span in spans(share > fast) if span[1] - span[0] >= least]
    found: list[Span] = []
    for _, landed in (span for span in spans(share < -fast) if span[1] - span[0] >= least):
        start = _first(share[landed:] > -slow, landed)
        rise = next((span for span in rises if span[0] >= start), None)
        if rise is not None and (not found or start >= found[-1][1]):
            fastest = rise[0] + int(np.argmax(share[rise[0] : rise[1]]))
            highest = _first(share[rise[1] :] <= 0, rise[1])
            found.append((start, (fastest + highest) // 2))
    return found


def _first(flags: NDArray[np.bool_], offset: int) -> int:
    """Index of the first true value, counted from `offset`; the end when there is none."""
    return offset + (int(np.argmax(flags)) if flags.any() else len(flags))
