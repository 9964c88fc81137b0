"""The marks of one leg in every frame of a film, with what is known of each, and the heel's height.

A foot on a treadmill is carried towards the camera: its picture grows, and sinks when the camera
looks down on the belt. What the foot's height is must be told from where the belt is at that
distance. The width of the marks of heel and ankle tells the distance; the belt is the straight
line, of row over width, on which the lowest pictures of the heel lie, since a camera sees a plane
so.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from recommend.measure.film.following import NONE, Followed, Spots, Start
from recommend.measure.film.legs import CONTRAST, ERROR, RADIUS, WIDE, Y, marklike
from recommend.measure.filtering import FloatArray, Mask, low_pass_pieces, spans
from recommend.measure.model import Side
from recommend.measure.video.recording import LOWER_HEEL, LOWER_LEG, UPPER_HEEL
from recommend.parameters import Film


@dataclass(frozen=True, slots=True, eq=False)
class Marked:
    """One leg.

    Attributes
    ----------
    side : which.
    rows : (frames, 4, 8) what is known of each mark, as `spots` gives it; NaN where it is not seen.
    unsure : (frames, 4) where a mark was left out since another spot might be it as well.
    crossed : (frames,) where the other leg seems to stand in this one's place.
    times : (frames,) s.
    size : height and width of the pictures in px.
    """

    side: Side
    rows: FloatArray
    unsure: Mask
    crossed: Mask
    times: FloatArray
    size: tuple[int, int]

    @property
    def missing(self) -> Mask:
        """(frames, 4) where a mark is not seen, or not told from another."""
        return np.isnan(self.rows[..., 0])


def marks_of(spots: Spots, leg: Followed, side: Side, by_hand: set[int], film: Film) -> Marked:
    """The marks of one leg in every frame, with what is known of each.

    Where most marks of a leg are hidden, one that is left is told from its neighbour by nothing:
    such a frame has none.
    """
    count = len(spots.each)
    rows = np.full((count, 4, 8), np.nan)
    for frame, mark in np.argwhere(leg.chosen != NONE):
        rows[frame, mark] = spots.each[frame][leg.chosen[frame, mark]]
    found = ~np.isin(np.arange(count), [*by_hand])
    half = _narrowed(rows[..., WIDE], film)
    half |= _partly_covered(np.where(half, np.nan, rows[..., RADIUS]), film)
    rows[half & found[:, None]] = np.nan
    lone = _glimpsed(~np.isnan(rows[..., RADIUS]), spots.times, film) & found[:, None]
    rows[lone] = np.nan
    known = ~np.isnan(rows[..., RADIUS])
    few = known.any(axis=1) & (known.sum(axis=1) < film.together_least)
    bent = _misshapen(rows, film) & found
    rows[(few & found) | bent] = np.nan
    unsure = leg.unsure | lone | (bent[:, None] & known)
    return Marked(side, rows, unsure, leg.crossed, spots.times, spots.size)


def _glimpsed(known: Mask, times: FloatArray, film: Film) -> Mask:
    """(frames, 4) marks seen for a moment between two times in which they are hidden."""
    out = np.zeros_like(known)
    for mark in range(known.shape[1]):
        for start, stop in spans(known[:, mark]):
            inner = start > 0 and stop < len(times)
            if inner and times[stop] - times[start] < film.glimpse_s:
                out[start:stop, mark] = True
    return out


def _misshapen(rows: FloatArray, film: Film) -> Mask:
    """(frames,) whether two marks stand as a leg that leans and tips cannot bring them.

    Lengths are taken in radii of the marks, which grow with them as the leg comes nearer.
    """
    size = np.ones(len(rows))
    some = ~np.isnan(rows[..., RADIUS]).all(axis=1)
    size[some] = np.nanmedian(rows[some][..., RADIUS], axis=1)
    out = np.zeros(len(rows), dtype=bool)
    for a, b in itertools.combinations(range(rows.shape[1]), 2):
        dx, dy = np.moveaxis(rows[:, b, :2] - rows[:, a, :2], -1, 0)
        known = ~np.isnan(dx)
        if known.sum() < _USUAL_FROM:
            continue
        far, lean = np.hypot(dx, dy) / size, np.degrees(np.arctan2(dx, dy))
        share = np.where(known, far / np.median(far[known]), 1.0)
        turned = np.where(known, np.abs(lean - np.median(lean[known])), 0.0)
        of_leg = a == 0
        out |= share < (film.line_shortest_leg if of_leg else film.line_shortest)
        out |= share > (film.line_longest_leg if of_leg else film.line_longest)
        out |= turned > (film.line_turned_leg if of_leg else film.line_turned)
    return out


_USUAL_FROM = 10  # frames from which a length is known as usual


def _narrowed(width: FloatArray, film: Film) -> Mask:
    """(frames, 4) marks that the edge of the other leg covers in part, by their `width` in px.

    A leg that leans forward or a heel that tips makes its marks lower, never narrower; a leg that
    is nearer, or moves fast, makes all of them wider. One that is narrower than the others of its
    leg has an edge before it, and the centre of what is left is not the mark's.
    """
    enough = (~np.isnan(width)).sum(axis=1) >= _TO_COMPARE
    out = np.zeros(width.shape, dtype=bool)
    if enough.sum() < _USUAL_FROM:
        return out
    seen = (~np.isnan(width[enough])).any(axis=0)
    share = np.full((int(enough.sum()), width.shape[1]), np.nan)
    share[:, seen] = width[enough][:, seen] / np.nanmedian(width[enough][:, seen], axis=0)
    usual = np.sort(np.nan_to_num(share, nan=-1.0), axis=1)[:, -2]
    out[enough] = share < film.covered_width * usual[:, None]
    return out


_TO_COMPARE = 3  # marks of a leg from which one is held against the others


def _partly_covered(radius: FloatArray, film: Film) -> Mask:
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
        near[:, mark] &= radius[:, mark] < film.covered_size * whole
    return near & ~missing


def centre_error(marked: Marked, film: Film) -> float:
    """Error of a found centre in px: from noise and edge, and what shade and compression add."""
    noise = float(np.sqrt(np.nanmean(np.square(marked.rows[..., ERROR]))))
    return float(np.hypot(film.centre_times * noise, film.centre_least))


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


def side_mark(spots: Spots, starts: Sequence[Start], film: Film) -> int | None:
    """The leg, in order from the left of the picture, that bears a fifth mark; None without one.

    The fifth mark sits half-way between the two leg marks, beside their line.
    """
    shares = []
    for start in starts:
        found = [
            _has_fifth(marklike(spots.each[frame], film), quad, film)
            for frame, quad in start.items()
        ]
        shares.append(float(np.mean(found)) if found else 0.0)
    best = int(np.argmax(shares))
    others = max((share for k, share in enumerate(shares) if k != best), default=0.0)
    return best if shares[best] > film.fifth_seen and others < film.fifth_other else None


def _has_fifth(spots: FloatArray, quad: tuple[int, ...], film: Film) -> bool:
    marks = spots[list(quad)]
    line = marks[1, :2] - marks[0, :2]
    length, radius = float(np.hypot(*line)), float(np.median(marks[:, RADIUS]))
    off = spots[:, :2] - marks[0, :2]
    down = (off @ line) / length**2
    aside = np.abs(off @ np.array([-line[1], line[0]])) / length / radius
    alike = np.abs(np.log(spots[:, RADIUS] / radius)) < film.unlike_size
    alike &= np.abs(np.log(spots[:, CONTRAST] / np.median(marks[:, CONTRAST]))) < film.unlike_tone
    within = np.abs(down - 0.5) < film.fifth_halfway
    within &= (aside > film.fifth_nearest) & (aside < film.fifth_furthest)
    return bool((alike & within).any())


_TRIED = 60  # frames between which lines are tried
_SCORED = 5000  # frames, spread over the film, that are held against each line


def heel_height(marked: Marked, rate: float, film: Film) -> FloatArray:
    """(frames,) height of the lower heel mark above where it stands, in px of its usual size.

    NaN where a mark of the heel is not seen.
    """
    row = marked.rows[:, LOWER_HEEL, Y]
    widths = marked.rows[:, (LOWER_LEG, UPPER_HEEL, LOWER_HEEL), WIDE]
    known = ~np.isnan(row) & ~np.isnan(widths[:, 1])
    if known.sum() < 20:
        return -row
    whole = np.mean([_led_on(one) for one in widths.T], axis=0)
    size = low_pass_pieces(whole[:, None], min(film.nears_hz, 0.3 * rate), rate)[:, 0]
    usual = float(np.median(size))
    if np.ptp(np.quantile(size, (0.05, 0.95))) < film.nears_least * usual:
        return -row
    at_camera, slope = _belt(size[known], row[known], film.belt_near * usual, film)
    height: FloatArray = (at_camera + slope * size - row) / size * usual
    return height


def _led_on(width: FloatArray) -> FloatArray:
    """(frames,) the width of one mark, led on where it is not seen; all 1 where it never is."""
    known = np.flatnonzero(~np.isnan(width))
    if not len(known):
        return np.ones(len(width))
    out: FloatArray = np.interp(np.arange(len(width)), known, width[known])
    return out


def _belt(size: FloatArray, row: FloatArray, near: float, film: Film) -> tuple[float, float]:
    """Row at no size, and rows for each px of size, of the line below which no heel lies.

    A heel within `near` of it speaks for a line, one below it ``film.belt-below`` times as much
    against it.
    """
    order = np.argsort(size)
    tried = order[np.linspace(0, len(order) - 1, min(_TRIED, len(order))).astype(int)]
    lowest = order[np.argsort(-row[order])[: _TRIED // 2]]
    a, b = (one.ravel() for one in np.meshgrid(np.concatenate([tried, lowest]), tried))
    apart = np.abs(size[a] - size[b]) > film.belt_apart * np.ptp(np.quantile(size, (0.05, 0.95)))
    a, b = a[apart], b[apart]
    slope = (row[a] - row[b]) / (size[a] - size[b])
    start = row[a] - slope * size[a]
    scored = np.unique(np.linspace(0, len(row) - 1, _SCORED).astype(int))  # memory stays the same
    score = np.empty(len(slope))
    for k in range(len(slope)):
        off = row[scored] - (start[k] + slope[k] * size[scored])
        score[k] = np.sum(np.abs(off) < near) - film.belt_below * np.sum(off > film.belt_off * near)
    best = int(np.argmax(score))
    on = np.abs(row - (start[best] + slope[best] * size)) < near
    if on.sum() < 3:
        return float(start[best]), float(slope[best])
    fitted = np.polyfit(size[on], row[on], 1)
    return float(fitted[1]), float(fitted[0])
