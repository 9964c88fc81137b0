"""All numbers of one step: its footprint, its path over stance, what each region bears."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.errors import RecommendError
from recommend.measure.cop import cpei, path_length
from recommend.measure.model import Side
from recommend.measure.phases import normalise, phase_slices
from recommend.measure.pressure.footprint import (
    Footprint,
    arch_index,
    footprint,
    weighted_arch_index,
    widths,
)
from recommend.measure.pressure.footsteps import Step
from recommend.measure.pressure.frame import find_frame, walking_direction
from recommend.measure.pressure.recording import PressureRecording
from recommend.measure.pressure.regions import (
    UNTOLD,
    medial_lateral_ratio,
    region_labels,
    region_loads,
)
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class StepResult:
    """One step, measured.

    Attributes
    ----------
    footprint : areas and frame of the step.
    path : (101, 2) x and y of the centre of pressure in the foot over stance; None when static.
    force : (101,) vertical force in N over stance; None when static.
    values : measures of this step by name, in the units of `UNITS`.
    """

    footprint: Footprint
    path: FloatArray | None
    force: FloatArray | None
    values: dict[str, float]


def heading_of(step: Step, recording: PressureRecording) -> FloatArray:
    """(2,) rough direction of walking: from first to last centre of pressure; forward if still."""
    if recording.load == "static" or len(step.path) < 2:
        return np.array([0.0, 1.0])
    return walking_direction(step.path)


def measure_step(
    step: Step, recording: PressureRecording, side: Side, parameters: Parameters
) -> StepResult:
    """Measure one whole step of a known foot.

    Raises
    ------
    RecommendError
        If the path of the step cannot carry the construction of the excursion index.
    """
    pitch = recording.pitch_mm
    heading = heading_of(step, recording)
    peak = step.frames.mean(axis=0) if recording.load == "static" else step.peak
    peak = np.where(peak >= parameters.capture.contact_threshold, peak, np.float32(0))
    print_ = footprint(peak, pitch, find_frame(peak, pitch, heading, side, parameters), parameters)
    values = _shape_values(print_, parameters)
    if recording.load == "static":
        return StepResult(print_, None, None, values)
    if len(step.path) < 3:
        raise RecommendError("the step is too short or too light for a path")
    in_foot = print_.frame.to_foot(step.path)
    curve = normalise(in_foot)
    frames = round(parameters.capture.path_smooth * len(step.path))
    smooth = normalise(_averaged(in_foot, frames))
    values |= _path_values(curve, smooth, values, parameters)
    values |= _load_values(step, print_, recording, parameters)
    return StepResult(print_, curve, normalise(step.force), values)


def _averaged(path: FloatArray, frames: int) -> FloatArray:
    """The path (n, 2) as means over `frames` on each side; fewer at its ends, evenly."""
    reach = np.minimum(np.minimum(np.arange(len(path)), np.arange(len(path))[::-1]), frames // 2)
    sums = np.vstack([np.zeros((1, 2)), np.cumsum(path, axis=0)])
    at = np.arange(len(path))
    mean: FloatArray = (sums[at + reach + 1] - sums[at - reach]) / (2 * reach + 1)[:, None]
    return mean


def _shape_values(print_: Footprint, parameters: Parameters) -> dict[str, float]:
    across = widths(print_, parameters)
    return {
        "arch-index": arch_index(print_),
        "arch-index-weighted": weighted_arch_index(print_),
        "chippaux-smirak": across.chippaux_smirak,
        "staheli": across.staheli,
        "footprint-length": print_.frame.length_mm,
        "footprint-width": across.forefoot,
        "toe-out": print_.frame.toe_out_deg,
    }


def _path_values(
    curve: FloatArray, smooth: FloatArray, shape: Mapping[str, float], parameters: Parameters
) -> dict[str, float]:
    """Of the path (101, 2) as it was and averaged over time; noise only ever makes it longer."""
    length, width = shape["footprint-length"], shape["footprint-width"]
    every = round((len(smooth) - 1) / parameters.capture.path_pieces)
    values = {
        "cpei": cpei(curve, length, width, parameters),
        "cop-path-length": path_length(smooth[::every]),
    }
    for phase, cut in phase_slices(parameters).items():
        x = smooth[cut, 0]
        values[f"cop-excursion-{phase}"] = float(np.ptp(x))
        values[f"cop-shift-{phase}"] = float(x[-1] - x[0])
    return values


def _load_values(
    step: Step, print_: Footprint, recording: PressureRecording, parameters: Parameters
) -> dict[str, float]:
    values = {"contact-time": (step.stop - step.start) / recording.rate_hz}
    labels = region_labels(print_, parameters)
    frames, capture = step.frames, parameters.capture
    loads = region_loads(frames, print_, labels, recording.rate_hz, parameters)
    for region, load in loads.items():
        least = max(capture.region_least, capture.region_sensors * recording.cell_mm2)
        if region in UNTOLD or load.area_mm2 < least:
            continue
        values[f"peak-{region}"] = load.peak_kpa
        if not region.endswith("midfoot"):  # broad and flat: the highest sensor is a chance one
            values[f"integral-{region}"] = load.integral_kpa_s
    for phase, ratio in medial_lateral_ratio(frames, print_, parameters).items():
        if np.isfinite(ratio):
            values[f"medial-lateral-{phase}"] = ratio
    return values
