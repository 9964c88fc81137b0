"""What each stride yields: its angle over stance, as the foot lands, and at its peak; with errors.

A low-pass filter that runs across first contact rounds off the bend that the angle makes there,
and reads touchdown too late. Here each stance is filtered by itself, its ends turned about their
last samples (Smith G 1989 J Biomech 22:967-971, padding of the ends, from memory), and the angle
at first contact is led back to the instant of contact from unfiltered samples.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.measure.filtering import FloatArray, Span, low_pass
from recommend.measure.measured import STANCE_POINTS, Curve, average, phase_slices
from recommend.measure.video.recording import (
    LANDING,
    LOWER_HEEL,
    LOWER_LEG,
    UPPER_HEEL,
    UPPER_LEG,
    MarksRecording,
    heel_lean,
    leg_lean,
)
from recommend.parameters import Capture

_LEAST_SAMPLES = 4  # a parabola and one sample to spare


@dataclass(frozen=True, slots=True, eq=False)
class Stride:
    """One stance.

    Attributes
    ----------
    start, stop : instants of first and last contact in frames of the recording, between frames.
    frames : (n,) numbers of the frames on the ground.
    raw, smooth : (n,) angle in degrees at these frames, as marked and low-pass filtered.
    """

    start: float
    stop: float
    frames: NDArray[np.intp]
    raw: FloatArray
    smooth: FloatArray

    @property
    def length(self) -> float:
        """How long the foot is on the ground, in frames."""
        return self.stop - self.start

    def curve(self) -> FloatArray:
        """(101,) smooth angle at 0 to 100 % of stance; half a frame at each end is led on."""
        at = np.linspace(self.start, self.stop, STANCE_POINTS)
        return _led_on(at, self.frames.astype(np.float64), self.smooth)

    def moved(self, start: float, stop: float) -> Stride:
        """The same samples with contact beginning and ending later by so many frames."""
        return Stride(self.start + start, self.stop + stop, self.frames, self.raw, self.smooth)


def _led_on(at: FloatArray, frames: FloatArray, values: FloatArray) -> FloatArray:
    """Linear between samples; beyond the first and last the line through the two next to it."""
    out = np.interp(at, frames, values)
    early, late = at < frames[0], at > frames[-1]
    out[early] = values[0] + (at[early] - frames[0]) * (values[1] - values[0])
    out[late] = values[-1] + (at[late] - frames[-1]) * (values[-1] - values[-2])
    return out


def stride_of(
    angle: FloatArray, span: Span, cutoff_hz: float, rate_hz: float, lead: float
) -> Stride:
    """The stride whose frames on the ground are `span` (half open) of `angle` (frames,).

    A frame on the ground was preceded by one in the air: contact lies between them, on average
    half a frame before (`lead`).
    """
    raw = angle[span[0] : span[1]]
    enough = len(raw) > 9 and cutoff_hz < rate_hz / 2.2
    smooth = low_pass(raw, cutoff_hz, rate_hz) if enough else raw
    return Stride(span[0] - lead, span[1] - 0.5, np.arange(*span), raw, smooth)


@dataclass(frozen=True, slots=True, eq=False)
class Landing:
    """The angle at first contact.

    Attributes
    ----------
    angles : (strides,) degrees.
    shared_error : standard error in degrees that all strides share, from leading back to contact.
    noise : variance of one unfiltered sample, in degrees squared.
    """

    angles: FloatArray
    shared_error: float
    noise: float


def landing_of(
    strides: Sequence[Stride], mean: FloatArray, rate_hz: float, capture: Capture
) -> Landing:
    """The angle of each stride at the instant of contact, from unfiltered samples after it.

    Notes
    -----
    All strides share one parabola over the time since contact and differ by an offset; least
    squares over the samples of the first ``capture.landing-window`` of stance, less where the
    peak of the `mean` curve (101,) comes early.
    """
    peak = float(np.argmax(mean)) / (STANCE_POINTS - 1)
    share = max(capture.landing_before_peak * peak, capture.landing_least)
    usual = float(np.mean([stride.length for stride in strides]))
    window = min(capture.landing_window, share) * usual
    own = []
    for stride in strides:
        since = stride.frames - stride.start
        count = max(int(np.count_nonzero(since <= window)), _LEAST_SAMPLES)
        time = since[:count] / rate_hz
        own.append((np.stack([time, time * time]), stride.raw[:count]))
    means = np.array([x.mean(axis=1) for x, _ in own])
    levels = np.array([y.mean() for _, y in own])
    x = np.concatenate([x - x.mean(axis=1, keepdims=True) for x, _ in own], axis=1)
    y = np.concatenate([y - y.mean() for _, y in own])
    squares = np.linalg.pinv(x @ x.T)
    bend = squares @ (x @ y)
    residual = y - bend @ x
    noise = float(residual @ residual) / max(len(y) - len(own) - 2, 1)
    lever = means.mean(axis=0)  # the bend is led over this time on average
    shared = math.sqrt(max(noise * float(lever @ squares @ lever), 0.0))
    return Landing(levels - means @ bend, shared, noise)


@dataclass(frozen=True, slots=True, eq=False)
class Peaks:
    """The largest eversion of each stance.

    Attributes
    ----------
    angles, times : (strides,) in degrees and percent of stance.
    at_the_end : the mean curve has no top before ``capture.peak-end``, or rises beyond it by more
        than a camera a little askew sees in a tipped heel, and does not fall between.
    """

    angles: FloatArray
    times: FloatArray
    at_the_end: bool


def peaks_of(strides: Sequence[Stride], mean: FloatArray, noise: float, capture: Capture) -> Peaks:
    """The peak of each stride; `noise` is the variance of one unfiltered sample in degrees squared.

    Notes
    -----
    As the foot leaves, the heel is tipped, and a camera ``capture.aim`` degrees askew sees it
    lean: what rises there by less than twice that is no peak. Where it rises more, a top from which
    the curve has fallen by ``capture.peak-dip`` before is the peak, and the rise another movement
    or the tipped heel; the mean of propulsion holds it. A top is flatter behind than before,
    and the top of one noisy stride is therefore read late; that of the `mean` curve (101,) is not,
    and gives the mean time, about which strides scatter as their own tops do.
    """
    end = round(capture.peak_end)
    top = int(np.argmax(mean[: end + 1]))
    askew = 2.0 * capture.aim * capture.toe_out_propulsion
    at_the_end = top == end or float(mean[end:].max() - mean[top]) > askew
    if at_the_end:
        fallen = np.maximum.accumulate(mean[: end + 1]) - mean[: end + 1]
        valley = int(np.argmax(fallen))
        if fallen[valley] >= capture.peak_dip:
            at_the_end, end, top = False, valley, int(np.argmax(mean[: valley + 1]))
    until = 1.0 if at_the_end else end / 100.0
    found = np.array([_peak_of(stride, noise, until, capture) for stride in strides])
    times = found[:, 1] if at_the_end else found[:, 1] - found[:, 1].mean() + top
    return Peaks(found[:, 0], np.clip(times, 0.0, 100.0), at_the_end)


def _peak_of(stride: Stride, noise: float, until: float, capture: Capture) -> tuple[float, float]:
    """Largest angle in degrees of the first share `until` of stance, and its time in percent.

    Notes
    -----
    The largest of many noisy samples is too large. The place is taken from the smooth curve, the
    height from a parabola through the unfiltered samples within ``capture.peak-window`` of
    stance on each side of it, less what noise in its slope adds to its top. At the ends of stance
    the smooth curve itself counts.
    """
    share = (stride.frames - stride.start) / stride.length
    top = int(np.argmax(np.where(share <= until, stride.smooth, -np.inf)))
    near = np.abs(share - share[top]) <= capture.peak_window
    highest = float(stride.smooth[top]), 100.0 * float(share[top])
    if near.sum() < _LEAST_SAMPLES or top in (0, len(share) - 1):
        return highest
    x = share[near] - share[top]
    bend, slope, height = np.polyfit(x, stride.raw[near], 2)
    if bend >= 0:
        return highest
    vertex = float(np.clip(-slope / (2 * bend), x[0], x[-1]))
    at = float(np.clip(share[top] + vertex, 0.0, 1.0))
    top_angle = float(height + slope * vertex + bend * vertex * vertex)
    added = noise / float(np.square(x - x.mean()).sum()) / (4.0 * abs(float(bend)))
    return top_angle - min(added, math.sqrt(noise)), 100.0 * at


@dataclass(frozen=True, slots=True, eq=False)
class Values:
    """One value per stride of each measure, and errors that all strides share.

    Attributes
    ----------
    each : (strides,) by measure, in the unit of the measure.
    shared : standard errors by term (see `spread.TERMS`) and measure that repeating strides
        does not remove.
    no_peak : the angle is largest as the foot leaves (`Peaks`): no time of a peak.
    curve : mean angle over stance.
    """

    each: Mapping[str, FloatArray]
    shared: Mapping[str, Mapping[str, float]]
    no_peak: bool
    curve: Curve


def values_of(strides: Sequence[Stride], recording: MarksRecording, capture: Capture) -> Values:
    """All measures of `strides`; `recording` is the filtered one, for what stands to the vertical.

    Where contact was told from the heel mark, its instants have an error of their own.
    """
    rate = recording.rate_hz
    curve = average([stride.curve() for stride in strides], "deg")
    angles, landing, no_peak = _angles(strides, rate, capture)
    shared: dict[str, dict[str, float]] = {name: {} for name in angles}
    for name in LANDING:
        shared[name]["landing"] = landing
    for name, error in _toe_out_errors(recording, no_peak, capture).items():
        shared[name]["toe-out"] = error
        if recording.centre_error:
            shared[name]["centres"] = _centres(recording)
    flat = np.count_nonzero(curve.mean >= curve.mean.max() - capture.peak_flat)
    shared["peak-time"]["flat"] = max(float(flat), 1.0) / math.sqrt(12.0)  # percent of stance
    if recording.told_from_heel:
        for name, error in _event_errors(strides, recording, capture).items():
            shared[name]["events"] = error
    middle = [round((stride.start + stride.stop) / 2) for stride in strides]
    upright = {
        "heel-vertical-midstance": heel_lean(recording.points, recording.side)[middle],
        "leg-vertical-midstance": leg_lean(recording.points, recording.side)[middle],
    }
    return Values(angles | upright, shared, no_peak, curve)


def _angles(
    strides: Sequence[Stride], rate_hz: float, capture: Capture
) -> tuple[dict[str, FloatArray], float, bool]:
    """Angles and times by measure, the error that all landings share, and whether no peak is."""
    curves = np.array([stride.curve() for stride in strides])
    mean = curves.mean(axis=0)
    landing = landing_of(strides, mean, rate_hz, capture)
    tops = peaks_of(strides, mean, landing.noise, capture)
    peak = np.maximum(tops.angles, landing.angles)  # the peak is the largest of the stance
    cuts = phase_slices(capture)
    midstance, propulsion = (
        np.array([curve[cuts[name]].mean() for curve in curves])
        for name in ("midstance", "propulsion")
    )
    values = {
        "touchdown-angle": landing.angles,
        "peak-angle": peak,
        "peak-time": tops.times,
        "rearfoot-range": peak - landing.angles,
        "contact-angle": np.minimum(curves[:, cuts["contact"]].max(axis=1), peak),
        "midstance-angle": midstance,
        "propulsion-angle": propulsion,
        "rearfoot-return": peak - propulsion,
        "contact-time": np.array([stride.length for stride in strides]) / rate_hz,
    }
    return values, landing.shared_error, tops.at_the_end


def _toe_out_errors(recording: MarksRecording, no_peak: bool, capture: Capture) -> dict[str, float]:
    """What a foot turned out of the camera's plane does to each angle.

    A stated toe-out lies anywhere up to itself from the line of the camera, as far as is known.
    With `no_peak` the largest angle is that of a heel tipped furthest, as the foot leaves.
    """
    out = math.hypot(capture.aim, (recording.toe_out_deg or 0.0) / math.sqrt(3.0))
    landed = "landing-running" if recording.gait == "running" else "landing"
    landing, flat, late, end = (
        out * capture[f"toe-out-{when}"] for when in (landed, "flat", "propulsion", "end")
    )
    return {
        "touchdown-angle": landing,
        "rearfoot-range": math.hypot(landing, end) if no_peak else landing,
        "peak-angle": end if no_peak else flat,
        "contact-angle": flat,
        "midstance-angle": flat,
        "propulsion-angle": late,
        "rearfoot-return": late,
    }


def _centres(recording: MarksRecording) -> float:
    """Degrees by which found centres turn the lines of leg and heel, as if alike in all frames."""
    lengths = [
        float(np.nanmedian(np.hypot(*(recording.points[:, a] - recording.points[:, b]).T)))
        for a, b in ((UPPER_LEG, LOWER_LEG), (UPPER_HEEL, LOWER_HEEL))
    ]
    ends = math.sqrt(2.0) * recording.centre_error
    return math.degrees(math.hypot(*(ends / length for length in lengths)))


def _event_errors(
    strides: Sequence[Stride], recording: MarksRecording, capture: Capture
) -> dict[str, float]:
    """Half the change of each mean when contact begins, or ends, an error earlier and later."""
    rate = recording.rate_hz
    gait = "-running" if recording.gait == "running" else ""
    start = capture[f"events-start{gait}-ms"] * rate / 1000.0
    stop = capture.events_stop_share * float(np.mean([stride.length for stride in strides]))
    total: dict[str, float] = {}
    for by in ((start, 0.0), (0.0, stop)):
        later, _, _ = _angles([s.moved(*by) for s in strides], rate, capture)
        sooner, _, _ = _angles([s.moved(-by[0], -by[1]) for s in strides], rate, capture)
        for name in later:
            change = abs(float(later[name].mean() - sooner[name].mean())) / 2.0
            total[name] = float(np.hypot(total.get(name, 0.0), change))
    return total
