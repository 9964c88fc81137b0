"""Part the toes from the rest of the footprint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recommend.measure.pressure.frame import FootFrame, cell_positions
from recommend.measure.pressure.recording import Frames
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]
_GRID_PER_PITCH = 2.0  # two samples per sensor follow the map without inventing detail


@dataclass(frozen=True, slots=True, eq=False)
class FootMap:
    """Peak pressure resampled on a grid along the foot axis.

    Attributes
    ----------
    x, y : (columns,) and (rows,) positions in mm in the foot's coordinates.
    pressure : (rows, columns) in kPa, bilinear between sensors.
    """

    x: FloatArray
    y: FloatArray
    pressure: FloatArray


def foot_map(
    peak: Frames,
    pitch_mm: tuple[float, float],
    frame: FootFrame,
    grid_mm: tuple[FloatArray, FloatArray] | None = None,
) -> FootMap:
    """Resample `peak` (kPa) along the axis of `frame`.

    The grid is `grid_mm` (x and y), or one that holds the foot, half a sensor apart.
    """
    x, y = grid_mm or foot_grid(peak, pitch_mm, frame)
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    at = frame.to_mat(grid) / np.array([pitch_mm[1], pitch_mm[0]])
    return FootMap(x, y, _bilinear(peak, at).reshape(len(y), len(x)))


def foot_grid(
    peak: Frames, pitch_mm: tuple[float, float], frame: FootFrame
) -> tuple[FloatArray, FloatArray]:
    """Positions x and y in mm of a grid along the foot that holds its whole contact."""
    step = min(pitch_mm) / _GRID_PER_PITCH
    cells = frame.to_foot(cell_positions(peak.shape, pitch_mm)[peak > 0])
    x = np.arange(cells[:, 0].min() - step, cells[:, 0].max() + 1.5 * step, step)
    return x, np.arange(-step, frame.length_mm + 1.5 * step, step)


def _bilinear(values: Frames, at: FloatArray) -> FloatArray:
    """Values at fractional (column, row) positions; zero outside."""
    padded = np.pad(values.astype(np.float64), 1)
    column = np.clip(at[:, 0] + 1.0, 0.0, padded.shape[1] - 1.001)
    row = np.clip(at[:, 1] + 1.0, 0.0, padded.shape[0] - 1.001)
    c, r = column.astype(np.intp), row.astype(np.intp)
    u, v = column - c, row - r
    low = padded[r, c] * (1 - u) + padded[r, c + 1] * u
    high = padded[r + 1, c] * (1 - u) + padded[r + 1, c + 1] * u
    result: FloatArray = low * (1 - v) + high * v
    return result


def toe_line(smooth: FootMap, length_mm: float, parameters: Parameters) -> FloatArray:
    """(columns,) y of the border between metatarsal heads and toes for each x of the map.

    Notes
    -----
    1. In each strip along the foot the metatarsal head is the highest pressure between
       ``capture.heads-low`` and ``capture.heads-high`` of the length.
    2. In front of it the border is the lowest place before pressure rises again, by at least
       ``capture.toe-rise`` of what stands before it: the valley behind a toe.
    3. A parabola through the borders found, weighed by their rise and with outliers left out,
       gives the border of strips where no toe bears, and steadies all of them.
    """
    heads = [length_mm * parameters.capture[f"heads-{end}"] for end in ("low", "high")]
    found = _valleys(smooth, (heads[0], heads[1]), parameters.capture.toe_rise)
    known = np.flatnonzero(~np.isnan(found))
    fallback = length_mm * parameters.capture.toe_line
    if len(known) < 3:
        return np.full(len(smooth.x), fallback)
    return _parabola(smooth.x[known], found[known], smooth.x)


def _valleys(smooth: FootMap, heads: tuple[float, float], rise: float) -> FloatArray:
    """(columns,) y of the valley in front of the metatarsal head of each strip; NaN without."""
    y, load = smooth.y[:, None], smooth.pressure
    within = (y >= heads[0]) & (y <= heads[1]) & (load > 0)
    head = np.argmax(np.where(within, load, -1.0), axis=0)
    front = np.arange(len(y))[:, None] >= head
    lowest = np.minimum.accumulate(np.where(front, load, np.inf), axis=0)
    enough = rise * np.take_along_axis(load, head[None], axis=0) * 0.5
    rises = front & (load > lowest * (1.0 + rise)) & (load > enough)
    first = np.argmax(rises, axis=0)
    floor = np.take_along_axis(lowest, first[None], axis=0)
    bottom = front & (np.arange(len(y))[:, None] <= first) & (load <= floor)
    middle = (bottom * y).sum(axis=0) / np.maximum(bottom.sum(axis=0), 1)
    return np.where(within.any(axis=0) & rises.any(axis=0), middle, np.nan)


def _parabola(x: FloatArray, y: FloatArray, at: FloatArray) -> FloatArray:
    """Least-squares parabola through (x, y), refitted without the points far from it."""
    kept = np.ones(len(x), dtype=bool)
    for _ in range(3):
        degree = 2 if np.count_nonzero(kept) > 4 else 0
        line = np.polyfit(x[kept], y[kept], degree)
        off = np.abs(y - np.polyval(line, x))
        kept = off <= max(2.5 * float(np.median(off)), 1.0)
    ends = np.clip(at, x[kept].min(), x[kept].max())  # a parabola runs away beyond its points
    return np.asarray(np.polyval(line, ends), dtype=np.float64)


def toe_mask(
    peak: Frames, pitch_mm: tuple[float, float], frame: FootFrame, parameters: Parameters
) -> Mask:
    """(rows, columns) true for loaded sensors that belong to the toes."""
    smooth = foot_map(peak, pitch_mm, frame)
    line = toe_line(smooth, frame.length_mm, parameters)
    cells = frame.to_foot(cell_positions(peak.shape, pitch_mm).reshape(-1, 2))
    beyond = cells[:, 1] > np.interp(cells[:, 0], smooth.x, line)
    mask: Mask = beyond.reshape(peak.shape) & (peak > 0)
    return mask
