"""From cleaned marks to rearfoot angles per stride and phase, each error term by term."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from recommend.errors import InputError, Place
from recommend.measure.definitions import MeasureDefs
from recommend.measure.doubts import Doubt, measured_with, noted, removed, too_few, widened
from recommend.measure.filtering import FloatArray, Span
from recommend.measure.measured import Measured
from recommend.measure.model import Measure
from recommend.measure.spread import Budget, scatter_error
from recommend.measure.video.cleaning import (
    Cleaned,
    clean_marks,
    cutoff_of,
    refuse_leg_for_heel,
    refuse_moving,
)
from recommend.measure.video.recording import MarksRecording, leg_heel_angle
from recommend.measure.video.stance import film_doubts, find_stances
from recommend.measure.video.strides import Stride, Values, stride_of, values_of
from recommend.parameters import Capture, Parameters

# A time, or a difference of two angles of one film: the zero and the placing of marks cancel.
_NOT_PLACED: Final = ("contact-time", "peak-time", "rearfoot-range", "rearfoot-return")
_UPRIGHT: Final = ("heel-vertical-midstance", "leg-vertical-midstance")  # the zero is no matter
_UNITS: Final = {"contact-time": "s", "peak-time": "percent"}


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
        refuse_moving(still, parameters.capture)
    cleaned = clean_marks(recording, still, parameters)
    zero, reference = _zero(still, parameters)
    angle = leg_heel_angle(cleaned.mended.points, recording.side) - zero
    if recording.gait == "standing":
        return _standing(recording, angle, reference, cleaned.doubts, defs)
    stances, doubts = find_stances(cleaned.mended, parameters.capture)
    strides, more = _strides(angle, stances, cleaned.mended, parameters.capture)
    if not strides:
        raise _no_stride(recording, stances)
    doubts = [*cleaned.doubts, *doubts, *more]
    return _Film(cleaned, reference, parameters, defs).measured(strides, doubts)


def _refuse_other_foot(recording: MarksRecording, still: MarksRecording | None) -> None:
    if still is not None and still.side != recording.side:
        raise InputError(
            Place(still.name),
            f"the still capture is of the {still.side} foot, the other of the {recording.side}",
            "one foot in both",
        )


def _zero(still: MarksRecording | None, parameters: Parameters) -> tuple[float, str]:
    """Angle taken as zero, in degrees, and the name of that reference."""
    if still is None:
        return 0.0, "vertical"
    cleaned = clean_marks(still, None, parameters).mended
    angle = leg_heel_angle(cleaned.points, cleaned.side)
    if np.isnan(angle).all():
        raise InputError(Place(still.name), "the still capture holds no frame with all marks")
    return float(np.nanmedian(angle)), "relaxed-standing"


def _no_stride(recording: MarksRecording, stances: Sequence[Span]) -> InputError:
    """Why no stride can be measured: marks are missing in all, or none is whole."""
    filmed = recording.filmed
    if stances:
        found = f"none of the {len(stances)} strides has all its marks"
        if recording.seen:
            found += f": {'; '.join(flag.detail for flag in recording.seen)}"
        by_hand = "say where the marks are (--put-right), or film again: `recommend help filming`"
        mend = by_hand if filmed else "mark the missing frames"
    else:
        found = "no whole stride is in this recording"
        given = "" if filmed else "give `# stance: 12-80; ...`; "
        mend = f"record from before first contact until after toe-off; {given}"
        mend += f"check {recording.rate_said}"
    return InputError(Place(recording.name), found, mend=mend)


def _strides(
    angle: FloatArray, stances: Sequence[Span], recording: MarksRecording, capture: Capture
) -> tuple[list[Stride], list[Doubt]]:
    """The strides that are whole and plausible, and doubts about the others."""
    kept, broken, wild = [], 0, 0
    limit, cutoff = capture.angle_limit, cutoff_of(recording, capture)
    lead = 0.0 if recording.told_from_heel else 0.5
    for span in stances:
        piece = angle[span[0] : span[1]]
        if np.isnan(piece).any() or len(piece) < 4:
            broken += 1
        elif np.abs(piece).max() > limit:
            wild += 1
        else:
            kept.append(stride_of(angle, span, cutoff, recording.rate_hz, lead))
    doubts = []
    if broken:
        doubts.append(noted("stride-broken", f"{broken} strides left out: marks missing"))
    if wild:
        text = f"{wild} strides left out: an angle beyond {limit:g} degrees is a wrong mark"
        doubts.append(noted("implausible-angle", text))
    return kept, doubts


def _standing(
    recording: MarksRecording,
    angle: FloatArray,
    reference: str,
    doubts: list[Doubt],
    defs: MeasureDefs,
) -> Measured:
    """One still capture is one reading: its frames repeat the same placing of the marks."""
    known = angle[~np.isnan(angle)]
    if not len(known):
        raise InputError(Place(recording.name), "no frame has all four marks")
    name, value = "standing-angle", float(np.median(known))
    usual = defs[name].error
    error = math.hypot(usual.single, usual.floor) if usual else None
    method, words = f"median of {len(known)} frames, marks on video", {"reference": reference}
    measure = Measure(name, recording.side, value, "deg", error, 1, method, words)
    return measured_with(
        doubts,
        [measure],
        recording,
        kind="marks",
        side=recording.side,
        load="static",
        n=1,
        strides={name: (value,)},
    )


@dataclass(frozen=True, slots=True)
class _Film:
    """Marks of one foot that walks or runs, and the numbers by which they are measured."""

    cleaned: Cleaned
    reference: str
    parameters: Parameters
    defs: MeasureDefs

    def measured(self, strides: Sequence[Stride], doubts: Sequence[Doubt]) -> Measured:
        """What its strides come to."""
        recording, capture = self.cleaned.mended, self.parameters.capture
        values = values_of(strides, self.cleaned.smooth, capture)
        wanted, needed = self.parameters.noise.few_strides, capture.strides_needed
        doubts = [
            *doubts,
            *too_few("strides", len(strides), wanted, needed, capture),
            *_turned_doubts(recording, capture),
            *_end_doubts(values),
            *film_doubts(strides, values.curve.mean, recording, capture),
        ]
        budgets = {name: self._budget(name, values) for name in values.each}
        measures = [self._measure(name, values.each[name], budgets[name]) for name in values.each]
        return measured_with(
            doubts,
            measures,
            recording,
            kind="marks",
            side=recording.side,
            load="dynamic",
            n=len(strides),
            strides={name: tuple(map(float, each)) for name, each in values.each.items()},
            curves={"rearfoot-angle": values.curve},
            budgets=budgets,
        )

    def _measure(self, name: str, each: FloatArray, budget: Budget) -> Measure:
        """Mean over strides with its error and what it only means together with."""
        n, recording = len(each), self.cleaned.mended
        method = f"mean of {n} strides, marks on video" if n > 1 else "one stride, marks on video"
        words: dict[str, str] = {"gait": recording.gait}
        if name not in (*_NOT_PLACED, *_UPRIGHT):
            words["reference"] = self.reference
        unit, mean = _UNITS.get(name, "deg"), float(np.mean(each))
        return Measure(name, recording.side, mean, unit, budget.total, n, method, words)

    def _budget(self, name: str, values: Values) -> Budget:
        """What the error of the mean of measure `name` is made of.

        Placing of the marks cancels where the zero is a still capture of the same marks, and in
        differences of two angles of one film. When contact times come out as whole frames of
        nearly one number, their scatter hides what the frame rate leaves open, which is therefore
        added.
        """
        each = list(map(float, values.each[name]))
        single, few = self._single(name, float(np.mean(each))), self.parameters.noise.few_strides
        terms = {"scatter": scatter_error(each, single=single, few=few)}
        terms |= values.shared.get(name, {})
        if name in _UPRIGHT or (name not in _NOT_PLACED and self.reference == "vertical"):
            terms["placing"] = self._placing(name)
        if name == "contact-time":
            terms["rate"] = self.parameters.capture.rate_contact_time / self.cleaned.mended.rate_hz
        return Budget(terms)

    def _placing(self, name: str) -> float:
        """Error of placing the marks: what repeats in this lab left beside strides, or the usual.

        Of an angle that the lab did not repeat, that of the peak stands in: the lines are the same.
        """
        for known in (self.defs[one].error for one in (name, "peak-angle") if one in self.defs):
            if known and known.of_lab and known.floor:
                return known.floor
        return self.parameters.capture.placing

    def _single(self, name: str, mean: float) -> float:
        """Usual error of one stride."""
        if name == "contact-time":
            return mean * self.parameters.capture.usual_contact_time
        if name == "peak-time":
            return self.parameters.capture.usual_peak_time
        alike = "rearfoot-range" if name in _NOT_PLACED else "contact-angle"
        known = self.defs.get(name, self.defs[alike]).error
        return known.single if known else 0.0


def _end_doubts(values: Values) -> list[Doubt]:
    """An angle that is largest where the tipped heel leaves: no time of a peak."""
    text = (
        "the angle is largest as the foot leaves, where a tipped heel seen askew looks so too: the "
        "time of the peak is not told"
    )
    return [removed("peak-at-the-end", text, ("peak-time",))] if values.no_peak else []


def _turned_doubts(recording: MarksRecording, capture: Capture) -> list[Doubt]:
    """A foot turned out of the camera's plane: its angles lean while it is tipped."""
    out = recording.toe_out_deg
    if out is None or abs(out) < capture.toe_out_noted:
        return []
    text = f"the foot points {out:g} degrees out of the camera's line"
    doubts = [widened("foot-turned-out", text)]
    if abs(out) > capture.toe_out_limit:
        text = f"{text}: too far for the angles of a tipped foot; turn the camera"
        concerns = ("touchdown-angle", "rearfoot-", "propulsion-")
        doubts.append(removed("foot-turned-too-far", text, concerns))
    return doubts
