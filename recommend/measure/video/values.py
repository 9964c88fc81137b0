"""What each stride of a film yields, and how far it hangs on when contact began and ended."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.measure.phases import PHASES, phase_slices
from recommend.measure.video.angle import heel_lean, leg_lean
from recommend.measure.video.recording import (
    LOWER_HEEL,
    LOWER_LEG,
    UPPER_HEEL,
    UPPER_LEG,
    MarksRecording,
)
from recommend.measure.video.strides import Stride, landing_of, peaks_of, phase_means
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Values:
    """One value per stride of each measure, and errors that all strides share.

    Attributes
    ----------
    each : (strides,) by measure, in the unit of the measure.
    shared : standard errors by term (see `budget.TERMS`) and measure that repeating strides
        does not remove.
    no_peak : the angle is largest as the foot leaves (`strides.Peaks`): no time of a peak.
    """

    each: Mapping[str, FloatArray]
    shared: Mapping[str, Mapping[str, float]]
    no_peak: bool


def values_of(
    strides: Sequence[Stride],
    recording: MarksRecording,
    parameters: Parameters,
    *,
    told_from_heel: bool,
) -> Values:
    """All measures of `strides`; `recording` is the filtered one, for what stands to the vertical.

    `told_from_heel`: contact was told from the heel mark, so its instants have an error of
    their own.
    """
    rate = recording.rate_hz
    angles, landing, no_peak = _angles(strides, rate, parameters)
    shared: dict[str, dict[str, float]] = {name: {} for name in angles}
    for name in ("touchdown-angle", "rearfoot-range"):
        shared[name]["landing"] = landing
    for name, error in _toe_out_errors(recording, no_peak, parameters).items():
        shared[name]["toe-out"] = error
    if recording.centre_error:
        for name in _ANGLES:
            shared[name]["centres"] = _centres(recording)
    shared["peak-time"]["flat"] = _flat_top(strides, parameters)
    if told_from_heel:
        gait = "-running" if recording.gait == "running" else ""
        start_ms = parameters.capture[f"events-start{gait}-ms"]
        for name, error in _event_errors(strides, rate, start_ms, parameters).items():
            shared[name]["events"] = error
    return Values(angles | _others(strides, recording), shared, no_peak)


def _angles(
    strides: Sequence[Stride], rate_hz: float, parameters: Parameters
) -> tuple[dict[str, FloatArray], float, bool]:
    """Angles and times by measure, the error that all landings share, and whether no peak is."""
    landing = landing_of(strides, rate_hz, parameters)
    curves = [stride.curve() for stride in strides]
    tops = peaks_of(strides, landing.noise, parameters)
    means = [phase_means(curve, parameters) for curve in curves]
    peak = np.maximum(tops.angles, landing.angles)  # the peak is the largest of the stance
    by_phase = {name: np.array([one[name] for one in means]) for name in PHASES}
    cuts = phase_slices(parameters)
    early = np.array([curve[cuts["contact"]].max() for curve in curves])
    values = {
        "touchdown-angle": landing.angles,
        "peak-angle": peak,
        "peak-time": tops.times,
        "rearfoot-range": peak - landing.angles,
        "contact-angle": np.minimum(early, peak),
        "midstance-angle": by_phase["midstance"],
        "propulsion-angle": by_phase["propulsion"],
        "rearfoot-return": peak - by_phase["propulsion"],
        "contact-time": np.array([stride.stop - stride.start for stride in strides]) / rate_hz,
    }
    return values, landing.shared_error, tops.at_the_end


def _toe_out_errors(
    recording: MarksRecording, no_peak: bool, parameters: Parameters
) -> dict[str, float]:
    """What a foot turned out of the camera's plane does to each angle.

    A stated toe-out lies anywhere up to itself from the line of the camera, as far as is known.
    With `no_peak` the largest angle is that of a heel tipped furthest, as the foot leaves.
    """
    out = math.hypot(parameters.capture.aim, (recording.toe_out_deg or 0.0) / math.sqrt(3.0))
    landed = "landing-running" if recording.gait == "running" else "landing"
    landing, flat, late, end = (
        out * parameters.capture[f"toe-out-{when}"]
        for when in (landed, "flat", "propulsion", "end")
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


_ANGLES = (
    "touchdown-angle",
    "rearfoot-range",
    "peak-angle",
    "contact-angle",
    "midstance-angle",
    "propulsion-angle",
    "rearfoot-return",
)


def _centres(recording: MarksRecording) -> float:
    """Degrees by which found centres turn the lines of leg and heel, as if alike in all frames."""
    lengths = [
        float(np.nanmedian(np.hypot(*(recording.points[:, a] - recording.points[:, b]).T)))
        for a, b in ((UPPER_LEG, LOWER_LEG), (UPPER_HEEL, LOWER_HEEL))
    ]
    ends = math.sqrt(2.0) * recording.centre_error
    return math.degrees(math.hypot(*(ends / length for length in lengths)))


def _flat_top(strides: Sequence[Stride], parameters: Parameters) -> float:
    """Error of the time of the peak, in percent of stance, from how flat the mean curve tops."""
    mean = np.mean([stride.curve() for stride in strides], axis=0)
    wide = np.count_nonzero(mean >= mean.max() - parameters.capture.peak_flat)
    return max(float(wide), 1.0) / math.sqrt(12.0)


def _others(strides: Sequence[Stride], recording: MarksRecording) -> dict[str, FloatArray]:
    """What stands to the vertical, in the middle of stance."""
    middle = [round((stride.start + stride.stop) / 2) for stride in strides]
    return {
        "heel-vertical-midstance": heel_lean(recording.points, recording.side)[middle],
        "leg-vertical-midstance": leg_lean(recording.points, recording.side)[middle],
    }


def _event_errors(
    strides: Sequence[Stride], rate_hz: float, start_ms: float, parameters: Parameters
) -> dict[str, float]:
    """Half the change of each mean when contact begins, or ends, an error earlier and later."""
    start = start_ms * rate_hz / 1000.0
    length = float(np.mean([stride.stop - stride.start for stride in strides]))
    stop = parameters.capture.events_stop_share * length
    total: dict[str, float] = {}
    for by in ((start, 0.0), (0.0, stop)):
        later, _, _ = _angles([s.moved(*by) for s in strides], rate_hz, parameters)
        sooner, _, _ = _angles([s.moved(-by[0], -by[1]) for s in strides], rate_hz, parameters)
        for name in later:
            change = abs(float(later[name].mean() - sooner[name].mean())) / 2.0
            total[name] = float(np.hypot(total.get(name, 0.0), change))
    return total
