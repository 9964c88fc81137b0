"""Footprint areas, arch index and centroids against shapely and scikit-image.

Shapes are of known geometry; the expected numbers come from those libraries or from closed forms.
Definition of the arch index: Cavanagh and Rodgers 1987, J Biomech 20:547-551 (middle third of the
toeless footprint over the whole).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from recommend.measure.pressure.footprint import (
    Footprint,
    arch_index,
    border_weights,
    share_behind,
    thirds,
    weighted_arch_index,
    widths,
)
from recommend.measure.pressure.recording import FootFrame, centre_of_pressure
from recommend.parameters import Parameters

shapely = pytest.importorskip("shapely", reason="shapely is in the extra `test`")
measure = pytest.importorskip("skimage.measure", reason="scikit-image is in the extra `test`")


def upright(peak: np.ndarray, pitch: float, angle_deg: float = 0.0, side: str = "right"):
    """Footprint of `peak` whose axis leans by `angle_deg`, every loaded sensor fully covered."""
    angle = np.radians(angle_deg)
    forward = np.array([np.sin(angle), np.cos(angle)])
    rows, columns = np.nonzero(peak)
    corners = np.array(
        [
            [(c + dc) * pitch, (r + dr) * pitch]
            for r, c in zip(rows, columns, strict=True)
            for dr in (-0.5, 0.5)
            for dc in (-0.5, 0.5)
        ]
    )
    along = corners @ forward
    origin = forward * along.min()
    length = float(np.ptp(along))
    frame = FootFrame(origin, forward, side, length)
    toes = np.zeros(peak.shape, dtype=bool)
    weight = border_weights(peak > 0, 1.0)
    return Footprint(peak, (pitch, pitch), frame, toes, weight, length)


def union_of_sensors(peak: np.ndarray, pitch: float):
    """Loaded sensors as one shapely polygon in mm."""
    boxes = [
        shapely.box((c - 0.5) * pitch, (r - 0.5) * pitch, (c + 0.5) * pitch, (r + 0.5) * pitch)
        for r, c in np.argwhere(peak > 0)
    ]
    return shapely.unary_union(boxes)


def hourglass(rows: int = 50, columns: int = 24) -> np.ndarray:
    """Footprint-like blob: wide heel, narrow middle, wider front; pressures vary."""
    peak = np.zeros((rows, columns), dtype=np.float32)
    for r in range(2, rows - 2):
        u = (r - 2) / (rows - 5)
        half = 4.5 + 3.0 * u - 4.0 * np.exp(-(((u - 0.45) / 0.16) ** 2))
        for c in range(columns):
            if abs(c - 11.5) <= half:
                peak[r, c] = 40 + 3 * r + 2 * c
    return peak


@pytest.mark.parametrize("angle", [0.0, 4.0, -11.0, 37.0])
def test_thirds_equal_polygons_cut_by_shapely(angle):
    """Areas of the thirds of a footprint at any angle equal those of polygons cut at the lines."""
    peak, pitch = hourglass(), 5.0
    print_ = upright(peak, pitch, angle)
    shape = union_of_sensors(peak, pitch)
    forward, across = print_.frame.forward, print_.frame.lateral
    expected = []
    for k in range(3):
        near, far = (print_.frame.origin + forward * print_.toeless_mm * j / 3 for j in (k, k + 1))
        band = shapely.Polygon(
            [near - 900 * across, near + 900 * across, far + 900 * across, far - 900 * across]
        )
        expected.append(shape.intersection(band).area)

    assert thirds(print_) == pytest.approx(expected, rel=1e-9)
    assert arch_index(print_) == pytest.approx(expected[1] / sum(expected), rel=1e-9)


def test_a_rectangle_has_an_arch_index_of_one_third():
    """Closed form: a bar has equal thirds, 1/3 each, also when the thirds cut through sensors."""
    peak = np.zeros((40, 20), dtype=np.float32)
    peak[5:27, 6:14] = 100.0

    print_ = upright(peak, 7.0)

    assert thirds(print_) == pytest.approx([22 * 8 * 49 / 3] * 3)
    assert arch_index(print_) == pytest.approx(1 / 3)


def test_a_trapezium_of_pressure_weighs_by_closed_form():
    """Closed form: pressure that rises as a line from 1 to 3 puts 1/3 of its sum in the middle."""
    peak = np.zeros((300, 12), dtype=np.float32)
    peak[:, 2:10] = np.linspace(1.0, 3.0, 300)[:, None]

    assert weighted_arch_index(upright(peak, 1.0)) == pytest.approx(1 / 3, abs=1e-6)


def test_share_of_a_sensor_behind_a_line_equals_shapely():
    """The share of a 7 x 4 mm sensor behind a line equals shapely's clipped area."""
    sensor = shapely.box(-2.0, -3.5, 2.0, 3.5)
    for angle in (0.0, 0.05, 0.3, 0.8, 1.2, np.pi / 2):
        normal = np.array([np.sin(angle), np.cos(angle)])
        along = np.array([normal[1], -normal[0]])
        for limit in (-4.2, -2.0, -0.3, 0.0, 1.7, 3.6):
            at = normal * limit
            half = shapely.Polygon(
                [at + 99 * along, at - 99 * along, at - 99 * along - 99 * normal,
                 at + 99 * along - 99 * normal]
            )  # fmt: skip
            expected = sensor.intersection(half).area / sensor.area

            got = float(share_behind(np.array(0.0), normal, (7.0, 4.0), limit))

            assert got == pytest.approx(expected, abs=1e-9), (angle, limit)


