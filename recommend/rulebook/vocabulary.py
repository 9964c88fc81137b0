"""Which facts a foot can have, and what each may be: the names all engines share.

A numeric measure ``m`` gives the facts ``m`` (the reading), ``m_low`` and ``m_high`` (the
reading less and plus its error). Word facts: a class measure ``m``; a qualifier
``m_reference``; ``known_m`` (yes or no, always there); ``axis_a``; ``answer_q``; ``asked_q``
(yes or no, always there); ``decided_a`` (yes or no, there once the rules of the axis have run);
``pain_site``; ``visit_age-band``, ``visit_purpose`` and ``visit_socks``; ``side`` (always there).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cache
from typing import Any, Literal, NamedTuple, TypeVar, get_args

from recommend.dataclass import dataclass
from recommend.measure.definitions import MeasureDefs
from recommend.rulebook.models import AxisDef, Question
from recommend.visit.models import AgeBand, PainSite, Socks

YES_NO = ("no", "yes")
FOOT_TYPE = "foot-type"
Kind = Literal[
    "measure", "known", "axis", "decided", "answer", "asked", "pain", "visit", "side"
]  # fmt: skip
# Parts of a measure that are numbers, and how many margins of error each is off the reading.
ENDS: Mapping[str, int] = {"": 0, "low": -1, "high": 1}
Amount = TypeVar("Amount")


class Fact(NamedTuple):
    """What the name of a fact says.

    Attributes
    ----------
    kind : ``measure`` for readings and their qualifiers, else what its name begins with.
    of : the measure, axis, question, site or fact of the visit it speaks of.
    part : of a measure ``low``, ``high`` or a qualifier; empty for the reading itself.
    """

    kind: Kind
    of: str
    part: str = ""

    @property
    def name(self) -> str:
        """The name of the fact, as every engine reads it; `about` takes it apart again."""
        if self.kind == "measure":
            return f"{self.of}_{self.part}" if self.part else self.of
        return self.of if self.kind == "side" else f"{self.kind}_{self.of}"

    @property
    def concluded(self) -> bool:
        """Whether rules make it, and nobody tells it."""
        return self.kind in ("axis", "decided")

    @property
    def margins(self) -> int:
        """How many margins of error a number is off its reading: -1, 0 or 1."""
        return ENDS.get(self.part, 0)

    @property
    def told(self) -> bool:
        """Whether a person tells it: an answer, where it hurts, the visit, the side."""
        return self.kind in ("answer", "pain", "visit", "side")


@cache
def about(fact: str) -> Fact:
    """The name of a fact taken apart; ids have no underscore in them."""
    kind, joined, rest = fact.partition("_")
    if fact == "side":
        return Fact("side", fact)
    if joined and kind in get_args(Kind):
        return Fact(kind, rest)  # type: ignore[arg-type]
    return Fact("measure", kind, rest)


def part_of(measure: str, part: str) -> str:
    """The fact of a part of a measure: ``low``, ``high`` or a qualifier."""
    return Fact("measure", measure, part).name


def ends_of(measure: str, value: Amount, margin: Any) -> dict[str, Amount]:
    """The numeric facts of a reading: itself, and less and plus its margin of error.

    For whatever can be added and multiplied: numbers, arrays, formulas.
    """
    return {part_of(measure, part): value + times * margin for part, times in ENDS.items()}


AGE_BAND, PURPOSE, SOCKS = (Fact("visit", one).name for one in ("age-band", "purpose", "socks"))
PERSON = (AGE_BAND, PURPOSE, SOCKS)


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Names of numeric facts, and of word facts with their closed vocabularies."""

    numbers: frozenset[str]
    words: Mapping[str, tuple[str, ...]]

    def others(self, fact: str, values: frozenset[str]) -> frozenset[str]:
        """The values of word fact `fact` that are not in `values`."""
        return frozenset(self.words[fact]) - values


def vocabulary_of(
    measures: MeasureDefs,
    axes: Mapping[str, AxisDef],
    questions: Mapping[str, Question],
    purposes: Collection[str],
) -> Vocabulary:
    """All facts that these measures, axes, questions and purposes give rise to."""
    numbers = {
        part_of(name, part) for name, one in measures.items() if not one.values for part in ENDS
    }
    words: dict[str, tuple[str, ...]] = {
        "side": ("left", "right"),
        AGE_BAND: get_args(AgeBand),
        PURPOSE: tuple(purposes),
        SOCKS: get_args(Socks),
    }
    for name, one in measures.items():
        words[Fact("known", name).name] = YES_NO
        if one.values:
            words[name] = tuple(one.values)
        for qualifier, values in one.qualifiers.items():
            words[part_of(name, qualifier)] = tuple(values)
    words |= {Fact("axis", name).name: tuple(axis.values) for name, axis in axes.items()}
    words |= {Fact("decided", name).name: YES_NO for name in axes}
    words |= {Fact("answer", name).name: YES_NO for name in questions}
    words |= {Fact("asked", name).name: YES_NO for name in questions}
    words |= {Fact("pain", site).name: YES_NO for site in get_args(PainSite)}
    return Vocabulary(frozenset(numbers), words)
