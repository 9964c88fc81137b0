"""Measures, errors and sizes in words, the same everywhere."""

from __future__ import annotations

from recommend.measure.definitions import MeasureDef
from recommend.measure.model import Measure

_UNITS = {"deg": "°", "percent": " %", "score": "", "ratio": "", "class": ""}


def unit_words(unit: str) -> str:
    """What follows a number in this unit."""
    return _UNITS.get(unit, f" {unit}")


def value_words(measure: Measure, definition: MeasureDef) -> str:
    """A measure's value with unit and error: ``3.4° ±0.6``."""
    if isinstance(measure.value, str):
        return measure.value
    places = definition.decimals
    text = f"{number(measure.value, places)}{unit_words(measure.unit)}"
    if measure.error:
        text += f" ±{number(measure.error, max(places, 1))}"
    return text


def number(value: float, places: int) -> str:
    """A number with fixed places and no negative zero."""
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def qualifier_words(measure: Measure) -> str:
    """What a value only means together with, in brackets: ``(walking, from vertical)``."""
    words = [
        f"from {value}" if name == "reference" else value
        for name, value in measure.qualifiers.items()
    ]
    return f"({', '.join(words)})" if words else ""


def sure_words(measure: Measure) -> str:
    """How sure a reading is, in words: what it stands on and what is doubted."""
    many = {"mean of strides": "strides", "mean of readings": "readings"}.get(measure.method)
    text = f"{measure.n} {many}" if many else measure.method
    doubts = ", ".join(flag.name.replace("-", " ") for flag in measure.flags)
    return f"{text}; {doubts}" if doubts else text
