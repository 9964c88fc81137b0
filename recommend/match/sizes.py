"""Which size of a product a pair of feet takes, and whether it is in stock.

Mondopoint (ISO 9407) is the length of the foot in mm, so no allowance is added here; the
allowance for the toes enters only when a size is said in EU, UK or US numbers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.loading import Item
from recommend.dataclass import dataclass
from recommend.measure.model import SIDES, Side
from recommend.measure.sizing import foot_length_of
from recommend.parameters import Parameters
from recommend.visit.models import Visit

PER_MM = 10  # lengths are compared in tenths of a millimetre, finer than feet are measured
ROUNDING = 1e-9
CHILD = "child"  # the age band whose feet are given room to grow

Availability = Literal["in-stock", "out-of-stock", "not-made", "size-unknown"]


@dataclass(frozen=True, slots=True)
class Wanted:
    """The length a pair must be made for.

    `length` is in mm, None when neither foot was measured and no shoe size is known;
    `basis` says where it comes from, `smaller` what can be done for the shorter foot where the
    two differ.
    """

    length: float | None
    basis: str
    smaller: str = ""


@dataclass(frozen=True, slots=True)
class Sized:
    """The size of a product that fits, how many are there, and the next size to try.

    `short_of` is how much shorter the next smaller made size is than the foot (mm), given only
    for a foot between sizes; `over` how much longer the size is than wanted (mm), and `step` the
    same in the steps in which length is judged.
    """

    availability: Availability
    size: float | None = None
    count: int = 0
    smaller: float | None = None
    short_of: float | None = None
    over: float | None = None
    step: int = 0

    @property
    def there(self) -> bool:
        """Whether it can be handed over, as far as is known."""
        return self.availability in ("in-stock", "size-unknown")


def wanted_length(visit: Visit, parameters: Parameters) -> Wanted:
    """The longer foot decides; without foot lengths, the shoe worn now.

    What the purpose, or a child's growing, needs beyond the foot (``sizing.extra-...``) is added
    to a foot's length.
    """
    known = _lengths(visit)
    extra = extra_length(visit.purpose, visit.age_band, parameters)
    why = "growing" if visit.age_band == CHILD else visit.purpose
    more = f", {extra:g} mm added for {why}" if extra else ""
    if len(known) == 2:
        side = max(known, key=lambda s: known[s])
        even = known["left"] == known["right"]
        basis = "both feet alike" if even else f"the {side} foot is longer"
        return Wanted(known[side] + extra, basis + more, _for_the_shorter(known, parameters))
    if known:
        side, length = next(iter(known.items()))
        return Wanted(length + extra, f"only the {side} foot was measured{more}")
    if visit.shoe_size:
        length = float(round(foot_length_of(visit.shoe_size, parameters)))
        return Wanted(length, "reckoned from the shoe worn now; measure both feet")
    return Wanted(None, "no foot length and no shoe size")


def _lengths(visit: Visit) -> dict[Side, float]:
    """Lengths (mm) of the feet that were measured."""
    lengths = {side: visit.feet.of(side).foot_length_mm for side in SIDES}
    return {side: length for side, length in lengths.items() if length}


def _for_the_shorter(lengths: Mapping[Side, float], parameters: Parameters) -> str:
    """What can be done for the shorter of two feet; empty where they are as good as alike."""
    shorter = min(lengths, key=lambda side: lengths[side])
    less = max(lengths.values()) - lengths[shorter]
    sizing = parameters.sizing
    done = {
        "lace it firmer, or give it a thin filler under the liner": sizing.shorter_lace,
        "try both sizes; fit the longer foot, and fill the tongue, the heel or the toes for the "
        "shorter one": sizing.shorter_fill,
        "one size cannot fit both: two pairs, a shoe of each, or made to measure, and a "
        "clinician should know of it": sizing.shorter_split,
    }
    due = [words for words, least in done.items() if less >= least]
    return f"the {shorter} foot is {less:.0f} mm shorter: {due[-1]}" if due else ""


def extra_length(purpose: str | None, age: str | None, parameters: Parameters) -> float:
    """What a purpose, or growing, adds to the length of the foot, in mm: the larger of the two."""
    words = [purpose, CHILD if age == CHILD else None]
    return max(
        (parameters.numbers.get(f"sizing.extra-{one}", 0.0) for one in words if one), default=0.0
    )


def worn_gap(visit: Visit, parameters: Parameters) -> float | None:
    """How much longer (mm) the longer foot is than the foot its shoe of now is made for.

    None unless both are known, and apart by at least ``sizing.worn-gap``.
    """
    known = _lengths(visit)
    if not known or visit.shoe_size is None:
        return None
    gap = max(known.values()) - foot_length_of(visit.shoe_size, parameters)
    return gap if abs(gap) >= parameters.sizing.worn_gap else None


def longer_lengths(
    feet: Sequence[NDArray[np.float64]],
    purposes: Sequence[str],
    ages: Sequence[str],
    parameters: Parameters,
) -> NDArray[np.float64]:
    """(n,) length wanted in mm for n pairs of feet: of the longer one, and what is added to it."""
    for_purpose = {one: extra_length(one or None, None, parameters) for one in set(purposes)}
    for_age = {one: extra_length(None, one or None, parameters) for one in set(ages)}
    each = [list(map(for_purpose.__getitem__, purposes)), list(map(for_age.__getitem__, ages))]
    more = np.max(each, axis=0)
    return np.asarray(np.fmax.reduce(list(feet)) + more, np.float64)


def size_for(item: Item, wanted: Wanted, parameters: Parameters) -> Sized:
    """The smallest made size that is long enough, within ``sizing.longest-over``.

    What the customer has already is taken as it is: the fitter sees how it fits.
    """
    if item.offered == "none":
        return Sized("in-stock")
    if wanted.length is None or not item.stock:
        return Sized("size-unknown")
    at = int(taken(item, np.array([wanted.length]), parameters)[0])
    if at < 0:
        return Sized("not-made")
    made = sorted(item.stock)
    size, count = made[at], item.stock[made[at]]
    smaller = made[at - 1] if at else None
    between = size - wanted.length >= parameters.sizing.between_from
    short = wanted.length - smaller if smaller is not None and between else None
    over = size - wanted.length
    state: Availability = "in-stock" if count else "out-of-stock"
    step = int(length_steps(np.array([over]), parameters)[0])
    return Sized(state, size, count, smaller if short is not None else None, short, over, step)


def taken(item: Item, lengths: NDArray[np.float64], parameters: Parameters) -> NDArray[np.intp]:
    """Place among the made sizes of the one that each length (mm) takes; -1 where none fits.

    That is the smallest that is long enough, if it is not too long.
    """
    return _taken(np.array(sorted(item.stock)), lengths, parameters)


def _taken(
    made: NDArray[np.float64], lengths: NDArray[np.float64], parameters: Parameters
) -> NDArray[np.intp]:
    at = np.searchsorted(made, lengths - parameters.sizing.length_slack)
    size = np.append(made, np.inf)[at]
    return np.where(size <= lengths + parameters.sizing.longest_over, at, -1)


def length_steps(over: NDArray[np.float64], parameters: Parameters) -> NDArray[np.int64]:
    """How many steps longer than wanted sizes are; 0 under earlier rulebooks, which do not ask."""
    step = parameters.sizing.length_step
    return np.maximum(0, np.floor((over + ROUNDING) / step)).astype(np.int64)


class SizeClasses:
    """Lengths grouped so that within a group every product has the same size, and the same step.

    The last group is for customers whose length is not known.

    Parameters
    ----------
    items : products whose sizes divide the lengths.
    parameters : the rulebook's parameters.
    steps : whether steps of length are told apart, or sizes alone.
    """

    def __init__(
        self, items: Iterable[Item], parameters: Parameters, *, steps: bool = False
    ) -> None:
        self.parameters = parameters
        self._known: dict[tuple[float, ...], tuple[NDArray[np.intp], NDArray[np.int64]]] = {}
        over, slack = parameters.sizing.longest_over, parameters.sizing.length_slack
        step = parameters.sizing.length_step if steps else math.inf
        sizes = {size for item in items for size in item.stock}
        # A size fits from `over` below it up to and including `slack` above it.
        starts = {_tenths(size - over) for size in sizes}
        starts |= {_tenths(size + slack) + 1 for size in sizes}
        within = range(1, 1 + math.floor(over / step))
        starts |= {_tenths(size - n * step) + 1 for size in sizes for n in within}
        self.starts = np.array(sorted(starts))

    def __len__(self) -> int:
        return len(self.starts) + 2

    @property
    def unknown(self) -> int:
        """The class of customers whose length is not known."""
        return len(self.starts) + 1

    def of_lengths(self, lengths: NDArray[np.float64]) -> NDArray[np.intp]:
        """Class of each length (mm); NaN is a length that is not known."""
        tenths = np.rint(np.nan_to_num(lengths) * PER_MM)
        classes = np.searchsorted(self.starts, tenths, side="right")
        return np.where(np.isfinite(lengths), classes, self.unknown)

    def length(self, index: int) -> float | None:
        """A length (mm) that falls into the class; None for the unknown."""
        if index == self.unknown:
            return None
        if index == 0:
            return float(self.starts[0] - 1) / PER_MM if len(self.starts) else 0.0
        return float(self.starts[index - 1]) / PER_MM

    @property
    def edges(self) -> NDArray[np.float64]:
        """The lengths (mm) at which one class ends and the next begins."""
        return np.asarray((self.starts - 0.5) / PER_MM, np.float64)

    def mondopoint(self, index: int) -> float | None:
        """The whole size (Mondopoint, mm) that a foot of the class would take if it were made."""
        length = self.length(index)
        if length is None:
            return None
        step = self.parameters.coverage.size_step
        return math.ceil((length - self.parameters.sizing.length_slack) / step) * step

    def sized(self, item: Item, index: int) -> Sized:
        """The size of an item in one class."""
        return size_for(item, Wanted(self.length(index), ""), self.parameters)

    def taken(self, item: Item) -> NDArray[np.intp]:
        """Place among the made sizes of the one that each class takes, the unknown left out."""
        return self._places(item)[0]

    def _places(self, item: Item) -> tuple[NDArray[np.intp], NDArray[np.int64]]:
        """As `taken`, and how many steps longer than wanted that size is; once for sizes alike."""
        made = tuple(sorted(item.stock))
        if made not in self._known:
            sizes = np.array(made)
            at = _taken(sizes, self._lengths, self.parameters)
            over = sizes[at] - self._lengths
            steps = np.where(at < 0, 0, length_steps(over, self.parameters))
            self._known[made] = at, steps
        return self._known[made]

    def having(self, items: Sequence[Item], accepted: Iterable[Availability]) -> NDArray[np.bool_]:
        """Whether each class can have each item, bool, shape (classes, items)."""
        allowed: set[str] = {*accepted, "size-unknown"}
        table = np.array([self._have(item, allowed) for item in items], np.bool_)
        return table.reshape(len(items), len(self)).T

    def _have(self, item: Item, allowed: set[str]) -> NDArray[np.bool_]:
        if item.offered != "shop":
            return np.ones(len(self), np.bool_)
        at = self.taken(item)
        counts = np.array([item.stock[size] for size in sorted(item.stock)])
        there = np.where(counts > 0, "in-stock" in allowed, "out-of-stock" in allowed)
        none = "not-made" in allowed
        known = np.where(at < 0, none, there[at])
        return np.append(known, "size-unknown" in allowed)

    def steps(self, items: Sequence[Item]) -> NDArray[np.int64]:
        """Steps of length of each item in each class, shape (items, classes)."""
        return np.array([self._steps(item) for item in items]).reshape(len(items), len(self))

    def _steps(self, item: Item) -> NDArray[np.int64]:
        if item.offered != "shop":
            return np.zeros(len(self), np.int64)
        return np.append(self._places(item)[1], 0)

    @cached_property
    def _lengths(self) -> NDArray[np.float64]:
        """A length of each class, the unknown left out."""
        return np.array([self.length(index) for index in range(len(self) - 1)], np.float64)


def _tenths(length: float) -> int:
    return round(length * PER_MM)
