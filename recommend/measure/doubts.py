"""Doubts about a capture, and what each does to the measures it concerns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from recommend.measure.model import Flag, Measure

EVERYTHING: tuple[str, ...] = ("",)


@dataclass(frozen=True, slots=True)
class Doubt:
    """A flag, the measures it concerns and how much it widens their error.

    Attributes
    ----------
    flag : what is doubted; its effect ``removed`` withdraws the measures concerned.
    concerns : beginnings of the names of the measures concerned; ``("",)`` means all.
    widen : factor on their error when the flag's effect is ``widened``.
    """

    flag: Flag
    concerns: tuple[str, ...] = EVERYTHING
    widen: float = 1.0

    def touches(self, measure: Measure) -> bool:
        """Whether `measure` is concerned."""
        return measure.name.startswith(self.concerns)


def apply_doubts(measures: Iterable[Measure], doubts: Sequence[Doubt]) -> tuple[Measure, ...]:
    """The measures with their flags and widened errors; those removed are left out.

    A class has no error to widen; it keeps the flag.
    """
    kept = []
    for measure in measures:
        mine = [doubt for doubt in doubts if doubt.touches(measure)]
        if any(doubt.flag.effect == "removed" for doubt in mine):
            continue
        for doubt in mine:
            measure = measure.flagged(doubt.flag, widen=doubt.widen)
        kept.append(measure)
    return tuple(kept)
