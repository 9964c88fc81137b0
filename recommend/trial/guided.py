"""The steps of a guided try-on: reading by reading, both feet, then comfort; saved in the visit."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from recommend.measure.model import SIDES
from recommend.rulebook.book import Rulebook
from recommend.trial.steps import READINGS, TYPED, ReadingKey, Strides, steps_of
from recommend.visit.answers import Readings, RefusedError, TypedNumber
from recommend.visit.coming_back import sore_step
from recommend.visit.entry_steps import EntryStep, for_each_foot
from recommend.visit.models import Visit
from recommend.visit.tree import Both, Listed, Path, Tree, get, put

COMFORT, LOAD = "comfort", "lateral-load"
# The keys of what is read, in the order of asking; `range` is typed where nothing else gives it.
KEYS: Mapping[str, str] = {
    "t": "touchdown", "p": "peak", "i": "peak-time", "g": "range", "m": "midstance",
    "u": "propulsion", "k": "contact", "l": LOAD,
}  # fmt: skip
_RATING = TypedNumber("", False)


@dataclass(frozen=True, slots=True)
class Worn:
    """What is on the feet; both None barefoot."""

    shoe: str | None
    insole: str | None

    @property
    def place(self) -> Listed:
        """Where this try-on stands in the data of the visit."""
        return Listed("trials", (("shoe", self.shoe), ("insole", self.insole)))


@dataclass(frozen=True, slots=True)
class GaitAndZero:
    """The gait and the zero that angles are typed in."""

    gait: str
    reference: str


def wanted_readings(text: str, bare: Sequence[str]) -> tuple[str, ...]:
    """The readings that letters mean: ``a`` all of the bare foot, ``c`` none but comfort.

    Raises
    ------
    RefusedError
        If a letter means nothing here.
    """
    letters = re.sub(r"[\s,;]+", "", text.lower())
    if letters in ("", "a"):
        return tuple(bare)
    if letters == "c":
        return ()
    unknown = [letter for letter in letters if letter not in KEYS]
    if unknown:
        known = ", ".join(f"{key} {name}" for key, name in KEYS.items())
        raise RefusedError(
            f"`{unknown[0]}` is no reading; allowed: a as barefoot, c comfort only, {known}"
        )
    return tuple(name for key, name in KEYS.items() if key in letters)


def bare_readings(visit: Visit) -> tuple[str, ...]:
    """What was read barefoot and is read again in a try-on; what follows from others is not."""
    bare = steps_of(visit)[0]
    names = {key.reading for key in bare.readings}
    if "peak" in names:
        names -= {"contact"}
    if {"peak", "touchdown"} <= names:
        names -= {"range"}
    found = tuple(name for name in TYPED if name in names)
    return (*found, LOAD) if bare.load else found


def film_of(visit: Visit, zero: str) -> GaitAndZero:
    """Gait and zero of the bare feet, the gait that the shoe is for first; else the shop's."""
    running = visit.purpose == "running"
    keys = [key for key in steps_of(visit)[0].readings if key.gait != "standing"]
    keys.sort(key=lambda key: (key.gait == "running") != running)
    if keys:
        return GaitAndZero(keys[0].gait, keys[0].reference)
    return GaitAndZero("running" if running else "walking", zero)


def try_on_steps(
    worn: Worn, wanted: Sequence[str], film: GaitAndZero, tree: Tree
) -> tuple[EntryStep, ...]:
    """What is asked of one try-on: each reading on both feet, then comfort.

    Parameters
    ----------
    worn, film : what is worn, and what angles are typed in.
    wanted : readings, and ``lateral-load``.
    tree : the visit as it stands; a try-on that is there already gets further strides, and where
        both feet were rated, a second rating.
    """
    return (*_readings(worn, wanted, film, tree), *_comfort(worn, tree))


