"""COP excursion index and drift against closed-form paths.

Source of the construction: Song et al. 1996 J Am Podiatr Med Assoc 86:16-23 and Hillstrom et al.
2013 Gait Posture 37:445-451 (construction line from first to last sample, read on the boundary of
the distal third of foot length, over forefoot width). The lines' convention is from memory. The
expected numbers are worked by hand from that construction, not taken from the program.
"""

from __future__ import annotations

import numpy as np
import pytest

from recommend.errors import RecommendError
from recommend.measure.cop import cpei, drift_class, drift_percent, path_length
from recommend.parameters import Parameters

PARAMETERS = Parameters(
    {
        "capture.cpei-line-from-toes": 1 / 3,
        "capture.drift-medial-midfoot": -4.0,
        "capture.drift-medial-forefoot": -14.0,
        "capture.drift-lateral": 10.0,
    }
).capture
LENGTH, WIDTH = 240.0, 90.0


def parabola(bulge: float, start=(0.0, 20.0), end=(0.0, 220.0), n: int = 2001) -> np.ndarray:
    """Path that bulges by `bulge` mm midway between `start` and `end`, over a straight chord."""
    u = np.linspace(0.0, 1.0, n)
    x = start[0] + (end[0] - start[0]) * u + 4.0 * bulge * u * (1.0 - u)
    return np.column_stack([x, start[1] + (end[1] - start[1]) * u])


def test_a_straight_path_has_no_excursion():
    """A COP that never leaves the construction line scores zero, however it lies."""
    path = parabola(0.0, start=(7.0, 20.0), end=(-19.0, 220.0))

    assert cpei(path, LENGTH, WIDTH, PARAMETERS) == pytest.approx(0.0, abs=1e-9)


def test_a_parabola_reads_its_height_on_the_line():
    """At y = 160 of 20..220 (u = 0.7) a 15 mm parabola stands 4 * 15 * 0.7 * 0.3 = 12.6 mm out."""
    assert cpei(parabola(15.0), LENGTH, WIDTH, PARAMETERS) == pytest.approx(100 * 12.6 / 90)


@pytest.mark.parametrize("slope_mm", [-30.0, -8.0, 12.0])
def test_a_slanted_chord_does_not_change_the_excursion(slope_mm):
    """The excursion is counted from the construction line, so turning the chord keeps it."""
    path = parabola(15.0, end=(slope_mm, 220.0))

    assert cpei(path, LENGTH, WIDTH, PARAMETERS) == pytest.approx(100 * 12.6 / 90)


def test_a_medial_path_scores_below_zero():
    """Medial of the construction line counts negative (lateral positive)."""
    assert cpei(parabola(-15.0), LENGTH, WIDTH, PARAMETERS) == pytest.approx(-100 * 12.6 / 90)


def test_three_points_by_hand():
    """(0,0) (12,160) (-6,240): the chord stands at -4 on the line of 160, so CPE = 16 mm."""
    path = [[0.0, 0.0], [12.0, 160.0], [-6.0, 240.0]]

    assert cpei(path, LENGTH, 80.0, PARAMETERS) == pytest.approx(20.0)


def test_a_wobble_on_the_line_is_read_at_the_mean_of_its_crossings():
    """Three crossings of y = 160 at x = 4, 6 and 8 mm read 6 mm."""
    path = [[0, 0], [3, 150], [5, 170], [7, 150], [9, 170], [0, 240]]

    assert cpei(path, LENGTH, 100.0, PARAMETERS) == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("path", "length", "words"),
    [
        ([[0, 0], [1, 100]], 240.0, "at least 3 pairs"),
        ([[0, 0], [1, 50], [1, 100]], 240.0, "never reaches the line at 160 mm"),
        ([[0, 200], [1, 100], [1, 0]], 240.0, "goes backwards"),
        ([[0, 0], [np.nan, 100], [1, 200]], 240.0, "not numbers"),
        ([[0, 0], [1, 100], [1, 200]], 0.0, "foot length must be above 0"),
    ],
)
def test_an_unusable_path_is_refused_in_words(path, length, words):
    """A path that cannot carry the construction is refused with the reason."""
    with pytest.raises(RecommendError, match=words):
        cpei(path, length, WIDTH, PARAMETERS)


def path_through(*points: tuple[float, float]) -> np.ndarray:
    """Straight pieces through (x, y) points."""
    x, y = np.array(points, dtype=float).T
    fine = np.linspace(y[0], y[-1], 400)
    return np.column_stack([np.interp(fine, y, x), fine])


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        ([(0, 15), (4, 80), (4, 160), (-20, 230)], "central"),
        ([(0, 15), (12, 80), (14, 160), (4, 230)], "lateral"),
        ([(0, 15), (-8, 80), (-10, 160), (-20, 230)], "medial-early"),
        ([(0, 15), (4, 80), (4, 130), (-20, 170), (-24, 230)], "medial-late"),
    ],
)
def test_drift_follows_where_the_path_leaves_the_axis(points, expected):
    """Common practice, no source: a late medial path leaves the axis over the forefoot only."""
    assert drift_class(path_through(*points), LENGTH, WIDTH, PARAMETERS) == expected


def test_mean_distance_over_a_third_by_hand():
    """A path of x = y / 10 over thirds of 240 mm: midfoot 12 mm, forefoot (to y = 220) 19 mm."""
    path = [[2.0, 20.0], [10.0, 100.0], [22.0, 220.0]]

    assert drift_percent(path, LENGTH, 100.0) == pytest.approx((12.0, 19.0))


def test_length_of_a_quarter_circle():
    """A quarter circle of radius 100 mm is 50 pi mm long."""
    t = np.linspace(0, np.pi / 2, 5001)

    length = path_length(100 * np.column_stack([np.cos(t), np.sin(t)]))

    assert length == pytest.approx(50 * np.pi, rel=1e-6)
