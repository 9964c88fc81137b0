"""How sure a share is, when it was counted on a sample of customers."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist


@dataclass(frozen=True, slots=True)
class Share:
    """A share with its interval; all three from 0 to 1."""

    value: float
    low: float
    high: float


def share_of(count: float, total: int, confidence: float) -> Share:
    """The share `count` / `total` with Wilson's score interval at `confidence`.

    Chosen because it keeps its promise near 0 and 1, where shares of a well-stocked shop lie.
    Nobody in the sample gives the interval from 0 to 1.

    References
    ----------
    Wilson EB 1927, J Am Stat Assoc 22:209-212.
    """
    if total == 0:
        return Share(0.0, 0.0, 1.0)
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    p = count / total
    middle = (p + z * z / (2 * total)) / (1 + z * z / total)
    half = z / (1 + z * z / total) * sqrt(p * (1 - p) / total + z * z / (4 * total * total))
    return Share(p, max(0.0, min(p, middle - half)), min(1.0, max(p, middle + half)))
