"""Centre of pressure of a stack of frames."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from recommend.measure.pressure.frame import cell_positions
from recommend.measure.pressure.recording import Frames

FloatArray = NDArray[np.float64]


def centre_of_pressure(
    frames: Frames, pitch_mm: tuple[float, float], trim_n: float
) -> tuple[FloatArray, FloatArray]:
    """Force-weighted centroid of each frame.

    Parameters
    ----------
    frames : (time, rows, columns) in kPa.
    pitch_mm : sensor pitch along rows and columns.
    trim_n : frames at the start and end below this force in N are left out, because a few
        sensors then set the path's ends, and with them the excursion index.

    Returns
    -------
    path : (n, 2) mat positions in mm, right and forward.
    force : (n,) in N.

    Notes
    -----
    A mat feels vertical force only; a force plate's centre of pressure also holds the moments of
    shear and differs by some millimetres.
    """
    force = frames.sum(axis=(1, 2), dtype=np.float64) * (pitch_mm[0] * pitch_mm[1] * 1e-3)
    kept = np.flatnonzero(force > trim_n)
    if not len(kept):
        return np.empty((0, 2)), np.empty(0)
    window = slice(int(kept[0]), int(kept[-1]) + 1)
    inside = frames[window]
    positions = cell_positions(inside.shape, pitch_mm)
    total = inside.sum(axis=(1, 2), dtype=np.float64)
    column_sums = inside.sum(axis=1, dtype=np.float64)
    row_sums = inside.sum(axis=2, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        right = column_sums @ positions[0, :, 0] / total
        forward = row_sums @ positions[:, 0, 1] / total
    path = np.column_stack([right, forward])
    loaded = np.isfinite(path).all(axis=1)  # a dip to zero inside the step leaves a gap
    return path[loaded], force[window][loaded]
