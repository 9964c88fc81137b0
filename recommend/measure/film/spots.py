"""Round spots of one picture, each with its centre to a fraction of a pixel.

A mark is a round spot that stands out from the skin all around it. Where it may lie is told by
the difference of two blurs; its centre is that of the area inside its half-way level, so that
light that changes across it moves the centre little. Runs in the process that opens the film.
"""

from __future__ import annotations

from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from recommend.measure.film.legs import CONTRAST, ERROR, RADIUS, WIDE, X, Y
from recommend.measure.filtering import FloatArray, Mask
from recommend.parameters import Film

COLUMNS: Final = 8  # of a spot, as `legs` names them
_MOST = 24  # places looked at in one picture, those that stand out most
_FOUND_AT = 2.6  # radius in px of a mark in the reduced picture in which spots are looked for
_REFINED_AT = 6.0  # a larger mark is reduced before its centre is taken
# In radii of a mark: the skin around it, its core, and how far out a pixel counts to its area.
_RING, _CORE, _COUNTED = (1.55, 2.1), 0.55, 1.5


def spots_of(
    grey: NDArray[np.uint8], radius: float, film: Film, *, bright: bool, contrast: float = 0.0
) -> FloatArray:
    """(n, 8) round spots of about `radius` px in `grey` (height, width), by falling contrast.

    `bright` spots are lighter than what surrounds them, others darker. Where the `contrast` of
    the marks is known, what stands out far less is not looked at. Columns: see `COLUMNS`.
    """
    picture: NDArray[np.uint8] = grey if bright else cv2.bitwise_not(grey)
    less = max(round(radius / _FOUND_AT), 1)
    least = max(film.seen_contrast * contrast, film.seen_levels)
    found = _tops(_reduced(picture, less), radius / less, least) * less + (less - 1) / 2.0
    if not len(found):
        return np.empty((0, COLUMNS))
    less = max(round(radius / _REFINED_AT), 1)
    middle = (less - 1) / 2.0
    spots = _refined(_reduced(picture, less), (found - middle) / less, radius / less, film)
    spots[:, [X, Y]] = spots[:, [X, Y]] * less + middle
    spots[:, [RADIUS, WIDE, ERROR]] *= less
    return spots[np.argsort(-spots[:, CONTRAST])]


