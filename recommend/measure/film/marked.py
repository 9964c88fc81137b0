"""The marks of one leg in every frame of a film, with what is known of each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.measure.film.following import NONE, Followed, Spots, Start
from recommend.measure.film.legs import ERROR, RADIUS, marklike
from recommend.measure.model import Side
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Marked:
    """One leg.

    Attributes
    ----------
    side : which.
    rows : (frames, 4, 8) what is known of each mark, as `spots` gives it; NaN where it is not seen.
    unsure : (frames, 4) where a mark was left out since another spot might be it as well.
    times : (frames,) s.
    size : height and width of the pictures in px.
    """

    side: Side
    rows: FloatArray
    unsure: NDArray[np.bool_]
    times: FloatArray
    size: tuple[int, int]

    @property
    def missing(self) -> NDArray[np.bool_]:
        """(frames, 4) where a mark is not seen, or not told from another."""
        return np.isnan(self.rows[..., 0])


def marks_of(spots: Spots, leg: Followed, side: Side, by_hand: set[int]) -> Marked:
    """The marks of one leg in every frame, with what is known of each."""
    count = len(spots.each)
    rows = np.full((count, 4, 8), np.nan)
    for frame, mark in np.argwhere(leg.chosen != NONE):
        rows[frame, mark] = spots.each[frame][leg.chosen[frame, mark]]
    partly = _partly_covered(rows[..., RADIUS]) & ~np.isin(np.arange(count), [*by_hand])[:, None]
    rows[partly] = np.nan
    return Marked(side, rows, leg.unsure, spots.times, spots.size)


def _partly_covered(radius: FloatArray) -> NDArray[np.bool_]:
    """Marks that are about to be lost, or just found again, and look smaller: half covered.

    The centre of what is left of them is not the mark's.
    """
    missing = np.isnan(radius)
    near = missing.copy()
    for by in (1, 2):
        near[by:] |= missing[:-by]
        near[:-by] |= missing[by:]
    for mark in range(radius.shape[1]):
        known = np.flatnonzero(~missing[:, mark])
        if len(known) > 9:
            around = np.lib.stride_tricks.sliding_window_view(
                np.pad(radius[known, mark], 4, "edge"), 9
            )
            whole = np.interp(np.arange(len(radius)), known, np.median(around, axis=1))
        else:
            whole = np.full(len(radius), np.inf)  # hardly ever seen: nothing to go by
        near[:, mark] &= radius[:, mark] < 0.97 * whole
    return near & ~missing


def centre_error(marked: Marked, parameters: Parameters) -> float:
    """Error of a found centre in px: from noise and edge, and what shade and compression add."""
    noise = float(np.sqrt(np.nanmean(np.square(marked.rows[..., ERROR]))))
    return float(np.hypot(parameters.film.centre_times * noise, parameters.film.centre_least))


def names_of(frames: Iterable[int]) -> str:
    """Frames as a person reads them, counted from 1: ``31-34, 80``."""
    parts: list[list[int]] = []
    for frame in sorted(frames):
        if parts and frame == parts[-1][1] + 1:
            parts[-1][1] = frame
        else:
            parts.append([frame, frame])
    shown = [f"{a + 1}-{b + 1}" if b > a else f"{a + 1}" for a, b in parts[:8]]
    return ", ".join(shown) + (" ..." if len(parts) > 8 else "")


_BESIDE = (3.0, 9.0)  # where a mark that tells the side lies, in radii off the line of the leg
_HALFWAY = (0.3, 0.7)  # and how far down it


def side_mark(spots: Spots, starts: Sequence[Start]) -> int | None:
    """The leg, in order from the left of the picture, that bears a fifth mark; None without one.

    The fifth mark sits half-way between the two leg marks, beside their line.
    """
    shares = []
    for start in starts:
        found = [_has_fifth(marklike(spots.each[frame]), quad) for frame, quad in start.items()]
        shares.append(float(np.mean(found)) if found else 0.0)
    best = int(np.argmax(shares))
    others = max((share for k, share in enumerate(shares) if k != best), default=0.0)
    return best if shares[best] > 0.6 and others < 0.2 else None


def _has_fifth(spots: FloatArray, quad: tuple[int, ...]) -> bool:
    marks = spots[list(quad)]
    line = marks[1, :2] - marks[0, :2]
    length, radius = float(np.hypot(*line)), float(np.median(marks[:, RADIUS]))
    off = spots[:, :2] - marks[0, :2]
    down = (off @ line) / length**2
    aside = np.abs(off @ np.array([-line[1], line[0]])) / length / radius
    alike = np.abs(np.log(spots[:, 2] / radius)) < 0.35
    alike &= np.abs(np.log(spots[:, 3] / np.median(marks[:, 3]))) < 0.5
    within = (down > _HALFWAY[0]) & (down < _HALFWAY[1])
    return bool((alike & within & (aside > _BESIDE[0]) & (aside < _BESIDE[1])).any())