def _readings(
    worn: Worn, wanted: Sequence[str], film: GaitAndZero, tree: Tree
) -> Iterator[EntryStep]:
    entry = Listed("rearfoot", (("gait", film.gait), ("reference", film.reference)))
    for name in wanted:
        for side in SIDES:
            path: Path = (worn.place, "feet", side, entry, name)
            unit, words = "deg", f"{name.replace('-', ' ')}, degrees rolled in"
            if name == LOAD:
                path = (worn.place, "feet", side, "lateral-load-percent")
                unit, words = "percent", "share of load on the outer half, percent"
            elif name == "peak-time":
                unit, words = "percent", "time of the peak, percent of stance"
            before = get(tree, path) or []
            before = tuple(before) if isinstance(before, list) else (before,)
            so_far = f" ({len(before)} so far, further ones are added)" if before else ""
            yield EntryStep(
                f"{name}.{side}", name.replace("-", " ").capitalize(),
                f"{side.upper()}: {words}, one number for each stride{so_far}",
                Readings(unit), path,
                "Read as barefoot, from the same zero, rolled in positive. Enter leaves it out, or "
                "keeps what stands; x removes what stands.", fill=_further(path, before),
            )  # fmt: skip


def _further(path: Path, before: tuple[float, ...]) -> Callable[[Tree, Any], tuple[Tree, str]]:
    """Adds readings to those of an earlier turn."""

    def fill(tree: Tree, value: list[float]) -> tuple[Tree, str]:
        after = copy.deepcopy(tree)
        put(after, path, [*before, *value])
        return after, Readings("").show([*before, *value])

    return fill


def _comfort(worn: Worn, tree: Tree) -> Iterator[EntryStep]:
    rated = [get(tree, (worn.place, "feet", side, COMFORT, "overall")) for side in SIDES]
    again = all(one is not None for one in rated)
    name = f"{COMFORT}-again" if again else COMFORT
    lead = "once more, without saying which pair it is" if again else "0 cannot be worn, 10 ideal"
    yield from for_each_foot(
        COMFORT, "Comfort", f"comfort of the whole foot, {lead}", _RATING,
        (worn.place, "feet", Both(), name, "overall"),
        "Asked after some steps, not standing. A second rating of the same pair, asked without "
        "saying which it is, shows how far two ratings differ by themselves.",
    )  # fmt: skip
    if not again:
        yield sore_step("Comfort", (worn.place,))


@dataclass(frozen=True, slots=True)
class Doubts:
    """What is said while a try-on is typed: only whether a number is hardly possible."""

    book: Rulebook
    worn: Worn

    def doubt(self, before: Visit, after: Visit) -> str:
        """Why the newest strides are hardly possible; empty when they are plausible."""
        most = self.book.parameters.trial.largest_change
        known, new = self._strides(before), self._strides(after)
        bare = steps_of(after)[0].readings
        for key, strides in new.items():
            if strides == known.get(key) or key not in bare or not READINGS[key.reading].angle:
                continue
            change = sum(strides) / len(strides) - sum(bare[key]) / len(bare[key])
            if abs(change) > most:
                name = key.reading.replace("-", " ")
                return (
                    f"{key.side} {name} changes by {change:+.1f} degrees against barefoot, more "
                    f"than footwear is known to ({most:g}). Rolled in is positive: check the sign "
                    "and the marks."
                )
        return ""

    def stops(self, _visit: Visit) -> dict[str, str]:
        """None: a stop was said before the try-on began."""
        return {}

    def advice(self, _visit: Visit) -> dict[str, str]:
        """None: what a clinician should see was said before the try-on began."""
        return {}

    def still_open(self, _visit: Visit) -> frozenset[str]:
        """None: no step of a try-on depends on it."""
        return frozenset()

    def _strides(self, visit: Visit) -> Mapping[ReadingKey, Strides]:
        worn = (self.worn.shoe, self.worn.insole)
        steps = [step for step in steps_of(visit)[1:] if (step.shoe, step.insole) == worn]
        return steps[0].readings if steps else {}
