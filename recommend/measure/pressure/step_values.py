"""All numbers of one step: its footprint, its path over stance, what each of nine regions bears."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from recommend.errors import RecommendError
from recommend.measure.cop import cpei, path_length
from recommend.measure.filtering import FloatArray, Mask
from recommend.measure.measured import Phase, normalise, phase_slices
from recommend.measure.model import Side
from recommend.measure.pressure.footprint import (
    Footprint,
    arch_index,
    footprint,
    share_behind,
    weighted_arch_index,
    widths,
)
from recommend.measure.pressure.footsteps import Footstep
from recommend.measure.pressure.recording import (
    Frames,
    PressureRecording,
    find_frame,
    walking_direction,
)
from recommend.parameters import Capture

REGIONS: Final = (
    "medial-heel",
    "lateral-heel",
    "medial-midfoot",
    "lateral-midfoot",
    "medial-forefoot",
    "central-forefoot",
    "lateral-forefoot",
    "hallux",
    "toes",
)
# Toes are a sensor or two wide; of the inner midfoot the flank of the outer is read in most feet.
UNTOLD: Final = ("toes", "medial-midfoot")
_BETWEEN = np.array([-0.4, -0.2, 0.0, 0.2, 0.4])  # places in a sensor, in sensors from its centre


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredStep:
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


def heading_of(step: Footstep, recording: PressureRecording) -> FloatArray:
    """(2,) rough direction of walking: from first to last centre of pressure; forward if still."""
    if recording.load == "static" or len(step.path) < 2:
        return np.array([0.0, 1.0])
    return walking_direction(step.path)


def measure_step(
    step: Footstep, recording: PressureRecording, side: Side, capture: Capture
) -> MeasuredStep:
    """Measure one whole step of a known foot.

    Raises
    ------
    RecommendError
        If the path of the step cannot carry the construction of the excursion index.
    """
    pitch = recording.pitch_mm
    heading = heading_of(step, recording)
    peak = step.frames.mean(axis=0) if recording.load == "static" else step.peak
    peak = np.where(peak >= capture.contact_threshold, peak, np.float32(0))
    print_ = footprint(peak, pitch, find_frame(peak, pitch, heading, side, capture), capture)
    values = _shape_values(print_, capture)
    if recording.load == "static":
        return MeasuredStep(print_, None, None, values)
    if len(step.path) < 3:
        raise RecommendError("the step is too short or too light for a path")
    in_foot = print_.frame.to_foot(step.path)
    curve = normalise(in_foot)
    frames = round(capture.path_smooth * len(step.path))
    smooth = normalise(_averaged(in_foot, frames))
    values |= _path_values(curve, smooth, values, capture)
    values |= _load_values(step, print_, recording, capture)
    return MeasuredStep(print_, curve, normalise(step.force), values)


def _averaged(path: FloatArray, frames: int) -> FloatArray:
    """The path (n, 2) as means over `frames` on each side; fewer at its ends, evenly."""
    reach = np.minimum(np.minimum(np.arange(len(path)), np.arange(len(path))[::-1]), frames // 2)
    sums = np.vstack([np.zeros((1, 2)), np.cumsum(path, axis=0)])
    at = np.arange(len(path))
    mean: FloatArray = (sums[at + reach + 1] - sums[at - reach]) / (2 * reach + 1)[:, None]
    return mean


def _shape_values(print_: Footprint, capture: Capture) -> dict[str, float]:
    across = widths(print_, capture)
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
    curve: FloatArray, smooth: FloatArray, shape: Mapping[str, float], capture: Capture
) -> dict[str, float]:
    """Of the path (101, 2) as it was and averaged over time; noise only ever makes it longer."""
    length, width = shape["footprint-length"], shape["footprint-width"]
    every = round((len(smooth) - 1) / capture.path_pieces)
    values = {
        "cpei": cpei(curve, length, width, capture),
        "cop-path-length": path_length(smooth[::every]),
    }
    for phase, cut in phase_slices(capture).items():
        x = smooth[cut, 0]
        values[f"cop-excursion-{phase}"] = float(np.ptp(x))
        values[f"cop-shift-{phase}"] = float(x[-1] - x[0])
    return values


def _load_values(
    step: Footstep, print_: Footprint, recording: PressureRecording, capture: Capture
) -> dict[str, float]:
    values = {"contact-time": (step.stop - step.start) / recording.rate_hz}
    labels = region_labels(print_, capture)
    frames = step.frames
    loads = region_loads(frames, print_, labels, recording.rate_hz, capture)
    for region, load in loads.items():
        least = max(capture.region_least, capture.region_sensors * recording.cell_mm2)
        if region in UNTOLD or load.area_mm2 < least:
            continue
        values[f"peak-{region}"] = load.peak_kpa
        if not region.endswith("midfoot"):  # broad and flat: the highest sensor is a chance one
            values[f"integral-{region}"] = load.integral_kpa_s
    for phase, ratio in medial_lateral_ratio(frames, print_, capture).items():
        if np.isfinite(ratio):
            values[f"medial-lateral-{phase}"] = ratio
    return values


@dataclass(frozen=True, slots=True)
class RegionLoad:
    """What one region bears in one step.

    Attributes
    ----------
    peak_kpa : highest pressure of the region at any time, between sensors too.
    integral_kpa_s : highest pressure in the region at each instant, integrated over the step
        (the usual pressure-time integral).
    area_mm2 : contact area.
    """

    peak_kpa: float
    integral_kpa_s: float
    area_mm2: float


def region_labels(print_: Footprint, capture: Capture) -> NDArray[np.intp]:
    """(rows, columns) index into `REGIONS` of each loaded sensor, -1 without contact.

    Heel, midfoot and forefoot are the thirds of the toeless footprint. Heel and midfoot are
    halved by the foot axis, the forefoot is cut into three equal widths. Of the toes, those
    within ``capture.hallux-share`` of the forefoot's width from its medial border are the hallux.
    """
    return _labels_at(print_.cells, print_.weight > 0, print_.toes, print_, capture)


def _labels_at(
    cells: FloatArray, contact: Mask, toes: Mask, print_: Footprint, capture: Capture
) -> NDArray[np.intp]:
    """Index into `REGIONS` of places `cells` (..., 2) of x and y in mm, -1 without contact."""
    medial, width = _forefoot(print_)
    x, y = cells[..., 0], cells[..., 1]
    third = np.clip((3.0 * y / print_.toeless_mm).astype(np.intp), 0, 2)
    lateral = (x > 0).astype(np.intp)
    band = np.clip((3.0 * (x - medial) / width).astype(np.intp), 0, 2)
    hallux = x < medial + capture.hallux_share * width
    sole = np.where(third < 2, 2 * third + lateral, 4 + band)
    return np.where(contact, np.where(toes, np.where(hallux, 7, 8), sole), -1)


def _forefoot(print_: Footprint) -> tuple[float, float]:
    """Medial border and width of the forefoot in mm."""
    x, y = print_.cells[..., 0], print_.cells[..., 1]
    contact = print_.weight > 0
    fore = contact & ~print_.toes & (3.0 * y / print_.toeless_mm >= 2.0)
    across = x[fore] if fore.any() else x[contact]
    edge = print_.edge_mm
    return float(across.min()) - edge, max(float(np.ptp(across)) + 2.0 * edge, 1.0)


def region_loads(
    frames: Frames, print_: Footprint, labels: NDArray[np.intp], rate_hz: float, capture: Capture
) -> dict[str, RegionLoad]:
    """Load of each region over the frames of one step; regions without contact are left out."""
    loads = {}
    steady = _steady_peak(frames, capture.path_smooth * len(frames))
    tops = _tops(steady, print_, capture)
    for index, name in enumerate(REGIONS):
        inside = labels == index
        if inside.any():
            seen = frames[:, inside].astype(np.float64)
            peak = float(steady[inside].max())
            top = tops[index] or peak
            integral = float(_highest(seen).sum()) / rate_hz
            loads[name] = RegionLoad(
                peak_kpa=top,
                integral_kpa_s=integral * top / peak if peak > 0 else 0.0,
                area_mm2=float(print_.weight[inside].sum()) * print_.cell_mm2,
            )
    return loads


def _steady_peak(frames: Frames, window: float) -> FloatArray:
    """(rows, columns) highest mean over as many frames as lie whole in `window` frames.

    The highest of many noisy frames is too high; below two frames more it is each by itself.
    """
    reach = max(int((window - 1) // 2), 0)
    if len(frames) <= 2 * reach:
        reach = 0
    total = frames[: len(frames) - 2 * reach].copy()
    for later in range(1, 2 * reach + 1):
        total += frames[later : len(frames) - 2 * reach + later]
    steady: FloatArray = total.max(axis=0).astype(np.float64) / (2 * reach + 1)
    return steady


def _highest(seen: FloatArray) -> FloatArray:
    """(time,) reading of the sensor that bears most, of (time, sensors).

    The highest of many noisy readings is too high, so that which sensor it is comes from the
    frames before and after; where some are equal there, it is their mean.
    """
    highest = seen.max(axis=1)
    if len(seen) > 2:
        around = seen[:-2] + seen[2:]
        which = around == around.max(axis=1, keepdims=True)
        highest[1:-1] = (seen[1:-1] * which).sum(axis=1) / which.sum(axis=1)
    return np.asarray(highest, dtype=np.float64)


def _tops(steady: FloatArray, print_: Footprint, capture: Capture) -> list[float]:
    """The highest that a sensor anywhere in each region would read, in kPa; 0 without contact.

    Parameters
    ----------
    steady : (rows, columns) highest pressure of each sensor.

    The peak of a toe or a head seldom lies on the centre of a sensor. Between the centres the map
    is led by cubic convolution, within the contact.

    References
    ----------
    Keys RG 1981 IEEE Trans Acoust Speech Signal Process 29:1153-1160 (the kernel with a = -1/2).
    """
    many = len(_BETWEEN)
    bears = np.argwhere(print_.weight > 0)
    fine = _finer(_finer(steady).T).T.reshape(len(steady), many, -1, many)
    tops = fine[bears[:, 0], :, bears[:, 1]]  # sensors, along, across
    at = bears[:, :, None] + _BETWEEN
    forward, right = np.broadcast_arrays(
        at[:, 0, :, None] * print_.pitch_mm[0], at[:, 1, None, :] * print_.pitch_mm[1]
    )
    cells = print_.frame.to_foot(np.stack([right.ravel(), forward.ravel()], axis=1))
    toes = np.broadcast_to(print_.toes[print_.weight > 0][:, None, None], tops.shape)
    places = cells.reshape(*tops.shape, 2)
    labels = _labels_at(places, np.ones_like(toes), toes, print_, capture)
    return [float(tops[labels == k].max(initial=0.0)) for k in range(len(REGIONS))]


def _finer(values: FloatArray) -> FloatArray:
    """(5 n, k) of (n, k): the places `_BETWEEN` of every line, by cubic convolution along it."""
    near = np.abs(_BETWEEN)
    taps = np.stack(
        [
            -0.5 * near + near**2 - 0.5 * near**3,
            1.0 - 2.5 * near**2 + 1.5 * near**3,
            0.5 * near + 2.0 * near**2 - 1.5 * near**3,
            -0.5 * near**2 + 0.5 * near**3,
        ],
        axis=1,
    )
    weights = np.zeros((len(_BETWEEN), 5))
    for row, place, own in zip(weights, _BETWEEN, taps, strict=True):
        row[1:] = own
        if place < 0:
            row[:] = row[::-1].copy()
    lines = np.lib.stride_tricks.sliding_window_view(np.pad(values, ((2, 2), (0, 0))), 5, axis=0)
    finer: FloatArray = np.einsum("nkt,pt->npk", lines, weights).reshape(-1, values.shape[1])
    return finer


def medial_lateral_ratio(frames: Frames, print_: Footprint, capture: Capture) -> dict[Phase, float]:
    """Impulse medial of the foot axis over impulse lateral of it, in each phase of stance.

    Sensors on the axis are shared exactly. NaN where nothing bears laterally.
    """
    lateral_side = share_behind(
        -print_.cells[..., 0], -print_.frame.lateral, print_.pitch_mm, limit=0.0
    )
    total = frames.sum(axis=(1, 2), dtype=np.float64)
    lateral = np.tensordot(frames, lateral_side.astype(np.float32), 2).astype(np.float64)
    ratios: dict[Phase, float] = {}
    for phase, cut in phase_slices(capture, len(frames)).items():
        outer = float(lateral[cut].sum())
        ratios[phase] = float(total[cut].sum() - outer) / outer if outer > 0 else float("nan")
    return ratios
