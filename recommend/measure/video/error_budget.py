"""The error of each measure of a film, term by term."""

from __future__ import annotations

from typing import Final

import numpy as np

from recommend.measure.budget import Budget
from recommend.measure.definitions import MeasureDefs
from recommend.measure.spread import scatter_error
from recommend.measure.video.values import Values
from recommend.parameters import Parameters

# The zero cancels in a difference, and does not matter to a time or against the vertical.
WITHOUT_ZERO: Final = (
    "contact-time",
    "peak-time",
    "rearfoot-range",
    "rearfoot-return",
    "heel-vertical-midstance",
    "leg-vertical-midstance",
)
_NOT_PLACED: Final = ("contact-time", "peak-time", "rearfoot-range", "rearfoot-return")
_UNITS: Final = {"contact-time": "s", "peak-time": "percent"}


def unit_of(name: str) -> str:
    """The unit of a measure of a film."""
    return _UNITS.get(name, "deg")


def budget_of(
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
