"""Measures that follow from others of the same visit: one table, for one foot and for many.

``rules/measures.yaml`` declares each as a difference, a sum, a ratio, or a difference of the two
feet. What is not declared there is derived nowhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from recommend.measure.definitions import Derivation, MeasureDefs
from recommend.measure.model import SIDES, Side

Values = Mapping[Side, Mapping[str, Any]]  # by foot and measure, a number or an array of (n,)

# What rulebooks derived before they declared it; their records are still replayed.
_BEFORE = {
    "fpi-difference": Derivation(between_feet="fpi"),
    "contact-difference": Derivation(between_feet="contact-angle"),
    "length-difference": Derivation(between_feet="foot-length"),
    "width-ratio": Derivation(ratio=["forefoot-width", "foot-length"]),
}


def derivations(defs: MeasureDefs) -> dict[str, Derivation]:
    """By measure, how it follows from others; a measure comes after those it follows from."""
    declared = {name: one.derived for name, one in defs.items() if one.derived is not None}
    found = declared or {name: one for name, one in _BEFORE.items() if name in defs}
    ordered: dict[str, Derivation] = {}
    while len(ordered) < len(found):
        ready = [
            name
            for name, one in found.items()
            if name not in ordered and not any(p in found and p not in ordered for p in one.parts)
        ]
        if not ready:
            raise ValueError(f"these follow from each other in a circle: {sorted(found)}")
        ordered |= {name: found[name] for name in ready}
    return ordered


def reckoned(how: Derivation, side: Side, values: Values) -> Any:
    """A derived measure of the foot on `side`; None where a part of it is missing.

    Parameters
    ----------
    values : numbers, or arrays of n values, by foot and measure, each in the unit of the measure.
    """
    found = [values[foot].get(name) for foot, name in parts_of(how, side)]
    parts: list[Any] = [part for part in found if part is not None]
    if len(parts) < len(found):
        return None
    if how.between_feet is not None:
        return np.abs(parts[0] - parts[1])
    if how.ratio:
        return parts[0] / parts[1]
    if how.difference:
        return parts[0] - parts[1]
    return sum(parts[1:], parts[0])


def parts_of(how: Derivation, side: Side) -> Sequence[tuple[Side, str]]:
    """The readings a derived measure of the foot on `side` follows from."""
    if how.between_feet is not None:
        return [(foot, how.between_feet) for foot in SIDES]
    return [(side, name) for name in how.parts]


def error_of(how: Derivation, single: float, parts: Sequence[float]) -> float:
    """Standard error of a derived measure: of a ratio its own, else that of parts read apart."""
    return single if how.ratio else math.hypot(*parts)


def turning_points(
    how: Derivation, side: Side, part: tuple[Side, str], at: float, values: Values, step: float
) -> Iterator[float]:
    """Values of one `part` at which the derived measure of `side` passes the value `at`.

    Parameters
    ----------
    values : the other parts, as they are.
    step : what the derived measure is rounded to before it is compared; a ratio turns half a
        step beside the limit.
    """
    parts = parts_of(how, side)
    others = [float(values[foot][name]) for foot, name in parts if (foot, name) != part]
    first = parts[0] == part
    if how.between_feet is not None:
        yield from (others[0] + at, others[0] - at)
    elif how.ratio:
        for near in (at - step / 2, at, at + step / 2):
            if near > 0:
                yield near * others[0] if first else others[0] / near
    elif how.difference:
        yield others[0] + at if first else others[0] - at
    else:
        yield at - sum(others)
