"""From cleaned marks to rearfoot angles per stride and phase, each error term by term."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.measure.budget import Budget
from recommend.measure.definitions import MeasureDefs
from recommend.measure.doubts import Doubt, apply_doubts
from recommend.measure.measured import Measured
from recommend.measure.model import Flag, Measure
from recommend.measure.phases import average
from recommend.measure.spread import scatter_error
from recommend.measure.video.angle import leg_heel_angle
from recommend.measure.video.cleaning import Cleaned, clean_marks, cutoff_of
from recommend.measure.video.faults import film_doubts, refuse_leg_for_heel, refuse_moving
from recommend.measure.video.recording import MarksRecording
from recommend.measure.video.stance import find_stances
from recommend.measure.video.strides import Stride, stride_of
from recommend.measure.video.values import Values, values_of
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]

# Angles a visit keeps one number per stride of.
VISIT_ANGLES = ("touchdown-angle", "contact-angle", "midstance-angle", "propulsion-angle")


# The zero cancels in a difference, and does not matter to a time or against the vertical.
_WITHOUT_ZERO: Final = (
    "contact-time",
    "peak-time",
    "rearfoot-range",
    "rearfoot-return",
    "heel-vertical-midstance",
    "leg-vertical-midstance",
)
_NOT_PLACED: Final = ("contact-time", "peak-time", "rearfoot-range", "rearfoot-return")
_UNITS: Final = {"contact-time": "s", "peak-time": "percent"}


@dataclass(frozen=True, slots=True, eq=False)
class _Zero:
    """Angle taken as zero, in degrees, and the name of that reference."""

    angle: float
    reference: str


def measure_marks(
    recording: MarksRecording,
    still: MarksRecording | None,
    parameters: Parameters,
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
    refuse_leg_for_heel(recording)
    if still is not None:
        refuse_moving(still, parameters)
    cleaned = clean_marks(recording, still, parameters)
    zero = _zero(still, parameters)
    angle = leg_heel_angle(cleaned.mended.points, recording.side) - zero.angle
    if recording.gait == "standing":
        return _standing(recording, angle, zero, cleaned.doubts, defs)
    stances, more = find_stances(cleaned.mended, parameters)
    doubts = [*cleaned.doubts, *more]
    strides = _strides(angle, stances, cleaned, doubts, parameters)
    if not strides:
        raise _no_stride(recording, stances)
    return _measured(strides, cleaned, zero, doubts, parameters, defs)


def _measured(
    strides: Sequence[Stride],
    cleaned: Cleaned,
    zero: _Zero,
    doubts: Sequence[Doubt],
    parameters: Parameters,
    defs: MeasureDefs,
) -> Measured:
    recording = cleaned.mended
    told = recording.contact is None and recording.stances is None
    values = values_of(strides, cleaned.smooth, parameters, told_from_heel=told)
    doubts = [
        *doubts,
        *_few(len(strides), parameters),
        *_turned_doubts(recording, parameters),
        *_end_doubts(values),
        *film_doubts(strides, recording, parameters),
    ]
    budgets = {
        name: _budget_of(name, values, zero.reference, recording.rate_hz, parameters, defs)
        for name in values.each
    }
    measures = [_measure(name, values, budgets[name], recording, zero) for name in values.each]
    return Measured(
        kind="marks",
        file=recording.name,
        sha256="",
        side=recording.side,
        gait=recording.gait,
        condition=recording.condition,
        load="dynamic",
        n=len(strides),
        measures=apply_doubts(measures, doubts),
        flags=tuple(doubt.flag for doubt in doubts),
        strides={name: tuple(map(float, each)) for name, each in values.each.items()},
        curves={"rearfoot-angle": average([stride.curve() for stride in strides], "deg")},
        budgets=budgets,
        device=recording.device,
        date=recording.date,
    )


def _refuse_other_foot(recording: MarksRecording, still: MarksRecording | None) -> None:
    if still is not None and still.side != recording.side:
        raise InputError(
            Place(still.name),
            f"the still capture is of the {still.side} foot, the other of the {recording.side}",
            "one foot in both",
        )


def _zero(still: MarksRecording | None, parameters: Parameters) -> _Zero:
    if still is None:
        return _Zero(0.0, "vertical")
    cleaned = clean_marks(still, None, parameters).mended
    angle = leg_heel_angle(cleaned.points, cleaned.side)
    if np.isnan(angle).all():
        raise InputError(Place(still.name), "the still capture holds no frame with all marks")
    return _Zero(float(np.nanmedian(angle)), "relaxed-standing")


def _no_stride(recording: MarksRecording, stances: Sequence[tuple[int, int]]) -> InputError:
    if stances:
        found = f"none of the {len(stances)} strides has all its marks"
        if recording.seen:
            found += f": {'; '.join(flag.detail for flag in recording.seen)}"
        by_hand = "say where the marks are (--put-right), or film again: `recommend help filming`"
        mend = by_hand if recording.filmed else "mark the missing frames"
        return InputError(Place(recording.name), found, mend=mend)
    given = "" if recording.filmed else "give `# stance: 12-80; ...`; "
    return InputError(
        Place(recording.name),
        "no whole stride is in this recording",
        mend=f"record from before first contact until after toe-off; {given}"
        f"check {recording.rate_said}",
    )


def _strides(
    angle: FloatArray,
    stances: Sequence[tuple[int, int]],
    cleaned: Cleaned,
    doubts: list[Doubt],
    parameters: Parameters,
) -> list[Stride]:
    """The strides that are whole and plausible."""
    kept, broken, wild = [], 0, 0
    limit = parameters.capture.angle_limit
    recording = cleaned.mended
    cutoff = cutoff_of(recording, parameters)
    lead = 0.0 if recording.contact is None and recording.stances is None else 0.5
    for span in stances:
        piece = angle[span[0] : span[1]]
        if np.isnan(piece).any() or len(piece) < 4:
            broken += 1
        elif np.abs(piece).max() > limit:
            wild += 1
        else:
            kept.append(stride_of(angle, span, cutoff, recording.rate_hz, lead))
    if broken:
        doubts.append(Doubt(Flag("stride-broken", f"{broken} strides left out: marks missing")))
    if wild:
        text = f"{wild} strides left out: an angle beyond {limit:g} degrees is a wrong mark"
        doubts.append(Doubt(Flag("implausible-angle", text)))
    return kept


def _measure(
    name: str, values: Values, budget: Budget, recording: MarksRecording, zero: _Zero
) -> Measure:
    """Mean over strides with its error and what it only means together with."""
    each = values.each[name]
    n = len(each)
    method = f"mean of {n} strides, marks on video" if n > 1 else "one stride, marks on video"
    words: dict[str, str] = {"gait": recording.gait, "reference": zero.reference}
    if name in _WITHOUT_ZERO or name.endswith("-excursion"):
        del words["reference"]
    mean = float(np.mean(each))
    return Measure(name, recording.side, mean, _unit_of(name), budget.total, n, method, words)


def _few(used: int, parameters: Parameters) -> list[Doubt]:
    wanted = parameters.noise.few_strides
    if used >= wanted:
        return []
    text = f"{used} strides; {wanted:g} give a steady mean"
    if used < parameters.capture.strides_needed:
        widen = parameters.capture.few_widening
        return [Doubt(Flag("too-few-strides", text, "widened"), widen=widen)]
    return [Doubt(Flag("too-few-strides", text))]


def _end_doubts(values: Values) -> list[Doubt]:
    """An angle that is largest where the tipped heel leaves: no time of a peak."""
    if not values.no_peak:
        return []
    text = (
        "the angle is largest as the foot leaves, where a tipped heel seen askew looks so too: the "
        "time of the peak is not told"
    )
    return [Doubt(Flag("peak-at-the-end", text, "removed"), ("peak-time",))]


def _turned_doubts(recording: MarksRecording, parameters: Parameters) -> list[Doubt]:
    """A foot turned out of the camera's plane: its angles lean while it is tipped."""
    out = recording.toe_out_deg
    if out is None or abs(out) < parameters.capture.toe_out_noted:
        return []
    text = f"the foot points {out:g} degrees out of the camera's line"
    doubts = [Doubt(Flag("foot-turned-out", text, "widened"))]
    if abs(out) > parameters.capture.toe_out_limit:
        text = f"{text}: too far for the angles of a tipped foot; turn the camera"
        concerns = ("touchdown-angle", "rearfoot-", "propulsion-")
        doubts.append(Doubt(Flag("foot-turned-too-far", text, "removed"), concerns))
    return doubts


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
        device=recording.device,
        date=recording.date,
    )


