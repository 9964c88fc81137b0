"""From cleaned marks to rearfoot angles per stride and phase."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.measure.definitions import MeasureDefs
from recommend.measure.doubts import Doubt, apply_doubts
from recommend.measure.measured import Measured
from recommend.measure.model import Flag, Measure
from recommend.measure.phases import PHASES, average, normalise, phase_slices
from recommend.measure.spread import standard_error
from recommend.measure.video.angle import heel_lean, leg_heel_angle, leg_lean
from recommend.measure.video.cleaning import clean_marks
from recommend.measure.video.recording import MarksRecording
from recommend.measure.video.stance import find_stances

FloatArray = NDArray[np.float64]

# The zero cancels in a difference, and does not matter to a time or against the vertical.
_WITHOUT_ZERO = (
    "contact-time",
    "peak-time",
    "rearfoot-range",
    "heel-vertical-midstance",
    "leg-vertical-midstance",
)
# Angles a visit keeps one number per stride of.
VISIT_ANGLES = ("touchdown-angle", "contact-angle", "midstance-angle", "propulsion-angle")


@dataclass(frozen=True, slots=True, eq=False)
class _Zero:
    """Angle taken as zero, in degrees, and the name of that reference."""

    angle: float
    reference: str


def measure_marks(
    recording: MarksRecording,
    still: MarksRecording | None,
    parameters: Mapping[str, float],
    defs: MeasureDefs,
) -> Measured:
    """Measure the rearfoot angle of one foot.

    Without a still capture the angle is that of the heel line against the leg line as seen
    (reference ``vertical``: both lines in one is zero). With one, the angle in still standing is
    the zero (reference ``relaxed-standing``), and its plumb line levels the camera.

    Raises
    ------
    InputError
        If the marks cannot be trusted or hold no whole stride.
    """
    _refuse_other_foot(recording, still)
    cleaned, doubts = clean_marks(recording, still, parameters)
    zero = _zero(still, parameters)
    angle = leg_heel_angle(cleaned.points, cleaned.side) - zero.angle
    if recording.gait == "standing":
        return _standing(cleaned, angle, zero, doubts, defs)
    stances, more = find_stances(cleaned, parameters)
    doubts += more
    curves, used = _curves(angle, stances, doubts, parameters)
    if not curves:
        raise _no_stride(cleaned, stances)
    strides = _stride_values(curves, cleaned, used, parameters)
    doubts += _few(len(curves), parameters)
    measures = [
        _measure(name, values, cleaned, zero.reference, parameters, defs)
        for name, values in strides.items()
    ]
    return Measured(
        kind="marks",
        file=recording.name,
        sha256="",
        side=recording.side,
        gait=recording.gait,
        condition=recording.condition,
        load="dynamic",
        n=len(curves),
        measures=apply_doubts(measures, doubts),
        flags=tuple(doubt.flag for doubt in doubts),
        strides={n: tuple(v) for n, v in strides.items()},
        curves={"rearfoot-angle": average(curves, "deg")},
    )


def _refuse_other_foot(recording: MarksRecording, still: MarksRecording | None) -> None:
    if still is not None and still.side != recording.side:
        raise InputError(
            Place(still.name),
            f"the still capture is of the {still.side} foot, the other of the {recording.side}",
            "one foot in both",
        )


def _zero(still: MarksRecording | None, parameters: Mapping[str, float]) -> _Zero:
    if still is None:
        return _Zero(0.0, "vertical")
    cleaned, _ = clean_marks(still, None, parameters)
    angle = leg_heel_angle(cleaned.points, cleaned.side)
    if np.isnan(angle).all():
        raise InputError(Place(still.name), "the still capture holds no frame with all marks")
    return _Zero(float(np.nanmedian(angle)), "relaxed-standing")


def _no_stride(recording: MarksRecording, stances: Sequence[tuple[int, int]]) -> InputError:
    if stances:
        found = f"none of the {len(stances)} strides has all its marks"
        return InputError(Place(recording.name), found, mend="mark the missing frames")
    return InputError(
        Place(recording.name),
        "no whole stride is in this recording",
        mend="record from before first contact until after toe-off, or give `# stance: 12-80; ...`",
    )


def _curves(
    angle: FloatArray,
    stances: Sequence[tuple[int, int]],
    doubts: list[Doubt],
    parameters: Mapping[str, float],
) -> tuple[list[FloatArray], list[tuple[int, int]]]:
    """Angle over 101 points of each stride that is whole and plausible."""
    curves, used, broken, wild = [], [], 0, 0
    for start, stop in stances:
        piece = angle[start:stop]
        if np.isnan(piece).any() or len(piece) < 3:
            broken += 1
        elif np.abs(piece).max() > parameters["capture.angle-limit"]:
            wild += 1
        else:
            curves.append(normalise(piece))
            used.append((start, stop))
    if broken:
        doubts.append(Doubt(Flag("stride-broken", f"{broken} strides left out: marks missing")))
    if wild:
        limit = parameters["capture.angle-limit"]
        text = f"{wild} strides left out: an angle beyond {limit:g} degrees is a wrong mark"
        doubts.append(Doubt(Flag("implausible-angle", text)))
    return curves, used


def _stride_values(
    curves: Sequence[FloatArray],
    recording: MarksRecording,
    used: Sequence[tuple[int, int]],
    parameters: Mapping[str, float],
) -> dict[str, list[float]]:
    """Per measure, one value per stride.

    Contact is read at its peak, midstance and propulsion by their means; the range runs from
    first contact to that peak.
    """
    cuts = phase_slices(parameters)
    heel, leg = (lean(recording.points, recording.side) for lean in (heel_lean, leg_lean))
    values: dict[str, list[float]] = {}

    def add(name: str, value: float) -> None:
        values.setdefault(name, []).append(float(value))

    for curve, (start, stop) in zip(curves, used, strict=True):
        add("touchdown-angle", curve[0])
        add("contact-angle", curve[cuts["contact"]].max())
        add("midstance-angle", curve[cuts["midstance"]].mean())
        add("propulsion-angle", curve[cuts["propulsion"]].mean())
        add("rearfoot-range", curve[cuts["contact"]].max() - curve[0])
        for phase in PHASES:
            piece = curve[cuts[phase]]
            add(f"{phase}-mean", piece.mean())
            add(f"{phase}-peak", piece.max())
            add(f"{phase}-excursion", np.ptp(piece))
        add("peak-time", int(np.argmax(curve)))
        add("contact-time", (stop - start) / recording.rate_hz)
        middle = (start + stop) // 2
        add("heel-vertical-midstance", heel[middle])
        add("leg-vertical-midstance", leg[middle])
    return values


def _measure(
    name: str,
    values: Sequence[float],
    recording: MarksRecording,
    reference: str,
    parameters: Mapping[str, float],
    defs: MeasureDefs,
) -> Measure:
    """Mean over strides with its error and what it only means together with."""
    mean, n = float(np.mean(values)), len(values)
    method = f"mean of {n} strides, marks on video" if n > 1 else "one stride, marks on video"
    unit, single, floor = _error_of(name, mean, recording.rate_hz, parameters, defs)
    few = parameters["noise.few-strides"]
    error = standard_error(values, single=single, few=few, floor=floor)
    words: dict[str, str] = {"gait": recording.gait, "reference": reference}
    if name in _WITHOUT_ZERO or name.endswith("-excursion"):
        del words["reference"]
    return Measure(name, recording.side, mean, unit, error, n, method, words)


def _error_of(
    name: str, mean: float, rate_hz: float, parameters: Mapping[str, float], defs: MeasureDefs
) -> tuple[str, float, float]:
    """Unit, usual error of one stride, and error that more strides cannot remove."""
    if name == "contact-time":
        return "s", mean * parameters["capture.usual-contact-time"], 0.5 / rate_hz
    if name == "peak-time":
        return "percent", parameters["capture.usual-peak-time"], 1.0
    alike = "rearfoot-range" if name.endswith("-excursion") else "contact-angle"
    known = defs.get(name, defs[alike]).error
    return "deg", known.single if known else 0.0, known.floor if known else 0.0


def _few(used: int, parameters: Mapping[str, float]) -> list[Doubt]:
    wanted = parameters["noise.few-strides"]
    if used >= wanted:
        return []
    text = f"{used} strides; {wanted:g} give a steady mean"
    if used < parameters["capture.strides-needed"]:
        widen = parameters["capture.few-widening"]
        return [Doubt(Flag("too-few-strides", text, "widened"), widen=widen)]
    return [Doubt(Flag("too-few-strides", text))]


def _standing(
    recording: MarksRecording,
    angle: FloatArray,
    zero: _Zero,
    doubts: list[Doubt],
    defs: MeasureDefs,
) -> Measured:
    """One still capture is one reading: its frames repeat the same placing of the marks."""
    known = angle[~np.isnan(angle)]
    if not len(known):
        raise InputError(Place(recording.name), "no frame has all four marks")
    value = float(np.median(known))
    known_error = defs["standing-angle"].error
    error = math.hypot(known_error.single, known_error.floor) if known_error else None
    measure = Measure(
        "standing-angle",
        recording.side,
        value,
        "deg",
        error,
        1,
        f"median of {len(known)} frames, marks on video",
        {"reference": zero.reference},
    )
    return Measured(
        kind="marks",
        file=recording.name,
        sha256="",
        side=recording.side,
        gait="standing",
        condition=recording.condition,
        load="static",
        n=1,
        measures=apply_doubts([measure], doubts),
        flags=tuple(doubt.flag for doubt in doubts),
        strides={"standing-angle": (value,)},
    )
