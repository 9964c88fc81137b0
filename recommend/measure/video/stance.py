"""When the foot is on the ground: given, from a contact signal, or told from the heel mark."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from recommend.measure.doubts import Doubt
from recommend.measure.model import Flag
from recommend.measure.spans import bridged, spans
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
    1. The heel is down while it moves slower than ``capture.stance-speed`` of its highest
       vertical speed and lies in the lower ``capture.stance-height`` of its range.
    2. Gaps of less than ``capture.gap-longest-ms`` inside are bridged.
    3. A mark on the heel does not see the toe leave the ground: stance is taken to end when heel
       contact is ``capture.propulsion-tail`` of it, or when the heel is down again.

    In the manner of velocity methods that use heel and toe marks (O'Connor CM et al. 2007 Gait
    Posture 25:469-474, from memory); with the heel alone the end of stance is an estimate.
    """
    known = ~np.isnan(height)
    if known.sum() < 3:
        return []
    speed = np.abs(np.gradient(height))
    low, high = np.nanmin(height), np.nanmax(height)
    if high <= low:
        return []
    slow = speed <= parameters["capture.stance-speed"] * np.nanmax(speed)
    down = known & slow & (height <= low + parameters["capture.stance-height"] * (high - low))
    bridge = parameters["capture.gap-longest-ms"] * rate_hz / 1000.0
    found = bridged(spans(np.asarray(down)), bridge)
    least = parameters["capture.stance-shortest-ms"] * rate_hz / 1000.0 / 2.0
    found = [span for span in found if span[1] - span[0] >= least]
    limits = [start for start, _ in found[1:]] + [len(height)]
    tail = parameters["capture.propulsion-tail"]
    return [
        (start, min(start + round((stop - start) / tail), limit))
        for (start, stop), limit in zip(found, limits, strict=True)
    ]
