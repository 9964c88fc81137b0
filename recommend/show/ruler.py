"""A small ruled line: where the two feet stand to what is usual, readable without colour."""

from __future__ import annotations

from recommend.measure.definitions import MeasureDef
from recommend.measure.model import Measure

COLUMNS = 21  # of the line; the usual band takes its middle third
_SHARE = 3  # the line is as many bands wide
LEGEND = (
    "L and R on the line, * where both are; |--| is the mean less and plus one SD of the people "
    "measured; ~ behind it: remembered or assumed, not published."
)
_KNOWN = ("published", "derived")


def ruled(found: list[Measure | None], definition: MeasureDef) -> str:
    """``......|-----L-R-|......`` for readings of left and right; empty without a norm.

    The band is the norm meant for the readings' own gait, zero or device, its mean less and plus
    one standard deviation. A reading beyond the line stands at its end as ``<`` or ``>``.
    """
    norms = [definition.norm_of(one.qualifiers) for one in found if one is not None]
    norm = norms[0] if norms else None
    numbers = [one is None or isinstance(one.value, (int, float)) for one in found]
    if norm is None or any(one != norm for one in norms) or not all(numbers):
        return ""
    band = COLUMNS // _SHARE
    line = list("." * band + "|" + "-" * (band - 2) + "|" + "." * band)
    low, high = norm.mean - norm.sd, norm.mean + norm.sd
    for letter, one in zip("LR", found, strict=True):
        if one is not None:
            _put(line, letter, (float(one.value) - low) / (high - low), band)
    return "".join(line) + ("" if norm.kind in _KNOWN else "~")


def _put(line: list[str], letter: str, place: float, band: int) -> None:
    """Write a letter where a reading stands; 0 and 1 are the ends of the band."""
    at = band + round(place * (band - 1))
    if not 0 <= at < COLUMNS:
        at, letter = (0, "<") if at < 0 else (COLUMNS - 1, ">")
    line[at] = "*" if line[at] in "LR" else letter
