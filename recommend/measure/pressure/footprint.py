"""A footprint, its toes parted from the rest; thirds, arch index, Chippaux-Smirak and Staheli.

Areas are exact for sensors as rectangles at any angle of the foot. A sensor on the border of the
contact is covered in part only and counts with ``capture.edge-share``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from recommend.measure.filtering import FloatArray, Mask
from recommend.measure.pressure.recording import FootFrame, Frames, cell_positions
from recommend.parameters import Capture

_GRID_PER_PITCH = 2.0  # two samples per sensor follow the map without inventing detail


@dataclass(frozen=True, slots=True, eq=False)
class Footprint:
    """One footprint in its own frame.

    Attributes
    ----------
    peak : (rows, columns) highest pressure in kPa.
    pitch_mm : sensor pitch along rows and columns.
    frame : where the foot lies.
    toes : (rows, columns) true for toe contact.
    weight : (rows, columns) share of each sensor that is covered: 0, edge share, or 1.
    toeless_mm : length from the back of the heel to the front of the metatarsal heads.
    cells : (rows, columns, 2) of x and y in mm of each sensor's centre in the foot.
    """

    peak: Frames
    pitch_mm: tuple[float, float]
    frame: FootFrame
    toes: Mask
    weight: FloatArray
    toeless_mm: float
    cells: FloatArray = field(init=False)

    @property
    def cell_mm2(self) -> float:
        """Area of one sensor in mm^2."""
        return self.pitch_mm[0] * self.pitch_mm[1]

    def __post_init__(self) -> None:
        """Place the sensors in the foot once; much asks where they lie."""
        flat = cell_positions(self.peak.shape, self.pitch_mm).reshape(-1, 2)
        cells = self.frame.to_foot(flat).reshape(*self.peak.shape, 2)
        object.__setattr__(self, "cells", cells)

    @property
    def edge_mm(self) -> float:
        """How far the contact reaches beyond the centre of its outermost sensor, on average."""
        border = self.weight[(self.weight > 0) & (self.weight < 1)]
        share = float(border.mean()) if len(border) else 1.0
        return (share - 0.5) * max(self.pitch_mm)


def footprint(
    peak: Frames, pitch_mm: tuple[float, float], frame: FootFrame, capture: Capture
) -> Footprint:
    """Footprint of `peak` (kPa, zero without contact) lying in `frame`."""
    toes = toe_mask(peak, pitch_mm, frame, capture)
    contact = peak > 0
    weight = border_weights(contact, capture.edge_share)
    flat = cell_positions(peak.shape, pitch_mm)[contact & ~toes]
    edge = (capture.edge_share - 0.5) * max(pitch_mm)
    toeless = float(frame.to_foot(flat)[:, 1].max()) + edge
    return Footprint(peak, pitch_mm, frame, toes, weight, toeless)


def border_weights(contact: Mask, edge_share: float) -> FloatArray:
    """Covered share of each sensor: `edge_share` where an edge neighbour has no contact, else 1."""
    padded = np.pad(contact, 1)
    inside = padded[:-2, 1:-1] & padded[2:, 1:-1] & padded[1:-1, :-2] & padded[1:-1, 2:]
    return np.where(contact, np.where(inside, 1.0, edge_share), 0.0)


def share_behind(
    positions: FloatArray,
    direction: FloatArray,
    pitch_mm: tuple[float, float],
    limit: float | FloatArray,
) -> FloatArray:
    """Share of each sensor that lies behind a straight line, exactly.

    Parameters
    ----------
    positions : (...,) centres of the sensors along the normal of the line, in mm.
    direction : (2,) unit normal of the line in mat coordinates (right, forward).
    pitch_mm : sensor size along rows (forward) and columns (right).
    limit : where the line crosses its normal, in mm; broadcast against `positions`.

    Notes
    -----
    The projection of a rectangle on a direction has the density of a sum of two uniform
    variables, a trapezium; its distribution function is the share wanted.
    """
    wide, narrow = sorted(
        (abs(direction[0]) * pitch_mm[1], abs(direction[1]) * pitch_mm[0]), reverse=True
    )
    u = limit - np.asarray(positions, dtype=np.float64)
    if narrow < 1e-9 * wide:
        return _share(u / wide + 0.5)

    def ramp(t: FloatArray) -> FloatArray:
        return np.square(np.maximum(t, 0.0))

    half, rest = (wide + narrow) / 2.0, (wide - narrow) / 2.0
    total = ramp(u + half) - ramp(u + rest) - ramp(u - rest) + ramp(u - half)
    return _share(total / (2.0 * wide * narrow))


def _share(values: FloatArray) -> FloatArray:
    return np.asarray(np.clip(values, 0.0, 1.0), dtype=np.float64)


def thirds(print_: Footprint, values: FloatArray | None = None) -> FloatArray:
    """(3,) sum over rear, middle and front third of the toeless footprint.

    Sums contact area in mm^2, or `values` (rows, columns) per sensor when given.
    """
    amount = print_.weight * print_.cell_mm2 if values is None else values
    amount = np.where(print_.toes, 0.0, amount)
    y = print_.cells[..., 1]
    length = print_.toeless_mm
    first, second = (
        share_behind(y, print_.frame.forward, print_.pitch_mm, length * k / 3.0) for k in (1, 2)
    )
    rear, both = float((amount * first).sum()), float((amount * second).sum())
    return np.array([rear, both - rear, float(amount.sum()) - both])


def arch_index(print_: Footprint) -> float:
    """Area of the middle third over the area of the toeless footprint.

    References
    ----------
    Cavanagh PR, Rodgers MM 1987 J Biomech 20:547-551. On a sensor mat this is the
    ``pressure-sensor`` index; the cut points of ink footprints do not apply.
    """
    areas = thirds(print_)
    return float(areas[1] / areas.sum())


def weighted_arch_index(print_: Footprint) -> float:
    """Peak pressure summed over the middle third over that of the toeless footprint.

    The ``pressure-weighted`` (modified) arch index: another scale, never compared with areas.
    """
    sums = thirds(print_, print_.peak.astype(np.float64))
    return float(sums[1] / sums.sum())


@dataclass(frozen=True, slots=True)
class Widths:
    """Widths across the axis in mm: widest forefoot, narrowest midfoot, widest heel."""

    forefoot: float
    midfoot: float
    heel: float

    @property
    def chippaux_smirak(self) -> float:
        """Narrowest midfoot over widest forefoot, in percent (Chippaux-Smirak index)."""
        return 100.0 * self.midfoot / self.forefoot

    @property
    def staheli(self) -> float:
        """Narrowest midfoot over widest heel, a ratio (Staheli LT et al. 1987)."""
        return self.midfoot / self.heel


def widths(print_: Footprint, capture: Capture) -> Widths:
    """Widths of the toeless footprint across the axis.

    Heel and forefoot are read between the outermost contacts of a band one sensor deep. The
    midfoot's width is contact area per length in such a band, so that gaps do not count; it is 0
    where a high arch leaves the midfoot without contact. The least of many noisy widths is too
    small; ``capture.isthmus-lost`` mm are given back.
    """
    cells = print_.cells[(print_.weight > 0) & ~print_.toes]
    third = print_.toeless_mm / 3.0
    narrow = min(_contact_widths(print_, (third, 2 * third)))
    lost = capture.isthmus_lost if narrow > 0 else 0.0
    return Widths(
        max(_extents(cells, (2 * third, print_.toeless_mm), print_)),
        narrow + lost,
        max(_extents(cells, (0.0, third), print_)),
    )


def _extents(cells: FloatArray, span: tuple[float, float], print_: Footprint) -> list[float]:
    """Distance between outermost contacts in bands one sensor deep from `span` start to end."""
    depth = max(print_.pitch_mm)
    extra = 2.0 * print_.edge_mm
    out = []
    for low in np.arange(span[0], span[1] - depth / 2.0, depth / 2.0):
        band = cells[np.abs(cells[:, 1] - low - depth / 2.0) <= depth / 2.0, 0]
        out.append(float(np.ptp(band)) + extra if len(band) else 0.0)
    return out


def _contact_widths(print_: Footprint, span: tuple[float, float]) -> list[float]:
    """Contact area per length in bands one sensor deep from `span` start to end."""
    depth = max(print_.pitch_mm)
    amount = np.where(print_.toes, 0.0, print_.weight * print_.cell_mm2)
    y = print_.cells[..., 1]
    borders = np.arange(span[0], span[1], depth / 2.0)
    loaded = amount > 0
    share = share_behind(
        y[loaded][:, None], print_.frame.forward, print_.pitch_mm, borders[None, :]
    )
    behind = amount[loaded] @ share
    return [float(area) / depth for area in behind[2:] - behind[:-2]]


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


def toe_line(smooth: FootMap, length_mm: float, capture: Capture) -> FloatArray:
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
    heads = [length_mm * capture[f"heads-{end}"] for end in ("low", "high")]
    found = _valleys(smooth, (heads[0], heads[1]), capture.toe_rise)
    known = np.flatnonzero(~np.isnan(found))
    fallback = length_mm * capture.toe_line
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
    peak: Frames, pitch_mm: tuple[float, float], frame: FootFrame, capture: Capture
) -> Mask:
    """(rows, columns) true for loaded sensors that belong to the toes."""
    smooth = foot_map(peak, pitch_mm, frame)
    line = toe_line(smooth, frame.length_mm, capture)
    cells = frame.to_foot(cell_positions(peak.shape, pitch_mm).reshape(-1, 2))
    beyond = cells[:, 1] > np.interp(cells[:, 0], smooth.x, line)
    mask: Mask = beyond.reshape(peak.shape) & (peak > 0)
    return mask
