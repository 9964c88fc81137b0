"""The steps of a trial and what is read in each: barefoot, in a shoe, in a shoe with an insole.

A reading has a field of the visit file, a measure, and the limits of its band.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from recommend.errors import InputError, Place
from recommend.match.out import OWN
from recommend.measure.model import SIDES, Side
from recommend.reading import Document
from recommend.visit.models import Rearfoot, TrialStep, Visit

STANDING = "standing"


@dataclass(frozen=True, slots=True)
class RearfootReading:
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


def _reading(name: str, measure: str = "", angle: bool = True) -> RearfootReading:
    return RearfootReading(
        name, measure or f"{name}-angle", (f"{name}-lower", f"{name}-upper"), angle
    )


# In the order of a table. `contact`, of older visits, decides nothing where the peak is given.
READINGS: Final[Mapping[str, RearfootReading]] = {
    one.name: one
    for one in (
        RearfootReading(STANDING, "standing-angle", ("standing-inverted", "standing-everted")),
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
READINGS_BY_MEASURE: Final[Mapping[str, RearfootReading]] = {
    one.measure: one for one in READINGS.values()
}
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


Strides = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ReadingKey:
    """Which reading of which foot: only equal keys are ever compared.

    `reading` is a name of `READINGS`, such as ``peak`` or ``standing``.
    """

    side: Side
    gait: str
    reference: str
    reading: str


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what was worn, and what was read.

    Attributes
    ----------
    shoe, insole : product ids; both None barefoot; shoe ``own`` for the customer's own.
    readings : strides in degrees by `ReadingKey`.
    load : lateral share of load in percent, by side.
    comfort : 0 to 10 by side and region; a region not asked is absent. Of one rated twice
        without the customer knowing, the mean of both.
    again : by side and region, the two ratings of what was rated twice.
    curves : mean angle at 0 to 100 % of stance by side, gait and zero, where it was captured.
    means : strides that the one number of a reading is itself the mean of, by `ReadingKey`.
    """

    shoe: str | None
    insole: str | None
    readings: Mapping[ReadingKey, Strides]
    load: Mapping[Side, Strides]
    comfort: Mapping[Side, Mapping[str, float]]
    curves: Mapping[tuple[Side, str, str], Strides]
    again: Mapping[tuple[Side, str], tuple[float, float]] = field(default_factory=dict)
    means: Mapping[ReadingKey, int] = field(default_factory=dict)

    @property
    def barefoot(self) -> bool:
        """Whether nothing was worn."""
        return self.shoe is None

    @property
    def id(self) -> str:
        """Ids of what was worn joined by +, as in the shortlist; ``barefoot`` for nothing."""
        return "+".join(part for part in (self.shoe, self.insole) if part) or "barefoot"

    @property
    def products(self) -> tuple[str, ...]:
        """Ids of the catalogue's products in it; the customer's own shoe is none."""
        return tuple(part for part in (self.shoe, self.insole) if part and part != OWN)


def steps_of(visit: Visit, document: Document | None = None) -> tuple[Step, ...]:
    """Barefoot first, then the steps in the order of the file.

    The readings of the bare feet are those of the visit; a barefoot step of the trial stands
    in for the readings that it repeats.

    Raises
    ------
    InputError
        If a step was measured against another zero reference than the bare foot.
    """
    bare = _bare(visit)
    worn = []
    for index, step in enumerate(visit.trials):
        if step.shoe is None:
            again = _step(step)
            bare = replace(
                bare,
                readings={**bare.readings, **again.readings},
                load={**bare.load, **again.load},
                curves={**bare.curves, **again.curves},
                means={**bare.means, **again.means},
            )
        else:
            worn.append((index, _step(step)))
    for index, one in worn:
        _refuse_other_zero(bare, one, visit, index, document)
    return (bare, *(one for _, one in worn))


def parent_of(step: Step, steps: Sequence[Step]) -> Step:
    """The step that `step` adds to: the same shoe without insole where tried, else barefoot."""
    for other in steps:
        if step.insole and other.shoe == step.shoe and other.insole is None:
            return other
    return steps[0]


def _bare(visit: Visit) -> Step:
    return _read(None, None, {side: visit.feet.of(side).rearfoot for side in SIDES})


def _read(
    shoe: str | None, insole: str | None, rearfoot: Mapping[Side, Sequence[Rearfoot]]
) -> Step:
    """What was read of the angles of both feet; 1 of `means` where numbers are strides."""
    entries = [(side, one) for side, some in rearfoot.items() for one in some]
    found = [
        (ReadingKey(side, one.gait, one.reference, name), strides, one.mean_of or 1)
        for side, one in entries
        for name, strides in strides_of(one).items()
    ]
    curves: dict[tuple[Side, str, str], Strides] = {
        (side, e.gait, e.reference): tuple(e.curve) for side, e in entries if e.curve
    }
    readings, means = {key: s for key, s, _ in found}, {key: n for key, _, n in found}
    return Step(shoe, insole, readings, {}, {}, curves, means=means)


def _step(step: TrialStep) -> Step:
    feet = {side: step.feet.of(side) for side in SIDES}
    load = {s: tuple(f.lateral_load_percent) for s, f in feet.items() if f.lateral_load_percent}
    comfort: dict[Side, Mapping[str, float]] = {}
    again: dict[tuple[Side, str], tuple[float, float]] = {}
    for side, foot in feet.items():
        twice = {str(r): (foot.comfort[r], two) for r, two in foot.comfort_again.items()}
        again.update({(side, region): both for region, both in twice.items()})
        means = {region: sum(both) / 2 for region, both in twice.items()}
        if foot.comfort:
            comfort[side] = {str(region): value for region, value in foot.comfort.items()} | means
    read = _read(step.shoe, step.insole, {side: foot.rearfoot for side, foot in feet.items()})
    return replace(read, load=load, comfort=comfort, again=again)


def strides_of(entry: Rearfoot) -> dict[str, Strides]:
    """Strides by the name of the reading; what follows from two readings of the same strides too.

    A range or a return follows stride by stride; of readings that differ in number of strides
    it is not known which belong together.
    """
    written = {name: getattr(entry, field_of(name), None) for name in READINGS}
    found = {name: tuple(strides) for name, strides in written.items() if strides}
    for name, (whole, part) in DERIVED.items():
        both = whole in found and part in found
        if name not in found and both and len(found[whole]) == len(found[part]):
            pairs = zip(found[whole], found[part], strict=True)
            found[name] = tuple(round(one - other, 6) for one, other in pairs)
    return found


def _refuse_other_zero(
    bare: Step, step: Step, visit: Visit, index: int, document: Document | None
) -> None:
    for key in step.readings:
        known = {k.reference for k in bare.readings if (k.side, k.gait) == (key.side, key.gait)}
        if known and key.reference not in known:
            place = Place("the visit")
            if document is not None:
                place = document.place(("trials", index, "feet", key.side, "rearfoot"))
            raise InputError(
                place,
                f"{key.gait} in `{step.id}` was read from `{key.reference}`, the bare {key.side} "
                f"foot from {' and '.join(f'`{name}`' for name in sorted(known))}",
                "one zero reference for all steps, since their zeros differ by degrees",
                "read the same marks again from the reference of the bare foot",
            )
