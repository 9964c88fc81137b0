"""Captures against open recordings made by others; see fetch_data.py for what and why not shipped.

- biomdp 0.11.2 (MIT): a force plate's raw channels and its maker's own export of the centre of
  pressure of the same standing trial.
- GaitAnalysisToolKit 0.2.0 (licence unclear): a digitised walking recording with gaps, the force
  plate under it, and joint angles computed in another language, kept as reference.
- openofm 1.1.3 (GPL-3): a walking recording with the three-dimensional hindfoot angle of a motion
  capture system.
- spm1d 0.4.55 (GPL-3): twenty images of foot pressure; sensor size and unit are not in the file,
  so only relations and a second implementation are compared, no absolute value.
"""

from __future__ import annotations

import tarfile
from itertools import pairwise

import numpy as np
import pytest

from recommend.measure.cop import path_length
from recommend.measure.filtering import bridge_gaps, low_pass_pieces, spans
from recommend.measure.pressure import PressureRecording, measure_pressure
from recommend.measure.pressure.footprint import (
    Footprint,
    arch_index,
    border_weights,
    footprint,
    thirds,
)
from recommend.measure.pressure.recording import centre_of_pressure, find_frame
from recommend.measure.video.recording import leg_heel_angle
from recommend.measure.video.stance import heel_stances
from tests.outside.fetch_data import archive, from_wheel

UP = np.array([0.0, 1.0])


@pytest.fixture(scope="module")
def numbers():
    """Parameters and definitions of the shipped rulebook."""
    from recommend.extras import shipped_folder
    from recommend.rulebook import load_rulebook

    return load_rulebook(shipped_folder("rules"))


# --- force plate -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """Raw corner forces (N) of the plate, every 20th sample, and the maker's COP (m)."""
    ezc3d = pytest.importorskip("ezc3d", reason="ezc3d is in the extra `c3d`")
    wheel = "biomdp-0.11.2-py3-none-any.whl"
    folder = tmp_path_factory.mktemp("plate")
    paths = [from_wheel(wheel, f"biomdp/tests/datasets/kistler_COP.{e}", folder) for e in
             ("c3d", "txt")]  # fmt: skip
    raw = ezc3d.c3d(str(paths[0]))["data"]["analogs"][0][:, ::20]
    lines = paths[1].read_text(errors="replace").splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("abs time"))
    names = lines[head].split("\t")
    rows = [line.split("\t") for line in lines[head + 2 :] if line.strip()]
    table = np.array([[float(cell) for cell in row] for row in rows])
    return raw, table[:, [names.index("Ax"), names.index("Ay")]]


def test_centre_of_pressure_of_corner_forces_is_the_makers_less_the_shear(plate):
    """Our centroid of the four vertical forces, less the moment of shear, is the maker's COP.

    The plate's half spacings are 210 and 350 mm, its surface 57 mm above the sensors (recovered
    from the export; the file's own 58 mm gives 0.16 mm). Within 0.06 mm over 10 s.
    """
    raw, maker = plate
    shear_x, shear_y = raw[0] + raw[1], raw[2] + raw[3]
    front_right, front_left, back_left, back_right = raw[4:8]
    frames = np.stack([np.stack([back_left, back_right], -1),
                       np.stack([front_left, front_right], -1)], axis=1)  # fmt: skip
    path, _ = centre_of_pressure(frames, (700.0, 420.0), trim_n=20.0)
    ours = path - [210.0, 350.0]
    lever = 57.0 / raw[4:8].sum(axis=0)
    corrected = ours - np.stack([shear_x * lever, shear_y * lever], axis=1)
    at = min(len(corrected), len(maker))

    off = np.abs(corrected[:at] - 1000.0 * maker[:at])

    assert off.max() < 0.06
    # What a mat sees, without shear, is off by millimetres: a limit of mats, not a fault.
    assert 1.0 < np.abs(ours[:at] - 1000.0 * maker[:at]).max() < 7.0


def test_length_of_the_makers_path(plate):
    """The path of the export is 1.0544 m long (summed from the export by other code)."""
    _, maker = plate

    assert path_length(maker) == pytest.approx(1.0544, abs=5e-4)


# --- digitised walking -----------------------------------------------------------------------


@pytest.fixture(scope="module")
def walking():
    """Marks (301, 6, 2) in m with gaps, vertical force (N), reference joint angles (deg)."""
    io = pytest.importorskip("scipy.io", reason="scipy is in the extra `test`")
    base = "GaitAnalysisToolKit-0.2.0/gaitanalysis/octave/2d_inverse_dynamics/test/"
    with tarfile.open(archive("GaitAnalysisToolKit-0.2.0.tar.gz")) as tar:
        text = tar.extractfile(base + "rawdata.txt").read().decode()
        reference = io.loadmat(tar.extractfile(base + "refresults.mat"))["refresults"]
    rows = [line.split("\t") for line in text.splitlines() if not line.startswith("%")]
    data = np.array([[float(cell) if cell.strip() else np.nan for cell in row] for row in rows])
    return data[:, 1:13].reshape(-1, 6, 2), data[:, 14], np.degrees(reference[:, :3])


