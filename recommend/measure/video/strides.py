"""One stride at a time: its angle over stance, the angle as the foot lands, and its peak.

A low-pass filter that runs across first contact rounds off the bend that the angle makes there,
and reads touchdown too late. Here each stance is filtered by itself, its ends turned about their
last samples (Smith G 1989 J Biomech 22:967-971, padding of the ends, from memory), and the angle
at first contact is led back to the instant of contact from unfiltered samples.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.measure.filtering import low_pass
from recommend.measure.phases import STANCE_POINTS, phase_slices
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]
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
    angle: FloatArray,
    span: tuple[int, int],
    cutoff_hz: float,
    rate_hz: float,
    lead: float = 0.5,
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


def landing_of(strides: Sequence[Stride], rate_hz: float, parameters: Parameters) -> Landing:
    """The angle of each stride at the instant of contact, from unfiltered samples after it.

    Notes
    -----
    All strides share one parabola over the time since contact and differ by an offset; least
    squares over the samples of the first ``capture.landing-window`` of stance, less where the
    peak comes early.
    """
    window = _window(strides, parameters) * float(np.mean([s.stop - s.start for s in strides]))
    times, angles = [], []
    for stride in strides:
        since = stride.frames - stride.start
        count = max(int(np.count_nonzero(since <= window)), _LEAST_SAMPLES)
        times.append(since[:count] / rate_hz)
        angles.append(stride.raw[:count])
    own = [(t, y, np.stack([t, t * t])) for t, y in zip(times, angles, strict=True)]
    means = np.array([x.mean(axis=1) for _, _, x in own])
    levels = np.array([y.mean() for _, y, _ in own])
    x = np.concatenate([x - x.mean(axis=1, keepdims=True) for _, _, x in own], axis=1)
    y = np.concatenate([y - y.mean() for _, y, _ in own])
    squares = np.linalg.pinv(x @ x.T)
    bend = squares @ (x @ y)
    residual = y - bend @ x
    noise = float(residual @ residual) / max(len(y) - len(own) - 2, 1)
    lever = means.mean(axis=0)  # the bend is led over this time on average
    shared = math.sqrt(max(noise * float(lever @ squares @ lever), 0.0))
    return Landing(levels - means @ bend, shared, noise)


def _window(strides: Sequence[Stride], parameters: Parameters) -> float:
    mean = np.mean([stride.curve() for stride in strides], axis=0)
    peak = float(np.argmax(mean)) / (STANCE_POINTS - 1)
    return min(
        parameters.capture.landing_window,
        max(parameters.capture.landing_before_peak * peak, parameters.capture.landing_least),
    )


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


def peaks_of(strides: Sequence[Stride], noise: float, parameters: Parameters) -> Peaks:
    """The peak of each stride; `noise` is the variance of one unfiltered sample in degrees squared.

    Notes
    -----
    As the foot leaves, the heel is tipped, and a camera ``capture.aim`` degrees askew sees it
    lean: what rises there by less than twice that is no peak. Where it rises more, a top from which
    the curve has fallen by ``capture.peak-dip`` before is the peak, and the rise another movement
    or the tipped heel; the mean of propulsion holds it. A top is flatter behind than before,
    and the top of one noisy stride is therefore read late; that of the mean curve is not, and gives
    the mean time, about which strides scatter as their own tops do.
    """
    mean = np.mean([stride.curve() for stride in strides], axis=0)
    end = round(parameters.capture.peak_end)
    top = int(np.argmax(mean[: end + 1]))
    askew = 2.0 * parameters.capture.aim * parameters.capture.toe_out_propulsion
    at_the_end = top == end or float(mean[end:].max() - mean[top]) > askew
    if at_the_end:
        fallen = np.maximum.accumulate(mean[: end + 1]) - mean[: end + 1]
        valley = int(np.argmax(fallen))
        if fallen[valley] >= parameters.capture.peak_dip:
            at_the_end, end, top = False, valley, int(np.argmax(mean[: valley + 1]))
    until = 1.0 if at_the_end else end / 100.0
    found = np.array([_peak_of(stride, noise, until, parameters) for stride in strides])
    times = found[:, 1] if at_the_end else found[:, 1] - found[:, 1].mean() + top
    return Peaks(found[:, 0], np.clip(times, 0.0, 100.0), at_the_end)


def _peak_of(
    stride: Stride, noise: float, until: float, parameters: Parameters
) -> tuple[float, float]:
    """Largest angle in degrees of the first share `until` of stance, and its time in percent.

    Notes
    -----
    The largest of many noisy samples is too large. The place is taken from the smooth curve, the
    height from a parabola through the unfiltered samples within ``capture.peak-window`` of
    stance on each side of it, less what noise in its slope adds to its top. At the ends of stance
    the smooth curve itself counts.
    """
    share = (stride.frames - stride.start) / (stride.stop - stride.start)
    top = int(np.argmax(np.where(share <= until, stride.smooth, -np.inf)))
    near = np.abs(share - share[top]) <= parameters.capture.peak_window
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


def phase_means(curve: FloatArray, parameters: Parameters) -> dict[str, float]:
    """Mean angle of each phase of one stance (101,)."""
    return {name: float(curve[cut].mean()) for name, cut in phase_slices(parameters).items()}
