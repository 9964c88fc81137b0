"""Leg-heel angles against a table worked by hand, and the sign by the anatomy.

Convention: eversion (valgus) positive. In eversion the sole of the heel turns outward: seen from
behind, the lower end of the heel line moves to the lateral side (textbook anatomy, from memory).
Tangents are of the right triangles named beside each row.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from recommend.measure.video.recording import camera_roll, leg_heel_angle, rolled_back

# (upper leg, lower leg, upper heel, lower heel) as (x right, y up) from behind; left foot; degrees
TABLE = [
    # leg upright, heel upright: both lines in one
    (((0, 400), (0, 200), (0, 100), (0, 0)), 0.0),
    # heel's lower end 10 to the left (lateral) per 100: atan(0.1)
    (((0, 400), (0, 200), (0, 100), (-10, 0)), 5.710593),
    # the same to the right (medial): inversion
    (((0, 400), (0, 200), (0, 100), (10, 0)), -5.710593),
    # leg's upper end leans 20 per 200 to the right (medial), heel upright: heel inverted on it
    (((20, 400), (0, 200), (0, 100), (0, 0)), -5.710593),
    # both lean alike: 0
    (((20, 400), (0, 200), (0, 100), (-10, 0)), 0.0),
    # 3-4-5 triangle: atan(3 / 4)
    (((0, 400), (0, 200), (0, 40), (-30, 0)), 36.869898),
    # leg leans atan(1/10) to the left, heel atan(1/5) to the right: sum of the two
    (((-20, 400), (0, 200), (0, 100), (-20, 0)), 5.710593 + 11.309932),
]


@pytest.mark.parametrize(("marks", "degrees"), TABLE)
def test_left_foot_by_the_table(marks, degrees):
    """Each row's angle is the one worked from its right triangles."""
    points = np.array([marks], dtype=float)

    assert leg_heel_angle(points, "left") == pytest.approx([degrees], abs=1e-5)


@pytest.mark.parametrize(("marks", "degrees"), TABLE)
def test_right_foot_is_the_mirror_image(marks, degrees):
    """Mirrored marks of a right foot read the same angle, eversion still positive."""
    points = np.array([marks], dtype=float) * [-1.0, 1.0]

    assert leg_heel_angle(points, "right") == pytest.approx([degrees], abs=1e-5)


@pytest.mark.parametrize("roll", [-12.0, -2.0, 3.0, 8.0])
def test_camera_roll_leaves_the_angle_and_is_undone(roll):
    """Turning the picture keeps the leg-heel angle; the plumb line gives the roll back."""
    marks = np.array([TABLE[1][0]], dtype=float)
    turn = math.radians(roll)
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    rolled = marks @ matrix  # a line that stood upright leans `roll` to the right
    plumb = np.array([[[0.0, 100.0], [0.0, 0.0]]]) @ matrix

    assert leg_heel_angle(rolled, "left") == pytest.approx([5.710593], abs=1e-5)
    assert camera_roll(plumb) == pytest.approx(roll)
    assert rolled_back(rolled, camera_roll(plumb)) == pytest.approx(marks, abs=1e-9)
