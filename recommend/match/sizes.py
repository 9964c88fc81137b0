"""Which size of a product a pair of feet takes, and whether it is in stock.

Mondopoint (ISO 9407) is the length of the foot in mm, so no allowance is added here; the
allowance for the toes enters only when a size is said in EU, UK or US numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from recommend.catalogue.loading import Item
from recommend.measure.sizing import foot_length_of
from recommend.visit.models import Visit

Availability = Literal["in-stock", "out-of-stock", "not-made", "size-unknown"]


@dataclass(frozen=True, slots=True)
class Wanted:
    """The length a pair must be made for.

    `length` is in mm, None when neither foot was measured and no shoe size is known;
    `basis` says where it comes from.
    """

    length: float | None
    basis: str


@dataclass(frozen=True, slots=True)
class Sized:
    """The size of a product that fits, how many are there, and the next size to try.

    `short_of` is how much shorter the next smaller made size is than the foot (mm), given only
    for a foot between sizes.
    """

    availability: Availability
    size: float | None = None
    count: int = 0
    smaller: float | None = None
    short_of: float | None = None


def wanted_length(visit: Visit, parameters: Mapping[str, float]) -> Wanted:
    """The longer foot decides; without foot lengths, the shoe worn now."""
    feet = {"left": visit.feet.left.foot_length_mm, "right": visit.feet.right.foot_length_mm}
    known = {side: length for side, length in feet.items() if length}
    if len(known) == 2:
        side = max(known, key=lambda s: known[s])
        even = known["left"] == known["right"]
        return Wanted(known[side], "both feet alike" if even else f"the {side} foot is longer")
    if known:
        side, length = next(iter(known.items()))
        return Wanted(length, f"only the {side} foot was measured")
    if visit.shoe_size:
        length = foot_length_of(visit.shoe_size, parameters)
        return Wanted(length, "reckoned from the shoe worn now; measure both feet")
    return Wanted(None, "no foot length and no shoe size")


def worn_gap(visit: Visit, parameters: Mapping[str, float]) -> float | None:
    """How much longer (mm) the longer foot is than the foot its shoe of now is made for.

    None unless both are known, and apart by at least ``sizing.worn-gap``.
    """
    lengths = (visit.feet.left.foot_length_mm, visit.feet.right.foot_length_mm)
    known = [length for length in lengths if length]
    if not known or visit.shoe_size is None:
        return None
    gap = max(known) - foot_length_of(visit.shoe_size, parameters)
    return gap if abs(gap) >= parameters["sizing.worn-gap"] else None


def size_for(item: Item, wanted: Wanted, parameters: Mapping[str, float]) -> Sized:
    """The smallest made size that is long enough, within ``sizing.longest-over``."""
    if wanted.length is None:
        return Sized("size-unknown")
    shortest = wanted.length - parameters["sizing.length-slack"]
    longest = wanted.length + parameters["sizing.longest-over"]
    fitting = [size for size in item.stock if shortest <= size <= longest]
    if not fitting:
        return Sized("not-made")
    size = min(fitting)
    smaller = max((s for s in item.stock if s < size), default=None)
    between = size - wanted.length >= parameters["sizing.between-from"]
    short = wanted.length - smaller if smaller is not None and between else None
    count = item.stock[size]
    state: Availability = "in-stock" if count else "out-of-stock"
    return Sized(state, size, count, smaller if short is not None else None, short)
