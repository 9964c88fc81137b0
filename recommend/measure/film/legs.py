"""Legs among the spots of one picture: two marks on the leg, and below them two on the heel.

The two marks of the leg stand further apart than any others below each other: that is what tells
the upper end of a leg from its heel, and it is asked for where the film is explained.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
# What is known of a spot, in this order: centre and radius in px, contrast in grey levels,
# half its width across the picture in px, how free it stands and how full it is (0 to 1), error of
# the centre in px.
X, Y, RADIUS, CONTRAST, WIDE, FREE, FULL, ERROR = range(8)
_FREE_LEAST, _FULL_LEAST = 0.8, 0.85  # of a spot that may be a mark


@dataclass(frozen=True, slots=True)
class Leg:
    """Four spots of one picture, from above: their numbers, and how ill they fit (0 is best)."""

    spots: tuple[int, int, int, int]
    misfit: float


def may_be_marks(spots: FloatArray) -> NDArray[np.bool_]:
    """(n,) which of (n, 8) spots are free, full and round enough."""
    out: NDArray[np.bool_] = (spots[:, FREE] >= _FREE_LEAST) & (spots[:, FULL] >= _FULL_LEAST)
    return out


def marklike(spots: FloatArray) -> FloatArray:
    """The spots with all that is no free, full, round one made too faint to be a mark."""
    out = spots.copy()
    out[~may_be_marks(spots), CONTRAST] = 1e-3
    return out


def legs_in(spots: FloatArray) -> list[Leg]:
    """The legs among `spots` (n, at least 4 columns), no spot in two of them, the best first."""
    if len(spots) < 4:
        return []
    dx, dy = (spots[None, :, k] - spots[:, None, k] for k in (X, Y))
    far = np.hypot(dx, dy) / np.sqrt(spots[:, None, RADIUS] * spots[None, :, RADIUS])
    lean = np.degrees(np.arctan2(dx, dy))  # 0 is straight down
    alike = _unlike(spots)
    near = alike < 1.2
    above = near & (far > 9) & (far < 45) & (np.abs(lean) < 22)
    under = near & (far > 2.6) & (far < 16) & (np.abs(lean) < 40)
    upper, lower = np.nonzero(above), np.nonzero(under)
    if not len(upper[0]) or not len(lower[0]):
        return []
    legs = [
        Leg(quad, misfit)
        for quad, misfit in _joined(upper, lower, under, far, lean, alike)
        if misfit < 3.0
    ]
    return _disjoint(sorted(legs, key=lambda leg: leg.misfit))


def _unlike(spots: FloatArray) -> FloatArray:
    """(n, n) how unlike two spots are in size and contrast; 1 is about what one film holds."""
    size, clear = np.log(spots[:, RADIUS]), np.log(spots[:, CONTRAST])
    apart = np.abs(size[:, None] - size) / 0.35, np.abs(clear[:, None] - clear) / 0.5
    out: FloatArray = np.hypot(*apart)
    return out


def _joined(
    upper: tuple[NDArray[np.intp], ...],
    lower: tuple[NDArray[np.intp], ...],
    under: NDArray[np.bool_],
    far: FloatArray,
    lean: FloatArray,
    alike: FloatArray,
) -> list[tuple[tuple[int, int, int, int], float]]:
    """Every pair of leg marks above every pair of heel marks that can belong to it."""
    a, b = (one[:, None] for one in upper)
    c, d = (one[None, :] for one in lower)
    leg, gap, heel = far[a, b], far[b, c], far[c, d]
    fits = (a != c) & (b != c) & (b != d) & (a != d) & (under[b, c] | (gap > 2.6) & (gap < 30))
    fits &= (np.abs(lean[b, c]) < 40) & (leg > 1.15 * gap) & (leg > 1.4 * heel)
    bent = np.hypot(lean[b, c] - lean[a, b], lean[c, d] - lean[a, b]) / 22.0
    misfit = bent + alike[a, b] + alike[c, d] + alike[b, c]
    at = np.nonzero(fits)
    return [
        ((int(a[i, 0]), int(b[i, 0]), int(c[0, j]), int(d[0, j])), float(misfit[i, j]))
        for i, j in zip(*at, strict=True)
    ]


def _disjoint(legs: list[Leg]) -> list[Leg]:
    kept: list[Leg] = []
    for leg in legs:
        if not set(leg.spots) & set(itertools.chain(*(one.spots for one in kept))):
            kept.append(leg)
    return kept
