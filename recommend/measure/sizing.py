"""Shoe sizes from the definitions of their systems, on foot length in mm.

EU: Paris points of 20/3 mm, counted from zero on the length of the last. UK: barleycorns of
1/3 inch, adult size 0 at 25 barleycorns of last length. US men: UK plus 1; US women: US men
plus ``sizing.us-women-offset``. Last = foot plus ``sizing.toe-allowance``. ISO 19407:2023
bases conversion on foot length in the same way; its tables are a guideline. Mondopoint
(ISO 9407) is the foot length itself. UK and US sizes of children run up to 13.5 and adult sizes
go on with 1 (trade custom, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from recommend.parameters import Parameters
from recommend.visit.models import ShoeSize, SizeSystem

# Definitions of the units, not limits: a Paris point is 2/3 cm, a barleycorn 1/3 inch.
PARIS_POINT_MM = Fraction(20, 3)
BARLEYCORN_MM = Fraction(254, 30)
ADULT_ZERO_BARLEYCORNS = 25
ADULT_ZERO_OF_CHILDREN = 13  # the child's size that an adult's zero is
TITLES: Mapping[SizeSystem, str] = {
    "mondopoint": "Mondopoint", "eu": "EU", "uk": "UK", "us-men": "US men", "us-women": "US women",
}  # fmt: skip


def size_in(system: SizeSystem, foot_length_mm: float, parameters: Parameters) -> float:
    """Size number of a foot length (mm) in `system`, not rounded to whole or half sizes."""
    if system == "mondopoint":
        return foot_length_mm
    last = foot_length_mm + parameters.sizing.toe_allowance
    if system == "eu":
        return last / float(PARIS_POINT_MM)
    uk = last / float(BARLEYCORN_MM) - ADULT_ZERO_BARLEYCORNS
    return uk + _beyond_uk(system, parameters)


def foot_length_of(worn: ShoeSize, parameters: Parameters) -> float:
    """Foot length in mm that the size of a shoe is made for, by its table."""
    size, allowance = worn.value, parameters.sizing.toe_allowance
    if worn.system == "mondopoint":
        return size
    if worn.system == "eu":
        return size * float(PARIS_POINT_MM) - (0 if worn.table == "foot" else allowance)
    above_men = {"plus-1.5": 1.5, "plus-1": 1.0}.get(worn.table or "")
    uk = size - _beyond_uk(worn.system, parameters, above_men)
    return (uk + ADULT_ZERO_BARLEYCORNS) * float(BARLEYCORN_MM) - allowance


def box_size(system: SizeSystem, foot_length_mm: float, parameters: Parameters) -> float:
    """Size number of a foot length (mm) as boxes bear it: half sizes, Mondopoint as it is."""
    size = size_in(system, foot_length_mm, parameters)
    return size if system == "mondopoint" else round(size * 2) / 2


def size_label(system: SizeSystem, foot_length_mm: float, parameters: Parameters) -> str | None:
    """A size as it stands on a box, to half sizes: ``EU 42.5``, ``UK 11.5 child``.

    None where the system has no such size (women's sizes below an adult's).
    """
    size = box_size(system, foot_length_mm, parameters)
    if system in ("mondopoint", "eu") or size >= 1:
        return f"{TITLES[system]} {size:g}"
    if system == "us-women":
        return None
    return f"{TITLES[system].removesuffix(' men')} {size + ADULT_ZERO_OF_CHILDREN:g} child"


def _beyond_uk(system: SizeSystem, parameters: Parameters, above_men: float | None = None) -> float:
    """How many sizes a number in `system` lies above the UK number of the same last."""
    women = parameters.sizing.us_women_offset if above_men is None else above_men
    return {"uk": 0.0, "us-men": 1.0, "us-women": 1.0 + women}[system]
