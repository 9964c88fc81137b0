"""What a measure is: a named quantity of one foot, with its error and its quality."""

from __future__ import annotations

from dataclasses import field, replace
from typing import Literal

from recommend.dataclass import dataclass

Side = Literal["left", "right"]
SIDES: tuple[Side, Side] = ("left", "right")
Effect = Literal["noted", "widened", "removed"]
EFFECTS: tuple[Effect, ...] = ("noted", "widened", "removed")


@dataclass(frozen=True, slots=True)
class Flag:
    """A named doubt about a measure or capture, and what was done about it.

    Attributes
    ----------
    name : kebab-case name of the doubt, such as ``camera-not-level``.
    detail : one sentence for the fitter.
    effect : ``noted`` (value and error stand), ``widened`` (the error was made larger) or
        ``removed`` (the measure was withdrawn).
    """

    name: str
    detail: str
    effect: Effect = "noted"


@dataclass(frozen=True, slots=True)
class Measure:
    """One measured quantity of one foot.

    Attributes
    ----------
    name : the measure's id in ``rules/measures.yaml``, such as ``contact-angle``.
    side : ``left`` or ``right``.
    value : number in `unit`, or a word of the measure's vocabulary (a class).
    unit : ``deg``, ``mm``, ``kg``, ``ratio``, ``percent``, ``score``, ``s`` or ``class``.
    error : standard error in `unit`; None for a class.
    n : how many readings (strides, steps, repeats) the value stands on.
    method : how it was obtained, in a few words.
    qualifiers : what the value only means together with, such as the gait and the zero
        reference of an angle.
    flags : doubts about it.
    capture : SHA-256 of the capture file it was computed from, or None.
    shared : whether one reading of the person, such as the body weight, stands for both feet;
        the other foot then has the same measure.
    follows : whether it was not read but follows from other readings of the visit.
    answer : the measure whose very answer this is, where it is no reading of its own.
    """

    name: str
    side: Side
    value: float | str
    unit: str
    error: float | None = None
    n: int = 1
    method: str = ""
    qualifiers: dict[str, str] = field(default_factory=dict)
    flags: tuple[Flag, ...] = ()
    capture: str | None = None
    shared: bool = False
    follows: bool = False
    answer: str = ""

    def flagged(self, flag: Flag, *, widen: float = 1.0) -> Measure:
        """The same measure with one more flag and its error multiplied by `widen`."""
        error = None if self.error is None else self.error * widen
        return replace(self, flags=(*self.flags, flag), error=error)
