"""The readings that a trial compares: their field, their measure, and the limits of their band."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

STANDING = "standing"


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of the rearfoot.

    Attributes
    ----------
    name : as it stands in keys, in JSON and at the command line.
    measure : its name in ``rules/measures.yaml``.
    limits : names of the lower and the upper limit of what is usual.
    angle : whether it is an angle from a zero: below its band a foot is over-corrected, and a
        change beyond what footwear is known to bring about is doubted.
    """

    name: str
    measure: str
    limits: tuple[str, str]
    angle: bool = True


def _reading(name: str, measure: str = "", angle: bool = True) -> Reading:
    return Reading(name, measure or f"{name}-angle", (f"{name}-lower", f"{name}-upper"), angle)


# In the order of a table. `contact`, of older visits, decides nothing where the peak is given.
READINGS: Final[Mapping[str, Reading]] = {
    one.name: one
    for one in (
        Reading(STANDING, "standing-angle", ("standing-inverted", "standing-everted")),
        _reading("touchdown"),
        _reading("peak"),
        _reading("contact"),
        _reading("peak-time", "peak-time", angle=False),
        _reading("range", "rearfoot-range", angle=False),
        _reading("midstance"),
        _reading("propulsion"),
        _reading("return", "rearfoot-return", angle=False),
    )
}
READINGS_BY_MEASURE: Final[Mapping[str, Reading]] = {one.measure: one for one in READINGS.values()}
MOVING: Final = tuple(name for name in READINGS if name != STANDING)
# What is typed or filmed; the range and the return follow from others where they are not written.
TYPED: Final = tuple(name for name in MOVING if name != "return")
# Readings in degrees whose change by each product is learned.
LEARNED: Final = ("peak", "contact", "range", "midstance", "propulsion", "return")
# What follows from two readings of the same strides: the first less the second.
DERIVED: Final[Mapping[str, tuple[str, str]]] = {
    "range": ("peak", "touchdown"),
    "return": ("peak", "propulsion"),
}


def field_of(name: str) -> str:
    """The field of a rearfoot entry that holds a reading."""
    return "angle" if name == STANDING else name.replace("-", "_")
