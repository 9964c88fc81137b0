"""The error of a measure, term by term: what it is made of, and what each part comes to."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

# What the terms are, for people. `scatter` is seen between strides or steps and shrinks with
# their number; the others stay.
TERMS: Final[Mapping[str, str]] = {
    "scatter": "strides or steps, with their noise",
    "landing": "reading back to contact",
    "events": "contact told from the heel",
    "flat": "how flat the peak is",
    "placing": "placing of the marks",
    "centres": "centres of the marks",
    "toe-out": "toe-out to the camera",
    "level": "leaning camera",
    "grid": "sensor pitch",
    "rate": "frame rate",
    "threshold": "contact threshold",
    "doubts": "doubts",
}


@dataclass(frozen=True, slots=True)
class Budget:
    """Standard errors by term, in the unit of the measure; they add up in quadrature."""

    terms: Mapping[str, float] = field(default_factory=dict)

    @property
    def total(self) -> float:
        """The standard error of the measure."""
        return math.hypot(*self.terms.values())

    def plus(self, **terms: float) -> Budget:
        """The same with more terms; one that is there already grows in quadrature."""
        joined = dict(self.terms)
        for name, value in terms.items():
            key = name.replace("_", "-")
            joined[key] = math.hypot(joined.get(key, 0.0), value)
        return Budget(joined)

    def widened_to(self, error: float) -> Budget:
        """The same with what doubts add, so that it comes to `error`."""
        added = math.sqrt(max(error**2 - self.total**2, 0.0))
        return self.plus(doubts=added) if added > 1e-9 * error else self