def test_marks_to_angle_equals_the_reference_of_a_real_walk(walking):
    """Gaps bridged, filtered, two lines: the ankle angle of the reference within 0.1 degrees.

    The reference was computed at 4 Hz (its script says 6; the stored angles are 4) without
    pre-warping, and its filter starts badly, so frames 60 to 280 are compared. The view is from
    the side: this checks the chain from marks to angle, not the sign of eversion.
    """
    marks, _, angles = walking
    knee_ankle_heel_toe = marks[:, 2:6].reshape(len(marks), -1)
    filled, bridged = bridge_gaps(knee_ankle_heel_toe, longest=6)
    smooth = low_pass_pieces(filled, 4.0, 100.0).reshape(-1, 4, 2)

    ankle = leg_heel_angle(smooth, "left")

    assert bridged > 0
    assert np.abs(ankle - angles[:, 2])[60:281].max() < 0.1


def test_stance_told_from_the_heel_is_near_that_of_the_force_plate(walking, numbers):
    """Starts and ends told from the heel mark lie within 80 ms of the plate crossing 20 N.

    80 ms is what a mark on the heel alone is trusted with; the program widens errors for it.
    """
    marks, force, _ = walking
    heel = bridge_gaps(marks[:, 4], longest=6)[0][:, 1]
    plate = [span for span in spans(np.abs(force) > 20.0) if span[1] < len(force)]

    told = heel_stances(heel, 100.0, numbers.parameters.capture)

    assert len(told) == len(plate) == 2
    assert np.abs(np.array(told) - np.array(plate)).max() <= 8


# --- foot model ------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=["Default", "Flat"])
def foot_model(request, tmp_path_factory):
    """A processed walking recording with the hindfoot's angles and frames."""
    pytest.importorskip("ezc3d", reason="ezc3d is in the extra `c3d`")
    name = f"openofm-1.1.3/Data_Validate/{request.param}/dynamic_processed.c3d"
    with tarfile.open(archive("openofm-1.1.3.tar.gz")) as tar:
        folder = tmp_path_factory.mktemp("foot")
        tar.extract(name, folder, filter="data")
    return folder / name


def points_of(file, names: tuple[str, ...]) -> np.ndarray:
    """(frames, names, 3) of points in mm, read by our reader from the side and from behind."""
    from recommend.measure.video.c3d import read_points

    data = read_points(file)
    chosen = [data.labels.index(name) for name in names]
    return np.moveaxis(data.points[:, chosen], (0, 1, 2), (2, 1, 0))


@pytest.mark.parametrize(("side", "signs"), [("L", (-1, -1, -1)), ("R", (-1, 1, 1))])
def test_three_dimensional_hindfoot_angle_of_the_recording(foot_model, side, signs):
    """Cardan angles (Y, Z, X) of hindfoot in tibia, from its points, are the stored ones to 1e-3.

    This shows that points, sides and signs of the recording are understood, before the rear view
    is held against it.
    """
    rotation = pytest.importorskip("scipy.spatial.transform").Rotation
    names = ("AJC", "TIB1", "TIB2", "TIB3", "HDF0", "HDF3", "HDF2", "HDF1", "HFTBA")
    points = points_of(foot_model, tuple(side + name for name in names))
    axes = [points[:, 1:4] - points[:, :1], points[:, 5:8] - points[:, 4:5]]
    tibia, heel = (np.swapaxes(a / np.linalg.norm(a, axis=2, keepdims=True), 1, 2) for a in axes)

    angles = rotation.from_matrix(np.swapaxes(tibia, 1, 2) @ heel).as_euler("YZX", degrees=True)

    assert np.abs(angles * signs - points[:, 8]).max() < 1e-3


@pytest.mark.parametrize("side", ["left", "right"])
def test_rear_view_of_the_foot_model_is_a_smoke_test(foot_model, side, numbers):
    """The rear view of a real three-dimensional foot has no gaps, ordinary angles, the right sign.

    How far it may be trusted is written in the manual (captures): the heel still, it keeps within 3
    degrees (rms) of the 3-D angle after an offset; where that one moves by more than 8 degrees
    the two move the same way. Nothing closer is claimed.
    """
    from recommend.measure.capture import CaptureOptions
    from recommend.measure.video.c3d import read_marks_c3d

    s = side[0].upper()
    names = dict(zip(("upper-leg", "lower-leg", "upper-heel", "lower-heel"),
                     (f"{s}TIB3", f"{s}AJC", f"{s}HDF1", f"{s}HDF0"), strict=True))  # fmt: skip
    options = CaptureOptions(side=side, marks=names)
    marks = read_marks_c3d(foot_model, options, numbers.parameters.capture)
    angle = leg_heel_angle(marks.points, side)
    points = points_of(foot_model, (f"{s}HFTBA", f"{s}HEE"))
    eversion, height = -points[:, 0, 2], points[:, 1, 2]
    still = (height < height.min() + 15) & (np.abs(np.gradient(height)) < 1.0)

    assert np.isfinite(angle).all()
    assert np.abs(angle[still]).max() < 20
    for start, stop in (span for span in spans(still) if span[1] - span[0] > 15):
        flat, solid = angle[start:stop], eversion[start:stop]
        assert np.std(flat - solid) < 3.0
        if np.ptp(solid) > 8:
            assert np.corrcoef(flat, solid)[0, 1] > 0.7


