"""How high the heel is above the belt, in a film that sees it come nearer while it stands.

A foot on a treadmill is carried towards the camera: its picture grows, and sinks when the camera
looks down on the belt. What the foot's height is must be told from where the belt is at that
distance. The width of the heel's marks tells the distance; the belt is the straight line, of row
over width, on which the lowest pictures of the heel lie, since a camera sees a plane so.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from recommend.measure.film.legs import WIDE, Y
from recommend.measure.film.marked import Marked
from recommend.measure.filtering import low_pass_pieces
from recommend.measure.video.recording import LOWER_HEEL, UPPER_HEEL
from recommend.parameters import Film

FloatArray = NDArray[np.float64]
_TRIED = 60  # frames between which lines are tried


def heel_height(marked: Marked, rate: float, film: Film) -> FloatArray:
    """(frames,) height of the lower heel mark above where it stands, in px of its usual size.

    NaN where a mark of the heel is not seen.
    """
    row = marked.rows[:, LOWER_HEEL, Y]
    width = marked.rows[:, (UPPER_HEEL, LOWER_HEEL), WIDE].mean(axis=1)
    known = ~np.isnan(row) & ~np.isnan(width)
    if known.sum() < 20:
        return -row
    frames = np.arange(len(row))
    whole = np.interp(frames, frames[known], width[known])
    size = low_pass_pieces(whole[:, None], min(film.nears_hz, 0.3 * rate), rate)[:, 0]
    usual = float(np.median(size))
    if np.ptp(np.quantile(size, (0.05, 0.95))) < film.nears_least * usual:
        return -row
    at_camera, slope = _belt(size[known], row[known], film.belt_near * usual)
    height: FloatArray = (at_camera + slope * size - row) / size * usual
    return height


def _belt(size: FloatArray, row: FloatArray, near: float) -> tuple[float, float]:
    """Row at no size, and rows for each px of size, of the line below which no heel lies."""
    order = np.argsort(size)
    tried = order[np.linspace(0, len(order) - 1, min(_TRIED, len(order))).astype(int)]
    lowest = order[np.argsort(-row[order])[: _TRIED // 2]]
    a, b = (one.ravel() for one in np.meshgrid(np.concatenate([tried, lowest]), tried))
    apart = np.abs(size[a] - size[b]) > 0.3 * np.ptp(np.quantile(size, (0.05, 0.95)))
    a, b = a[apart], b[apart]
    slope = (row[a] - row[b]) / (size[a] - size[b])
    start = row[a] - slope * size[a]
    off = row[None, :] - (start[:, None] + slope[:, None] * size[None, :])
    score = (np.abs(off) < near).sum(axis=1) - 3.0 * (off > 2.0 * near).sum(axis=1)
    best = int(np.argmax(score))
    on = np.abs(off[best]) < near
    if on.sum() < 3:
        return float(start[best]), float(slope[best])
    fitted = np.polyfit(size[on], row[on], 1)
    return float(fitted[1]), float(fitted[0])
