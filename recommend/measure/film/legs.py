"""Legs among the spots of one picture: two marks on the leg, and below them two on the heel.

The two marks of the leg stand further apart than any others below each other: that is what tells
the upper end of a leg from its heel, and it is asked for where the film is explained.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.measure.filtering import FloatArray, Mask
from recommend.parameters import Film

# What is known of a spot, in this order: centre and radius in px, contrast in grey levels,
# half its width across the picture in px, how free it stands and how full it is (0 to 1), error of
# the centre in px.
X, Y, RADIUS, CONTRAST, WIDE, FREE, FULL, ERROR = range(8)


@dataclass(frozen=True, slots=True)
class Leg:
    """Four spots of one picture, from above: their numbers, and how ill they fit (0 is best)."""

    spots: tuple[int, int, int, int]
    misfit: float


def may_be_marks(spots: FloatArray, film: Film) -> Mask:
    """(n,) which of (n, 8) spots are free, full and round enough."""
    out: Mask = (spots[:, FREE] >= film.mark_free) & (spots[:, FULL] >= film.mark_full)
    return out


def marklike(spots: FloatArray, film: Film) -> FloatArray:
    """The spots with all that is no free, full, round one made too faint to be a mark."""
    out = spots.copy()
    out[~may_be_marks(spots, film), CONTRAST] = 1e-3
    return out


def legs_in(spots: FloatArray, film: Film) -> list[Leg]:
    """The legs among `spots` (n, at least 4 columns), no spot in two of them, the best first."""
    if len(spots) < 4:
        return []
    dx, dy = (spots[None, :, k] - spots[:, None, k] for k in (X, Y))
    far = np.hypot(dx, dy) / np.sqrt(spots[:, None, RADIUS] * spots[None, :, RADIUS])
    lean = np.degrees(np.arctan2(dx, dy))  # 0 is straight down
    unlike = _unlike(spots, film)
    alike, lean_off = unlike < film.unlike_most, np.abs(lean)
    above = alike & (far > film.leg_least) & (far < film.leg_most) & (lean_off < film.leg_lean)
    under = alike & (far > film.heel_least) & (far < film.heel_most) & (lean_off < film.heel_lean)
    upper, lower = np.nonzero(above), np.nonzero(under)
    if not len(upper[0]) or not len(lower[0]):
        return []
    legs = [
        Leg(quad, misfit)
        for quad, misfit in _joined(upper, lower, under, (far, lean, unlike), film)
        if misfit < film.misfit_most
    ]
    return _disjoint(sorted(legs, key=lambda leg: leg.misfit))


def _unlike(spots: FloatArray, film: Film) -> FloatArray:
    """(n, n) how unlike two spots are in size and contrast; 1 is about what one film holds."""
    size, clear = np.log(spots[:, RADIUS]), np.log(spots[:, CONTRAST])
    out: FloatArray = np.hypot(
        (size[:, None] - size) / film.unlike_size, (clear[:, None] - clear) / film.unlike_tone
    )
    return out


def _joined(
    upper: tuple[NDArray[np.intp], ...],
    lower: tuple[NDArray[np.intp], ...],
    under: Mask,
    between: tuple[FloatArray, FloatArray, FloatArray],
    film: Film,
) -> list[tuple[tuple[int, int, int, int], float]]:
    """Every pair of leg marks above every pair of heel marks that can belong to it."""
    a, b = (one[:, None] for one in upper)
    c, d = (one[None, :] for one in lower)
    far, lean, unlike = between
    leg, gap, heel = far[a, b], far[b, c], far[c, d]
    fits = (
        (a != c)
        & (b != c)
        & (b != d)
        & (a != d)
        & (under[b, c] | (gap > film.heel_least) & (gap < film.ankle_most))
    )
    fits &= np.abs(lean[b, c]) < film.heel_lean
    fits &= (leg > film.leg_over_ankle * gap) & (leg > film.leg_over_heel * heel)
    bent = np.hypot(lean[b, c] - lean[a, b], lean[c, d] - lean[a, b]) / film.leg_lean
    misfit = bent + unlike[a, b] + unlike[c, d] + unlike[b, c]
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
