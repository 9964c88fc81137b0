"""What a capture yielded as plain data, for JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from recommend.measure.measured import Measured
from recommend.measure.model import Flag, Measure
from recommend.measure.phases import Curve

FORMAT = "recommend-measures-1"


def as_document(found: Sequence[Measured]) -> dict[str, Any]:
    """Every foot of every capture: measures, values per step or stride, curves, footprint, doubts.

    Numbers keep four significant digits beyond the point; what was not measured is absent.
    """
    return {"format": FORMAT, "captures": [_one(one) for one in found]}


def _one(one: Measured) -> dict[str, Any]:
    document: dict[str, Any] = {
        "file": one.file,
        "sha256": one.sha256,
        "kind": one.kind,
        "side": one.side,
        "gait": one.gait,
        "condition": one.condition,
        "load": one.load,
        "n": one.n,
        "measures": [_measure(one, measure) for measure in one.measures],
        "flags": [_flag(flag) for flag in one.flags],
        "each": {name: _rounded(values) for name, values in one.strides.items()},
        "curves": {name: _curve(curve) for name, curve in one.curves.items()},
    }
    if one.picture is not None:
        document["footprint"] = {
            "x-mm": _rounded(one.picture.x),
            "y-mm": _rounded(one.picture.y),
            "peak-kpa": np.round(one.picture.pressure, 1).tolist(),
        }
    return document


def _measure(one: Measured, measure: Measure) -> dict[str, Any]:
    value = measure.value if isinstance(measure.value, str) else _short(measure.value)
    out: dict[str, Any] = {
        "name": measure.name,
        "value": value,
        "unit": measure.unit,
        "error": None if measure.error is None else _short(measure.error),
        "error-terms": {
            name: _short(term) for name, term in one.budget(measure).terms.items() if measure.error
        },
        "n": measure.n,
        "method": measure.method,
        "qualifiers": dict(measure.qualifiers),
        "flags": [flag.name for flag in measure.flags],
    }
    return out


def _flag(flag: Flag) -> dict[str, str]:
    return {"name": flag.name, "detail": flag.detail, "effect": flag.effect}


def _curve(curve: Curve) -> dict[str, Any]:
    return {
        "unit": curve.unit,
        "n": curve.n,
        "mean": np.round(curve.mean, 3).tolist(),
        "sd": np.round(curve.sd, 3).tolist(),
    }


def _rounded(values: Sequence[float] | np.ndarray[Any, Any]) -> list[float | None]:
    return [_short(float(value)) for value in values]


def _short(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None  # JSON has no NaN
