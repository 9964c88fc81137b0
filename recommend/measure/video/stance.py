"""When the foot is on the ground: given, from a contact signal, or told from the heel mark.

And faults of a whole film that its stances betray: rate, contact column, mirror.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from recommend.errors import InputError, Place
from recommend.measure.doubts import Doubt, noted, rate_too_low, removed, widened, wrong_pace
from recommend.measure.filtering import FloatArray, Mask, Span, bridged, spans
from recommend.measure.video.recording import LANDING, MarksRecording
from recommend.measure.video.strides import Stride
from recommend.parameters import Capture

_LEAST_FRAMES = 10
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


def find_stances(recording: MarksRecording, capture: Capture) -> tuple[list[Span], list[Doubt]]:
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
        found = heel_stances_of(recording, capture)
        text = "no contact signal: stance was told from the height and speed of the heel mark"
        doubts.append(widened("stance-estimated", text))
        text = "the heel mark does not see the toe leave the ground"
        if recording.gait == "running":
            doubts.append(removed("end-of-stance-unknown", f"{text} in running", _NEEDS_THE_END))
        else:
            text += ": no contact time"
            doubts.append(removed("end-of-stance-unsure", text, ("contact-time",)))
    kept = [span for span in found if _is_stride(span, recording, capture)]
    if not kept:
        _refuse_pace(found, recording, capture)
    if len(kept) < len(found):
        text = (
            f"{len(found) - len(kept)} of {len(found)} contacts left out: cut by the start or "
            "end of the recording, or too short or long for a stride"
        )
        doubts.append(noted("partial-contact", text))
    return kept, doubts


def _refuse_pace(found: list[Span], recording: MarksRecording, capture: Capture) -> None:
    """Refuse contacts all of which are too long, or too short, for the gait."""
    whole = [stop - start for start, stop in found if start and stop < len(recording.points)]
    if not whole:
        return
    seconds = sum(whole) / len(whole) / recording.rate_hz
    sure = recording.contact is not None or recording.gait != "running"
    if text := wrong_pace(seconds, recording, capture, sure=sure):
        raise InputError(Place(recording.name), f"{text} (implausible-rate)")


def _is_stride(span: Span, recording: MarksRecording, capture: Capture) -> bool:
    duration = 1000.0 * (span[1] - span[0]) / recording.rate_hz
    whole = span[0] > 0 and span[1] < len(recording.points)
    shortest, longest = (capture[f"stance-{end}-ms"] for end in ("shortest", "longest"))
    return whole and shortest <= duration <= longest


def heel_stances_of(recording: MarksRecording, capture: Capture) -> list[Span]:
    """Stances of a recording as its heel mark tells them."""
    running = recording.gait == "running"
    return heel_stances(recording.height, recording.rate_hz, capture, running=running)


def heel_stances(
    height: FloatArray, rate_hz: float, capture: Capture, *, running: bool = False
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
    if high - low <= capture.heel_jitter * jitter + 1e-9 * abs(high):
        return []
    near = np.nan_to_num(height, nan=high) < low + capture.heel_near * (high - low)
    least = capture.step_gap_ms * rate_hz / 1000.0
    downs = [span for span in bridged(spans(near), least) if span[1] - span[0] >= least]
    stop = _stopping(height, rate_hz, capture)
    speed = np.nan_to_num(np.gradient(height))
    found: list[Span] = []
    for number, (down, rise) in enumerate(downs):
        after = downs[number + 1][0] if number + 1 < len(downs) else len(height)
        start = _landing(stop, down, rate_hz, capture)
        fastest = rise + int(np.argmax(speed[rise:after])) if rise < after else rise
        highest = _first(speed[fastest:after] <= 0, fastest)
        share = 0.0 if running else capture.toe_off_share
        end = round(fastest + share * (highest - fastest))
        whole = down > 0 and end < len(height) - 1
        if whole and start < end:
            found.append((start, end + 1))
    return found


def _stopping(height: FloatArray, rate_hz: float, capture: Capture) -> FloatArray:
    """How sharply the fall of the heel is stopped at each frame: its second difference."""
    reach = max(round(capture.landing_stop_ms * rate_hz / 1000.0), 1)
    stop = np.full(len(height), -np.inf)
    inner = slice(reach, -reach)
    stop[inner] = height[2 * reach :] - 2.0 * height[inner] + height[: -2 * reach]
    return np.where(np.isnan(stop), -np.inf, stop)


def _landing(stop: FloatArray, down: int, rate_hz: float, capture: Capture) -> int:
    """The last sharp stop about where the heel comes near: a swing slows down before it lands."""
    reach = max(round(capture.landing_about_ms * rate_hz / 1000.0), 2)
    first = max(down - reach // 2, 1)
    near = stop[first : down + 2 * reach + 1]
    if len(near) < 3:
        return down
    # Noise has tops of its own, frame by frame.
    beside = max(round(capture.landing_stop_ms * rate_hz / 2000.0), 1)
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(near, beside, constant_values=np.inf), 2 * beside + 1
    )
    tops = near >= np.where(np.isinf(around), -np.inf, around).max(axis=1)
    tops[[0, -1]] = False
    sharp = np.flatnonzero(tops & (near >= capture.landing_sharp * near.max()))
    return first + int(sharp[-1]) if len(sharp) else first + int(np.argmax(near))


def _first(flags: Mask, offset: int) -> int:
    """Index of the first true value, counted from `offset`; the end when there is none."""
    return offset + (int(np.argmax(flags)) if flags.any() else len(flags))


def film_doubts(
    strides: Sequence[Stride], mean: FloatArray, recording: MarksRecording, capture: Capture
) -> list[Doubt]:
    """Doubts about the film as a whole; where its rate is wrong, nothing else can be told.

    Parameters
    ----------
    mean : (101,) angle over stance in degrees.
    """
    frames = float(np.mean([stride.length for stride in strides]))
    # A stance that no one of this gait has: the rate, or the gait, is written wrongly.
    if text := wrong_pace(frames / recording.rate_hz, recording, capture):
        return [removed("implausible-rate", text)]
    return [
        *_rate_doubts(frames, recording, capture),
        *_contact_doubts(strides, recording, capture),
        *_mirror_doubts(mean, capture),
    ]


def _rate_doubts(frames: float, recording: MarksRecording, capture: Capture) -> Iterator[Doubt]:
    """What this frame rate cannot tell, of a mean stance of so many frames."""
    for what, concerns, title in (
        ("landing", LANDING, "first contact"),
        ("peak", ("peak-", "contact-", "rearfoot-"), "the peak"),
    ):
        gait = "-running" if (what, recording.gait) == ("landing", "running") else ""
        needed = capture[f"frames-{what}{gait}"]
        if frames < needed:
            name, hz = f"rate-too-low-for-{what}", recording.rate_hz * needed / frames
            yield rate_too_low(name, recording, hz, f"to read {title}", concerns)


def _contact_doubts(
    strides: Sequence[Stride], recording: MarksRecording, capture: Capture
) -> list[Doubt]:
    """A contact column that the heel mark contradicts."""
    if recording.contact is None or recording.stances is not None:
        return []
    height, contact = recording.height, recording.contact
    told = heel_stances_of(recording, capture)
    if told:
        near = np.zeros(len(contact), dtype=bool)
        for start, stop in told:
            near[start:stop] = True
        inverted = (contact & near).sum() < 0.5 * contact.sum()
    else:
        inverted = np.nanmedian(height[contact]) > np.nanmedian(height[~contact])
    if inverted:
        text = "the heel is higher where `contact` says the foot is down; 0 and 1 are exchanged"
        return [removed("contact-inverted", text)]
    if not told:
        return []
    begins = np.array([start for start, _ in told])
    late = [s.start - begins[int(np.argmin(np.abs(begins - s.start)))] for s in strides]
    by_ms = 1000.0 * float(np.median(late)) / recording.rate_hz
    if abs(by_ms) <= capture.contact_late_ms:
        return []
    word = "late" if by_ms > 0 else "early"
    text = f"`contact` begins {abs(by_ms):.0f} ms {word} beside what the heel mark shows"
    return [removed(f"contact-{word}", text, LANDING)]


def _mirror_doubts(mean: FloatArray, capture: Capture) -> list[Doubt]:
    """A heel that leans outwards after it lands: no foot does, a mirrored film does."""
    early = mean[: round(capture.mirror_early)].mean()
    middle = mean[round(capture.mirror_from) : round(capture.mirror_until)].mean()
    if middle - early > -capture.mirror_fall:
        return []
    text = (
        "the heel turns outwards after it lands, where feet turn inwards: the film is mirrored, or "
        "`side` is the other foot"
    )
    return [removed("film-mirrored", text)]