# --- foot pressure images --------------------------------------------------------------------

PITCH = 8.5  # a guess that makes the feet 240 mm long; no check depends on it


@pytest.fixture(scope="module")
def images(tmp_path_factory):
    """(20, 60, 32) peak pressures of real left feet, unit unknown, taken as kPa."""
    folder = tmp_path_factory.mktemp("images")
    wheel = "spm1d-0.4.55-py3-none-any.whl"
    return np.load(from_wheel(wheel, "spm1d/examples/stats2d/data2d.npy", folder))


def still(image: np.ndarray) -> PressureRecording:
    """A still capture of one image."""
    frames = np.repeat(image[None].astype(np.float32), 3, axis=0)
    return PressureRecording(
        frames, (PITCH, PITCH), 50.0, None, "static", "standing", "barefoot", None, "image"
    )


def measured(image: np.ndarray, book):
    """The one foot of an image."""
    (one,) = measure_pressure(still(image), book.parameters, book.measures)
    return one


def test_real_left_feet_are_told_as_left_and_mirrored_as_right(images, numbers):
    """All twenty images are of left feet (seen in the picture); mirrored they are right feet."""
    sides = [measured(image, numbers).side for image in images]
    mirrored = [measured(image[:, ::-1], numbers).side for image in images]

    assert sides == ["left"] * 20
    assert mirrored == ["right"] * 20


def test_mirrored_shifted_and_turned_images_read_the_same(images, numbers):
    """Mirror, shift by whole sensors and half a turn leave arch index and length (to rounding)."""
    for image in images[::3]:
        plain = measured(image, numbers)
        for other in (image[:, ::-1], np.roll(image, (6, 2), axis=(0, 1))):
            same = measured(other, numbers)
            for name in ("arch-index", "footprint-length", "staheli"):
                assert same.find(name).value == pytest.approx(plain.find(name).value, rel=1e-4)


def test_scaling_pressure_with_its_threshold_leaves_the_shape(images, numbers):
    """Pressure times three with every pressure limit times three is the same footprint."""
    names = ("contact-threshold", "dead-surround", "step-force", "trim-force")
    was = numbers.parameters
    scaled = was.changed({f"capture.{name}": 3 * was.capture[name] for name in names})
    for image in images[::4]:
        plain = measured(image, numbers)
        (tripled,) = measure_pressure(still(3 * image), scaled, numbers.measures)
        assert tripled.find("arch-index").value == pytest.approx(
            plain.find("arch-index").value, abs=5e-3
        )


def test_a_higher_threshold_never_makes_more_contact(images, numbers):
    """Contact area falls as the contact threshold rises."""
    parameters = numbers.parameters
    for image in images[::5]:
        areas = []
        for threshold in (6.0, 10.0, 16.0, 25.0):
            peak = np.where(image >= threshold, image, 0).astype(np.float32)
            frame = find_frame(peak, (PITCH, PITCH), UP, "left", parameters.capture)
            print_ = footprint(peak, (PITCH, PITCH), frame, parameters.capture)
            areas.append(float(print_.weight.sum()))
        assert all(later <= earlier for earlier, later in pairwise(areas))


def test_thirds_of_real_footprints_equal_shapely(images, numbers):
    """Thirds of each real footprint, along its own axis, equal polygons cut by shapely to 1e-9."""
    shapely = pytest.importorskip("shapely", reason="shapely is in the extra `test`")
    parameters = numbers.parameters
    for image in images[::4]:
        peak = np.where(image >= 10, image, 0).astype(np.float32)
        frame = find_frame(peak, (PITCH, PITCH), UP, "left", parameters.capture)
        found = footprint(peak, (PITCH, PITCH), frame, parameters.capture)
        whole = Footprint(peak, (PITCH, PITCH), frame, found.toes,
                          border_weights(peak > 0, 1.0), found.toeless_mm)  # fmt: skip
        sole = shapely.union_all(
            [
                shapely.box((c - 0.5) * PITCH, (r - 0.5) * PITCH, (c + 0.5) * PITCH,
                            (r + 0.5) * PITCH)
                for r, c in np.argwhere((peak > 0) & ~found.toes)
            ]
        )  # fmt: skip
        cuts = [-999.0, found.toeless_mm / 3, 2 * found.toeless_mm / 3, 999.0]
        expected = []
        for low, high in pairwise(cuts):
            ends = [frame.origin + frame.forward * y for y in (low, high)]
            band = shapely.Polygon(
                [ends[0] - 999 * frame.lateral, ends[0] + 999 * frame.lateral,
                 ends[1] + 999 * frame.lateral, ends[1] - 999 * frame.lateral]
            )  # fmt: skip
            expected.append(sole.intersection(band).area)

        assert thirds(whole) == pytest.approx(expected, rel=1e-9)
        assert arch_index(whole) == pytest.approx(expected[1] / sum(expected), rel=1e-9)