def _unit_of(name: str) -> str:
    """The unit of a measure of a film."""
    return _UNITS.get(name, "deg")


def _budget_of(
    name: str,
    values: Values,
    reference: str,
    rate_hz: float,
    parameters: Parameters,
    defs: MeasureDefs,
) -> Budget:
    """What the error of the mean of measure `name` is made of.

    Placing of the marks cancels where the zero is a still capture of the same marks, and in
    differences of two angles of one film. When contact times come out as whole frames of nearly
    one number, their scatter hides what the frame rate leaves open, which is therefore added.
    """
    each = values.each[name]
    single = _single(name, float(np.mean(each)), parameters, defs)
    few = parameters.noise.few_strides
    terms = {"scatter": scatter_error(list(map(float, each)), single=single, few=few)}
    terms |= values.shared.get(name, {})
    to_vertical = name.startswith(("heel-vertical", "leg-vertical"))
    if name not in _NOT_PLACED and (reference == "vertical" or to_vertical):
        terms["placing"] = _placing(name, parameters, defs)
    if name == "contact-time" and rate_hz:
        terms["rate"] = parameters.capture.rate_contact_time / rate_hz
    return Budget(terms)


def _placing(name: str, parameters: Parameters, defs: MeasureDefs) -> float:
    """Error of placing the marks: what repeats in this lab left beside strides, else the usual.

    Of an angle that the lab did not repeat, that of the peak stands in: the lines are the same.
    """
    for known in (defs[one].error for one in (name, "peak-angle") if one in defs):
        if known and known.of_lab and known.floor:
            return known.floor
    return parameters.capture.placing


def _single(name: str, mean: float, parameters: Parameters, defs: MeasureDefs) -> float:
    """Usual error of one stride."""
    if name == "contact-time":
        return mean * parameters.capture.usual_contact_time
    if name == "peak-time":
        return parameters.capture.usual_peak_time
    alike = "rearfoot-range" if name in _NOT_PLACED else "contact-angle"
    known = defs.get(name, defs[alike]).error
    return known.single if known else 0.0
