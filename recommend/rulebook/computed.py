"""Checking that measures.yaml defines every measure that is computed from a visit."""

from __future__ import annotations

from typing import get_args

from recommend.errors import InputError, nearest
from recommend.measure.definitions import (
    COMPUTED,
    OPTIONAL,
    MeasureDef,
    MeasureDefs,
    known_as,
)
from recommend.reading import Document
from recommend.reading.document import Loc
from recommend.visit.models import CopPattern, Gait, Reference

# Words that a visit can bring; standing readings carry no gait.
_WORDS: dict[str, tuple[str, ...]] = {
    "gait": tuple(gait for gait in get_args(Gait) if gait != "standing"),
    "reference": get_args(Reference),
    "kind": ("ink", "pressure-sensor", "pressure-weighted"),
    "load": ("static", "dynamic"),
}


def check_computed(measures: MeasureDefs, at: Document) -> None:
    """Raise InputError for a computed measure that is missing or defined as something else."""
    for current, (unit, qualifiers) in COMPUTED.items():
        name = known_as(current, measures)
        if name not in measures:
            if name in OPTIONAL:
                continue
            raise InputError(
                at.place(("measures",)),
                f"the measure `{name}` is computed from every visit and not defined here",
                mend=nearest(name, set(measures) - set(COMPUTED)) or f"add `{name}` with its unit",
            )
        one, loc = measures[name], ("measures", name)
        if one.unit != unit:
            raise InputError(
                at.place((*loc, "unit")),
                f"`{name}` is defined in {one.unit}, and it is computed in {unit}",
                unit,
                f"write `unit: {unit}`",
            )
        _check_words(name, one, qualifiers, at, loc)


def _check_words(
    name: str, one: MeasureDef, qualifiers: tuple[str, ...], at: Document, loc: Loc
) -> None:
    wanted = {qualifier: _WORDS[qualifier] for qualifier in qualifiers}
    written = dict(one.qualifiers)
    if one.unit == "class":
        wanted, written = {"values": get_args(CopPattern)}, {"values": one.values}
    for key, words in wanted.items():
        lost = [word for word in words if word not in written.get(key, ())]
        if lost:
            raise InputError(
                at.place(loc, key=True),
                f"the `{key}` of `{name}` lack {', '.join(lost)}, which a visit can bring",
                ", ".join(words),
                "add what is missing",
            )
