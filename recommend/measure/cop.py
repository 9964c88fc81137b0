"""Geometry of the centre-of-pressure (COP) path: excursion index and drift class.

Coordinates everywhere in this module: ``x`` in mm from the foot axis, lateral positive on both
feet; ``y`` in mm forward along the foot axis from the back of the heel. The foot axis runs from
the centre of the heel to the second toe.

Numbers that a person could want to change are handed in as `parameters`, a mapping such as
``{"capture.cpei-line-from-toes": 0.333, ...}`` (``rules/parameters/capture.yaml``).
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from recommend.errors import RecommendError
from recommend.parameters import Capture

DriftClass = Literal["central", "lateral", "medial-early", "medial-late"]

FloatArray = NDArray[np.float64]


def cpei(
    path_mm: ArrayLike, foot_length_mm: float, forefoot_width_mm: float, capture: Capture
) -> float:
    """Centre of pressure excursion index in percent of forefoot width, lateral positive.

    Parameters
    ----------
    path_mm : (n, 2) of x and y in mm, first to last contact, n >= 3; no missing values.
    foot_length_mm : length along the foot axis in mm.
    forefoot_width_mm : width of the forefoot in mm.
    parameters : uses ``capture.cpei-line-from-toes`` (share of foot length).

    Returns
    -------
    100 x CPE / forefoot width. Zero for a straight path; negative when the path runs medial to
    the construction line.

    Raises
    ------
    RecommendError
        If the path is too short, not finite, does not go forward, or never reaches the line.

    Notes
    -----
    1. The construction line joins the first and the last sample of the path.
    2. A line across the foot axis stands one third of foot length behind the toes.
    3. CPE is the distance on that line from the construction line to the path. (Some measure it
       perpendicular to the construction line instead; the two differ by the cosine of the small
       angle between construction line and axis.)
    4. A path that wobbles across the line is read at the mean of its crossings.

    References
    ----------
    Song J, Hillstrom HJ, Secord D, Levitt J 1996 J Am Podiatr Med Assoc 86:16-23;
    Hillstrom HJ et al. 2013 Gait Posture 37:445-451. The conventions of the lines are from
    memory of these papers.
    """
    path = _path(path_mm)
    length = _positive(foot_length_mm, "foot length")
    width = _positive(forefoot_width_mm, "forefoot width")
    line_y = length * (1.0 - capture.cpei_line_from_toes)
    return 100.0 * (_x_at(path, line_y) - _construction_x(path, line_y)) / width


def drift_class(
    path_mm: ArrayLike, foot_length_mm: float, forefoot_width_mm: float, capture: Capture
) -> DriftClass:
    """Where the path drifts from the foot axis: central, lateral, medial-early or medial-late.

    Parameters and errors are those of `cpei`; the limits are ``capture.drift-*``.

    Notes
    -----
    The mean distance from the axis is taken over the middle third of foot length (midfoot) and
    over the front third up to the last sample (forefoot), in percent of forefoot width, each
    point of the length weighing the same. Then, first that fits:

    1. midfoot medial of ``drift-medial-midfoot``: ``medial-early``;
    2. forefoot medial of ``drift-medial-forefoot``: ``medial-late``;
    3. the mean of both lateral of ``drift-lateral``: ``lateral``;
    4. else ``central``.

    The path of an ordinary step ends under the hallux, medial of the axis, so the forefoot limit
    is the wider one. No published cut points are known to us: the limits are marked as
    assumptions.
    """
    return drift_word(*drift_percent(path_mm, foot_length_mm, forefoot_width_mm), capture)


def drift_word(midfoot: float, forefoot: float, capture: Capture) -> DriftClass:
    """The class of a path that lies so far from the axis, in percent of forefoot width."""
    if midfoot < capture.drift_medial_midfoot:
        return "medial-early"
    if forefoot < capture.drift_medial_forefoot:
        return "medial-late"
    if (midfoot + forefoot) / 2.0 > capture.drift_lateral:
        return "lateral"
    return "central"


def drift_percent(
    path_mm: ArrayLike, foot_length_mm: float, forefoot_width_mm: float
) -> tuple[float, float]:
    """Mean distance from the axis over midfoot and forefoot, percent of width, lateral positive.

    See `drift_class` for the construction; errors are those of `cpei`.
    """
    path = _path(path_mm)
    length = _positive(foot_length_mm, "foot length")
    width = _positive(forefoot_width_mm, "forefoot width")
    midfoot = _mean_x(path, length / 3.0, 2.0 * length / 3.0)
    forefoot = _mean_x(path, 2.0 * length / 3.0, length)
    return 100.0 * midfoot / width, 100.0 * forefoot / width


def path_length(path_mm: ArrayLike) -> float:
    """Length of the path in mm: the sum of its straight pieces."""
    path = np.asarray(path_mm, dtype=np.float64)
    return float(np.hypot(*np.diff(path, axis=0).T).sum())


def _path(path_mm: ArrayLike) -> FloatArray:
    path = np.asarray(path_mm, dtype=np.float64)
    if path.ndim != 2 or path.shape[1] != 2 or len(path) < 3:
        raise RecommendError(
            f"a COP path is a list of at least 3 pairs [x, y] in mm; this one has the shape "
            f"{' x '.join(map(str, path.shape))}"
        )
    if not np.isfinite(path).all():
        raise RecommendError("the COP path holds values that are not numbers; leave such rows out")
    if path[-1, 1] <= path[0, 1]:
        raise RecommendError(
            f"the COP path goes backwards (y from {path[0, 1]:.0f} to {path[-1, 1]:.0f} mm); "
            "y counts forward from the back of the heel, first contact first"
        )
    return path


def _positive(value: float, name: str) -> float:
    if not (np.isfinite(value) and value > 0):
        raise RecommendError(f"the {name} must be above 0 mm; it is {value:g}")
    return float(value)


def _construction_x(path: FloatArray, y: float) -> float:
    (x0, y0), (x1, y1) = path[0], path[-1]
    return float(x0 + (x1 - x0) * (y - y0) / (y1 - y0))


def _x_at(path: FloatArray, y: float) -> float:
    """Mean x of all crossings of the line at `y`."""
    x = float(_crossings(path, np.array([y]))[0])
    if np.isnan(x):
        low, high = path[:, 1].min(), path[:, 1].max()
        raise RecommendError(
            f"the COP path (y from {low:.0f} to {high:.0f} mm) never reaches the line at "
            f"{y:.0f} mm that the excursion index needs; check the foot length, and that the "
            "path goes from heel contact to toe-off"
        )
    return x


def _crossings(path: FloatArray, lines: FloatArray) -> FloatArray:
    """(m,) mean x of all crossings of each line at y = `lines` (m,); NaN where there is none."""
    x, y = path.T
    above = y[:, None] > lines
    crossed = above[1:] != above[:-1]
    rise = np.diff(y)[:, None]
    share = (lines - y[:-1, None]) / np.where(rise == 0, 1.0, rise)
    at = np.where(crossed, x[:-1, None] + share * np.diff(x)[:, None], 0.0)
    count = crossed.sum(axis=0)
    return np.where(count > 0, at.sum(axis=0) / np.maximum(count, 1), np.nan)


def _mean_x(path: FloatArray, low: float, high: float) -> float:
    """Mean x over y from `low` to `high`, each mm of y weighing the same."""
    high = min(high, float(path[:, 1].max()))
    low = max(low, float(path[:, 1].min()))
    if high <= low:
        raise RecommendError(
            f"the COP path (y from {path[:, 1].min():.0f} to {path[:, 1].max():.0f} mm) misses a "
            "third of the foot; check the foot length, and that the path goes from heel contact "
            "to toe-off"
        )
    borders = np.linspace(low, high, 41)
    middles = borders[:-1] + (borders[1] - borders[0]) / 2.0
    return float(_crossings(path, middles).mean())
