"""Faults of a whole film that its numbers betray: rate, contact column, mirror, marks."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from recommend.errors import InputError, Place
from recommend.measure.doubts import Doubt
from recommend.measure.model import Flag
from recommend.measure.phases import STANCE_POINTS
from recommend.measure.plausible import time_doubts
from recommend.measure.video.recording import (
    LOWER_HEEL,
    LOWER_LEG,
    UPPER_HEEL,
    UPPER_LEG,
    MarksRecording,
)
from recommend.measure.video.stance import heel_stances
from recommend.measure.video.strides import Stride
from recommend.parameters import Parameters

_LANDING = ("touchdown-angle", "rearfoot-range")


def refuse_leg_for_heel(recording: MarksRecording) -> None:
    """Refuse marks of leg and heel that are exchanged all through.

    Raises
    ------
    InputError
        If the heel's marks lie above the leg's in most frames.
    """
    height = recording.points[..., 1]
    leg = (height[:, UPPER_LEG] + height[:, LOWER_LEG]) / 2.0
    heel = (height[:, UPPER_HEEL] + height[:, LOWER_HEEL]) / 2.0
    known = (heel - leg)[~np.isnan(heel - leg)]
    if len(known) and np.mean(known > 0) > 0.5:
        raise InputError(
            Place(recording.name),
            "the marks of the heel lie above those of the leg in most frames (leg-heel-exchanged)",
            "leg marks above heel marks",
            "exchange the columns of leg and heel, or correct `y-axis`",
        )


def refuse_moving(still: MarksRecording, parameters: Parameters) -> None:
    """Refuse a still capture in which the heel is lifted.

    Raises
    ------
    InputError
        If the heel's height ranges further than ``capture.still-range`` of the leg line.
    """
    height = still.height
    known = height[~np.isnan(height)]
    if not len(known):
        return
    low, high = np.percentile(known, (2, 98))
    if high - low > parameters.capture.still_range * still.leg_length:
        raise InputError(
            Place(still.name),
            "the heel is lifted in the still capture (still-moves)",
            "a capture of quiet standing",
            "give the film of standing as --still, not that of walking",
        )


def film_doubts(
    strides: Sequence[Stride], recording: MarksRecording, parameters: Parameters
) -> list[Doubt]:
    """Doubts about the film as a whole; where its rate is wrong, nothing else can be told."""
    return _time_doubts(strides, recording, parameters) or [
        *_rate_doubts(strides, recording, parameters),
        *_contact_doubts(strides, recording, parameters),
        *_mirror_doubts(strides, parameters),
    ]


def _time_doubts(
    strides: Sequence[Stride], recording: MarksRecording, parameters: Parameters
) -> list[Doubt]:
    """A stance that no one of this gait has: the rate, or the gait, is written wrongly."""
    seconds = float(np.mean([s.stop - s.start for s in strides])) / recording.rate_hz
    rate, said = recording.rate_hz, recording.rate_said
    return time_doubts(seconds, rate, recording.gait, ("",), parameters, said)


def _rate_doubts(
    strides: Sequence[Stride], recording: MarksRecording, parameters: Parameters
) -> list[Doubt]:
    """What this frame rate cannot tell, with the rate that could."""
    frames = float(np.mean([stride.stop - stride.start for stride in strides]))
    doubts = []
    for what, concerns, title in (
        ("landing", ("touchdown-angle", "rearfoot-range", "contact-excursion"), "first contact"),
        ("peak", ("peak-", "contact-", "rearfoot-", "propulsion-peak"), "the peak"),
    ):
        gait = "-running" if (what, recording.gait) == ("landing", "running") else ""
        needed = parameters.capture[f"frames-{what}{gait}"]
        if frames < needed:
            rate = 10 * math.ceil(recording.rate_hz * needed / frames / 10)
            text = (
                f"{recording.rate_hz:g} frames a second are too few to read {title}; "
                f"{rate} would do"
            )
            doubts.append(Doubt(Flag(f"rate-too-low-for-{what}", text, "removed"), concerns))
    return doubts


def _contact_doubts(
    strides: Sequence[Stride], recording: MarksRecording, parameters: Parameters
) -> list[Doubt]:
    """A contact column that the heel mark contradicts."""
    if recording.contact is None or recording.stances is not None:
        return []
    height, contact = recording.height, recording.contact
    running = recording.gait == "running"
    told = heel_stances(height, recording.rate_hz, parameters, running=running)
    if told:
        near = np.zeros(len(contact), dtype=bool)
        for start, stop in told:
            near[start:stop] = True
        inverted = (contact & near).sum() < 0.5 * contact.sum()
    else:
        inverted = np.nanmedian(height[contact]) > np.nanmedian(height[~contact])
    if inverted:
        text = "the heel is higher where `contact` says the foot is down; 0 and 1 are exchanged"
        return [Doubt(Flag("contact-inverted", text, "removed"))]
    if not told:
        return []
    begins = np.array([start for start, _ in told])
    late = [s.start - begins[int(np.argmin(np.abs(begins - s.start)))] for s in strides]
    by_ms = 1000.0 * float(np.median(late)) / recording.rate_hz
    if abs(by_ms) <= parameters.capture.contact_late_ms:
        return []
    word = "late" if by_ms > 0 else "early"
    text = f"`contact` begins {abs(by_ms):.0f} ms {word} beside what the heel mark shows"
    return [Doubt(Flag(f"contact-{word}", text, "removed"), _LANDING)]


def _mirror_doubts(strides: Sequence[Stride], parameters: Parameters) -> list[Doubt]:
    """A heel that leans outwards after it lands: no foot does, a mirrored film does."""
    mean = np.mean([stride.curve() for stride in strides], axis=0)
    early = mean[: STANCE_POINTS // 20].mean()
    middle = mean[STANCE_POINTS // 5 : STANCE_POINTS // 2].mean()
    if middle - early > -parameters.capture.mirror_fall:
        return []
    text = (
        "the heel turns outwards after it lands, where feet turn inwards: the film is mirrored, or "
        "`side` is the other foot"
    )
    return [Doubt(Flag("film-mirrored", text, "removed"))]
