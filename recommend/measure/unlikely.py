"""What hardly anybody has: weight, sizes, wear and angles that were likely written down wrongly."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import fmean, stdev

from recommend.dataclass import dataclass
from recommend.errors import counted
from recommend.measure.model import SIDES, Side
from recommend.measure.observed import PHASES
from recommend.parameters import Entry, Parameters
from recommend.visit.models import Foot, Visit, days_between

ANGLES = ("angle", *PHASES)


def unlikely(visit: Visit, parameters: Parameters, *, strides: bool = False) -> Iterator[str]:
    """Weight, sizes, wear and angles that hardly anybody has, each in words.

    With `strides` also readings of one angle that scatter more than one person's usually do.
    `parameters` has what is usual under ``entry``.
    """
    yield from _Unlikely(visit, parameters).found(strides=strides)


@dataclass(frozen=True, slots=True)
class _Unlikely:
    visit: Visit
    parameters: Parameters

    def found(self, *, strides: bool) -> Iterator[str]:
        yield from self._mass()
        yield from self._wear()
        yield from self._sizes()
        for side, foot in self._feet().items():
            if strides:
                yield from self._strides(side, foot)
            yield from self._angles(side, foot)

    def _feet(self) -> dict[Side, Foot]:
        return {side: self.visit.feet.of(side) for side in SIDES}

    @property
    def _limits(self) -> Entry:
        return self.parameters.entry

    def _sizes(self) -> Iterator[str]:
        """Lengths and heights."""
        feet = self._feet()
        for side, foot in feet.items():
            length = foot.foot_length_mm
            yield from self._outside(side, "foot length", "foot-length", length, "mm")
            if length:
                truncated, width = foot.truncated_foot_length_mm, foot.forefoot_width_mm
                shares = (
                    ("heel-to-ball length over foot length", "truncated-share", truncated),
                    ("forefoot width over foot length", "width-share", width),
                    ("heel width over foot length", "heel-share", foot.heel_width_mm),
                )
                for words, name, part in shares:
                    yield from self._outside(side, words, name, part and part / length, "")
            yield from self._heights(side, foot)
        lengths = [foot.foot_length_mm for foot in feet.values() if foot.foot_length_mm]
        if len(lengths) == len(SIDES) and abs(lengths[0] - lengths[1]) > self._limits.side_gap:
            yield f"left {lengths[0]:g} mm and right {lengths[1]:g} mm differ by two sizes or more"

    def _mass(self) -> Iterator[str]:
        low, high = self._limits.body_mass_low, self._limits.body_mass_high
        mass, age = self.visit.body_mass_kg, self.visit.age_band
        if mass is None or age in ("child", "teen") or low <= mass <= high:
            return
        yield f"the body mass would be {mass:g} kg; {low:g} to {high:g} is usual"

    def _wear(self) -> Iterator[str]:
        """Longer wear than the time since the visit before."""
        again = self.visit.follow_up
        if again is None or again.weeks_of_wear is None:
            return
        days = days_between(again.of, self.visit.date)
        if days is not None and 7 * again.weeks_of_wear >= days + 7:
            since = "today" if days == 0 else f"{counted(days, 'day')} ago"
            yield f"{again.weeks_of_wear:g} weeks of wear, and the last visit was {since}"

    def _outside(
        self, side: Side, words: str, name: str, value: float | None, unit: str
    ) -> Iterator[str]:
        low, high = self._limits[f"{name}-low"], self._limits[f"{name}-high"]
        if value is not None and not low <= value <= high:
            shown = f"{value:.3g} {unit}".strip()
            yield f"{side}: {words} would be {shown}; {low:g} to {high:g} is usual"

    def _heights(self, side: Side, foot: Foot) -> Iterator[str]:
        pairs = (
            ("instep", foot.dorsum_height_mm),
            ("inner arch bone", foot.navicular_height_mm),
        )
        for words, height in pairs:
            if height is None or height.mean_sitting is None or height.mean_standing is None:
                continue
            if height.mean_standing - height.mean_sitting > self._limits.rise_under_load:
                yield (
                    f"{side}: the height of the {words} rises from {height.mean_sitting:g} mm "
                    f"sitting to {height.mean_standing:g} mm standing; it usually sinks"
                )

    def _angles(self, side: Side, foot: Foot) -> Iterator[str]:
        """Angles that few feet have, phase by phase; mostly the sign was turned round."""
        for entry in foot.rearfoot:
            shift = self._limits.relaxed_shift if entry.reference == "relaxed-standing" else 0.0
            for phase in ANGLES:
                strides = getattr(entry, phase)
                if phase == "contact" or not strides:
                    continue
                name, mean = "standing" if phase == "angle" else phase, fmean(strides)
                low, high = self._limits[f"{name}-low"] - shift, self._limits[f"{name}-high"]
                if not low <= mean <= high:
                    yield (
                        f"{side}: {mean:.3g} degrees at {name}, measured from "
                        f"{entry.reference.replace('-', ' ')}; "
                        f"{low:g} to {high:g} is usual"
                    )

    def _strides(self, side: Side, foot: Foot) -> Iterator[str]:
        for entry in foot.rearfoot:
            for phase in ANGLES:
                strides = getattr(entry, phase) or []
                if len(strides) > 1 and stdev(strides) > self._limits.stride_spread:
                    yield (
                        f"{side}: the {phase} readings run from {min(strides):g} to "
                        f"{max(strides):g} deg, more than strides of one person usually scatter"
                    )