def _reduced(picture: NDArray[np.uint8], less: int) -> NDArray[np.uint8]:
    if less == 1:
        return picture
    size = (picture.shape[1] // less, picture.shape[0] // less)
    part = picture[: size[1] * less, : size[0] * less]
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _tops(picture: NDArray[np.uint8], radius: float, least: float) -> FloatArray:
    """(n, 2) x and y of the places that stand out most from what lies around them."""
    light = picture.astype(np.float32)
    out = cv2.GaussianBlur(light, (0, 0), 0.6 * radius)
    out -= cv2.GaussianBlur(light, (0, 0), 1.6 * radius)
    reach = 2 * max(round(radius), 1) + 1
    most = cv2.dilate(out, np.ones((reach, reach), np.uint8))
    ys, xs = np.nonzero((out == most) & (out > least))
    best = np.argsort(-out[ys, xs])[:_MOST]
    return np.column_stack([xs[best], ys[best]]).astype(np.float64)


def _refined(picture: NDArray[np.uint8], at: FloatArray, radius: float, film: Film) -> FloatArray:
    """(m, 8) spots near the places `at` (n, 2); those that are no spots are left out."""
    reach = int(np.ceil(2.4 * radius)) + 1
    framed = cv2.copyMakeBorder(picture, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    offset = np.arange(-reach, reach + 1)
    corner = np.round(at).astype(int)
    rows, columns = corner[:, 1, None] + reach + offset, corner[:, 0, None] + reach + offset
    light = framed[rows[:, :, None], columns[:, None, :]].astype(np.float32)
    centre = at - corner
    size = np.full(len(at), radius)
    beside = offset.astype(np.float32)
    centre, size, (contrast, *_) = _measured(light, beside, centre, size, radius)
    clear = contrast > film.spot_contrast / 2.0  # the rest is not looked at again
    if not clear.any():
        return np.empty((0, COLUMNS))
    light, corner, centre, size = light[clear], corner[clear], centre[clear], size[clear]
    centre, size, rest = _measured(light, beside, centre, size, radius)
    contrast, wide, long, free, full, error = rest
    inside = corner + centre
    edge = np.minimum(inside, [picture.shape[1] - 1, picture.shape[0] - 1] - inside).min(axis=1)
    good = (
        (contrast > film.spot_contrast) & (free > film.spot_free) & (full > film.spot_full)
        & (edge > film.spot_inside * size) & (long < film.spot_long)
        & (size > film.spot_smallest * radius) & (size < film.spot_largest * radius)
    )  # fmt: skip
    spots = np.column_stack([inside, size, contrast, wide, free, full, error])[good]
    return _apart(spots)


def _measured(
    light: NDArray[np.float32],
    offset: NDArray[np.float32],
    centre: FloatArray,
    size: FloatArray,
    radius: float,
) -> tuple[FloatArray, FloatArray, tuple[FloatArray, ...]]:
    """Centre and radius of the area inside the half-way level of each patch, and its shape."""
    x, y = (offset - centre[:, k, None].astype(np.float32) for k in (0, 1))
    far = (np.square(y)[:, :, None] + np.square(x)[:, None, :]) / np.square(size)[:, None, None]
    ring = (far > _RING[0] ** 2) & (far < _RING[1] ** 2)
    around = _mean(light, ring)
    contrast = np.maximum(_mean(light, far < _CORE**2) - around, 1e-3)
    level = (light - around[:, None, None]) / contrast[:, None, None]
    whole = np.clip(2.0 * level - 0.5, 0.0, 1.0)
    cover = whole * (far < _COUNTED**2)
    across, down = cover.sum(axis=1), cover.sum(axis=2)
    area = np.maximum(down.sum(axis=1), 1e-3)
    dx, dy = (across * x).sum(axis=1) / area, (down * y).sum(axis=1) / area
    xx = (across * x * x).sum(axis=1) / area - dx * dx
    yy = (down * y * y).sum(axis=1) / area - dy * dy
    xy = (np.einsum("nyx,nx->ny", cover, x) * y).sum(axis=1) / area - dx * dy
    spread = np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    wide, narrow = (np.maximum((xx + yy) / 2 + by, 1e-3) for by in (spread, -spread))
    found = np.sqrt(area / np.pi)
    noise = np.sqrt(np.maximum(_mean(light * light, ring) - around**2, 0.25))
    error = noise / (0.5 * contrast) / np.sqrt(np.pi * found)
    full = area / (4.0 * np.pi * np.sqrt(wide * narrow))
    free = 1.0 - _mean(whole, ring)
    moved = np.clip(np.column_stack([dx, dy]), -radius, radius)
    next_size = np.clip(found, 0.4 * radius, 2.0 * radius)
    shape = (
        contrast,
        2.0 * np.sqrt(np.maximum(xx, 1e-3)),
        np.sqrt(wide / narrow),
        free,
        full,
        error,
    )
    return centre + moved, next_size, shape


def _mean(values: NDArray[np.floating[Any]], where: Mask) -> FloatArray:
    """(n,) mean of `values` (n, rows, columns) over the pixels that count."""
    count = len(values)
    flat, counted = values.reshape(count, -1), where.reshape(count, -1).astype(np.float32)
    sums = np.einsum("ij,ij->i", flat, counted, dtype=np.float64)
    mean: FloatArray = sums / np.maximum(counted.sum(axis=1), 1)
    return mean


def _apart(spots: FloatArray) -> FloatArray:
    """The spots without those that came out twice, the clearest first."""
    kept: list[int] = []
    for i in np.argsort(-spots[:, CONTRAST]):
        gaps = np.hypot(*(spots[kept][:, :2] - spots[i, :2]).T)
        if not (gaps < spots[i, RADIUS]).any():
            kept.append(int(i))
    return spots[kept]
