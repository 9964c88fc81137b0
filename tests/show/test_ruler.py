"""The small ruled line of two feet: places worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from recommend.measure.definitions import MeasureDef, Norm
from recommend.measure.model import Measure
from recommend.show.assessment import ruled

# A band from 8 to 14 has the 7 columns 7 to 13 of the line: one column for each unit.
BAND = MeasureDef(
    title="t", plain="p", unit="deg", norm=[Norm(mean=11, sd=3, kind="derived", source="x")]
)


def reading(side: str, value: float) -> Measure:
    """A reading of one foot."""
    one = Measure(name="m", side="left", value=value, unit="deg", error=None, n=1, method="typed")
    return replace(one, side=side)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("left", "right", "line"),
    [
        (8, 14, ".......L-----R......."),
        (11, 11, ".......|--*--|......."),
        (9, 16, ".......|L----|.R....."),
        (0.4, 21.6, "<......|-----|......>"),
        (1, 21, "L......|-----|......R"),
    ],
)
def test_each_foot_stands_where_its_reading_lies(left: float, right: float, line: str) -> None:
    """One column a unit here: the ends of the band, its middle, beyond it, and off the line."""
    assert ruled([reading("left", left), reading("right", right)], BAND) == line


def test_a_foot_that_was_not_taken_is_not_on_the_line() -> None:
    """Missing is missing: one letter, not two."""
    assert ruled([None, reading("right", 10)], BAND) == ".......|-R---|......."


def test_without_a_norm_there_is_no_line() -> None:
    """What nobody measured in people has no usual place."""
    bare = MeasureDef(title="t", plain="p", unit="deg")
    assert ruled([reading("left", 3), None], bare) == ""