def test_widths_of_a_stepped_shape():
    """By hand: 12, 4 and 8 sensors wide at 5 mm are 60, 20 and 40 mm, CSI 33.3, Staheli 0.5."""
    peak = np.zeros((36, 20), dtype=np.float32)
    peak[0:12, 6:14] = 80
    peak[12:24, 8:12] = 60
    peak[24:36, 4:16] = 90

    across = widths(upright(peak, 5.0), Parameters({"capture.isthmus-lost": 0.0}).capture)

    assert (across.forefoot, across.midfoot, across.heel) == pytest.approx((60.0, 20.0, 40.0))
    assert across.chippaux_smirak == pytest.approx(100 / 3)
    assert across.staheli == pytest.approx(0.5)


def test_centre_of_pressure_equals_the_centroid_of_scikit_image():
    """The centre of pressure of a frame is the intensity-weighted centroid of scikit-image."""
    rng = np.random.default_rng(7)
    frames = (rng.random((5, 30, 18)) * 300).astype(np.float32)

    path, force = centre_of_pressure(frames, (5.0, 4.0), trim_n=0.0)

    for frame, point, newton in zip(frames, path, force, strict=True):
        row, column = measure.centroid(frame.astype(np.float64))
        assert point == pytest.approx((column * 4.0, row * 5.0), abs=1e-4)
        assert newton == pytest.approx(frame.sum(dtype=np.float64) * 20e-3, rel=1e-6)


def test_known_outline_is_recovered_from_sensors_within_its_error():
    """An outline of known arch index (shapely), felt by 5 mm sensors, reads within 0.018.

    0.018 is twice the grid error stated for a pitch of 5 mm; 24 placements and angles.
    """
    outline = shapely.union_all(
        [
            shapely.affinity.scale(shapely.Point(0, 30).buffer(1, 64), 28, 30),
            shapely.Polygon([(-4, 30), (26, 30), (34, 130), (8, 130)]),
            shapely.affinity.scale(shapely.Point(2, 150).buffer(1, 64), 45, 42),
        ]
    )
    low, high = outline.bounds[1], outline.bounds[3]
    cuts = [low + (high - low) * k / 3 for k in range(4)]
    areas = [outline.intersection(shapely.box(-99, a, 99, b)).area for a, b in pairwise(cuts)]
    expected = areas[1] / sum(areas)
    rng = np.random.default_rng(3)
    got = []
    for _ in range(24):
        turn, shift = rng.uniform(-12, 12), rng.uniform(0, 5, 2)
        placed = shapely.affinity.translate(
            shapely.affinity.rotate(outline, -turn, origin=(0, 0)), 100 + shift[0], 30 + shift[1]
        )
        peak = 150.0 * coverage(placed, (52, 40), 5.0)
        peak[peak < 10] = 0.0
        print_ = upright(peak.astype(np.float32), 5.0, turn)
        weight = border_weights(peak > 0, 0.6)  # an abrupt border: one half and 10/150 of a sensor
        got.append(arch_index(Footprint(print_.peak, (5.0, 5.0), print_.frame, print_.toes, weight,
                                        print_.toeless_mm - 4.0)))  # fmt: skip

    assert np.abs(np.array(got) - expected).max() < 0.018


def coverage(shape, size: tuple[int, int], pitch: float) -> np.ndarray:
    """Covered share of each sensor of a mat, exactly, by shapely."""
    shapely.prepare(shape)
    out = np.zeros(size)
    for r in range(size[0]):
        for c in range(size[1]):
            cell = shapely.box(
                (c - 0.5) * pitch, (r - 0.5) * pitch, (c + 0.5) * pitch, (r + 0.5) * pitch
            )
            if shape.intersects(cell):
                out[r, c] = shape.intersection(cell).area / cell.area
    return out
