"""Marks from C3D files (c3d.org), written here with the reference library and read back."""

from __future__ import annotations

import numpy as np
import pytest

from recommend.errors import InputError
from recommend.measure.capture import CaptureOptions, measure_capture
from recommend.measure.video.c3d import rear_view
from tests.invented.gait_model import Gait, film
from tests.measure.conftest import filmed

ezc3d = pytest.importorskip("ezc3d", reason="ezc3d is in the extra `c3d`")

NAMES = {"upper-leg": "UL", "lower-leg": "LL", "upper-heel": "UH", "lower-heel": "LH"}


def written(path, gait: Gait, facing: str, travel_mm: float = 4000.0):
    """A C3D file of `gait` filmed in mm, the person walking towards `facing`."""
    marks, _ = film(gait, 8, np.random.default_rng(0), click_px=0.0, px_per_mm=1.0)
    way = np.linspace(0.0, travel_mm, len(marks))[:, None]
    right, up = marks[..., 0], marks[..., 1]
    axes = {"+y": (right, way), "-y": (-right, -way), "+x": (way, -right), "-x": (-way, right)}
    x, y = (np.broadcast_to(axis, right.shape) for axis in axes[facing])
    c3d = ezc3d.c3d()
    c3d["parameters"]["POINT"]["RATE"]["value"] = [gait.rate]
    c3d["parameters"]["POINT"]["LABELS"]["value"] = list(NAMES.values())
    c3d["parameters"]["POINT"]["UNITS"]["value"] = ["mm"]
    points = np.ones((4, 4, len(marks)))
    points[:3] = np.stack([x.T, y.T, up.T])
    c3d["data"]["points"] = points
    c3d.write(str(path))
    return path


@pytest.mark.parametrize("facing", ["+x", "-x", "+y", "-y"])
@pytest.mark.parametrize("side", ["left", "right"])
def test_a_walk_in_any_direction_reads_like_the_video(tmp_path, parameters, defs, facing, side):
    """Walking towards any axis, told from the marks' travel, gives the angles of the rear view."""
    from recommend.measure.video import measure_marks

    path = written(tmp_path / "walk.c3d", Gait(side=side), facing)
    options = CaptureOptions(side=side, marks=NAMES)
    (found,) = measure_capture(path, parameters, defs, options)
    video = filmed(Gait(side=side), click_px=0.0, px_per_mm=1.0)
    expected = measure_marks(video, None, parameters, defs)

    assert found.find("contact-angle").value == pytest.approx(
        expected.find("contact-angle").value, abs=0.6
    )
    assert "stance-estimated" in {flag.name for flag in found.flags}


def test_right_of_the_way_faced():
    """By hand: facing +y the right hand is at +x; facing +x it is at -y."""
    point = np.array([[[3.0, 5.0, 7.0]]])

    assert rear_view(point, "+y").tolist() == [[[3.0, 7.0]]]
    assert rear_view(point, "-y").tolist() == [[[-3.0, 7.0]]]
    assert rear_view(point, "+x").tolist() == [[[-5.0, 7.0]]]
    assert rear_view(point, "-x").tolist() == [[[5.0, 7.0]]]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (CaptureOptions(marks=NAMES), "does not say the foot"),
        (CaptureOptions(side="left"), "no point is named for `upper-leg`; allowed: UL, LL, UH, LH"),
        (CaptureOptions(side="left", marks=NAMES | {"upper-leg": "ULL"}), "Did you mean `UL`"),
    ],
)
def test_what_is_not_said_is_asked_for(tmp_path, parameters, defs, options, words):
    """Foot, points and misspelt points are refused with what the file has."""
    path = written(tmp_path / "walk.c3d", Gait(), "+y")

    with pytest.raises(InputError, match=words):
        measure_capture(path, parameters, defs, options)


def test_on_a_treadmill_the_way_faced_must_be_said(tmp_path, parameters, defs):
    """Marks that stay in place do not tell where the person faces; --facing does."""
    path = written(tmp_path / "walk.c3d", Gait(), "+y", travel_mm=0.0)
    options = CaptureOptions(side="left", marks=NAMES)

    with pytest.raises(InputError, match="the way the person faces cannot be told"):
        measure_capture(path, parameters, defs, options)
    (found,) = measure_capture(
        path, parameters, defs, CaptureOptions(side="left", marks=NAMES, facing="+y")
    )
    assert found.n == 8


@pytest.mark.parametrize("content", [b"", b"not c3d at all", b"\x02\x50" + b"\x00" * 600])
def test_a_file_that_is_no_c3d_is_one_sentence(tmp_path, parameters, defs, content):
    """Damaged files are refused without a traceback."""
    path = tmp_path / "bad.c3d"
    path.write_bytes(content)

    with pytest.raises(InputError, match=r"bad\.c3d"):
        measure_capture(path, parameters, defs, CaptureOptions(side="left", marks=NAMES))


def test_a_damaged_file_is_one_sentence(tmp_path, parameters, defs):
    """Whatever a flipped or lost byte does to the reading library, it ends in a refusal here."""
    data = bytearray(written(tmp_path / "walk.c3d", Gait(), "+y").read_bytes())
    options = CaptureOptions(side="left", marks=NAMES)
    for number, change in enumerate(((0, 0xFF), (512, 0xFF), (520, 0x7F), (len(data) // 2, None))):
        hurt = data[: change[0]] if change[1] is None else data.copy()
        if change[1] is not None:
            hurt[change[0]] ^= change[1]
        path = tmp_path / f"hurt-{number}.c3d"
        path.write_bytes(hurt)
        refused = None
        try:
            measure_capture(path, parameters, defs, options)
        except InputError as error:
            refused = str(error)
        assert refused is None or str(path) in refused
        assert refused or number != 3, "half of a file was read"


def test_a_laboratory_with_y_up_reads_the_same(tmp_path, parameters, defs):
    """The vertical axis is told from the leg: y up gives the angles that z up gives."""
    upright = written(tmp_path / "z.c3d", Gait(), "+y")
    turned = ezc3d.c3d(str(upright))
    points = turned["data"]["points"].copy()
    points[1], points[2] = turned["data"]["points"][2], -turned["data"]["points"][1]
    fresh = ezc3d.c3d()
    for key in ("RATE", "LABELS", "UNITS"):
        fresh["parameters"]["POINT"][key]["value"] = turned["parameters"]["POINT"][key]["value"]
    fresh["data"]["points"] = points
    fresh.write(str(tmp_path / "y.c3d"))
    options = CaptureOptions(side="left", marks=NAMES)

    one, two = (
        measure_capture(tmp_path / name, parameters, defs, options)[0]
        for name in ("z.c3d", "y.c3d")
    )

    for measure in one.measures:
        assert two.find(measure.name).value == pytest.approx(measure.value, abs=1e-3), measure.name


def with_plate(path, contact, rate: float, middle):
    """The file with a force plate of 400 x 600 mm about `middle`, loaded while in `contact`.

    Type 2 of the format (six channels, forces as the plate feels them), ten samples a frame.
    """
    made, fresh = ezc3d.c3d(str(path)), ezc3d.c3d()
    for key in ("RATE", "LABELS", "UNITS"):
        fresh["parameters"]["POINT"][key]["value"] = made["parameters"]["POINT"][key]["value"]
    fresh["data"]["points"] = made["data"]["points"].copy()
    channels = np.zeros((1, 6, 10 * len(contact)))
    channels[0, 2] = -700.0 * np.repeat(contact, 10)
    fresh["parameters"]["ANALOG"]["RATE"]["value"] = [10 * rate]
    fresh["parameters"]["ANALOG"]["LABELS"]["value"] = [f"F{i}" for i in range(6)]
    fresh["data"]["analogs"] = channels
    corners = np.array([[200, 300, 0], [-200, 300, 0], [-200, -300, 0], [200, -300, 0]], float)
    corners[:, :2] += middle
    plate = {"USED": [1], "TYPE": [2], "ZERO": [0, 0], "CORNERS": corners.T[:, :, None]}
    plate |= {"ORIGIN": np.array([[0.0], [0], [-40]]), "CHANNEL": np.arange(1.0, 7)[:, None]}
    for key, value in plate.items():
        fresh.add_parameter("FORCE_PLATFORM", key, value)
        if key in ("USED", "TYPE", "ZERO", "CHANNEL"):
            fresh["parameters"]["FORCE_PLATFORM"][key]["type"] = 2
    fresh.write(str(path))


@pytest.mark.parametrize(("aside", "used"), [(0.0, True), (900.0, False)])
def test_a_force_plate_under_the_foot_gives_its_stance(tmp_path, parameters, defs, aside, used):
    """Contact of a second invented leg comes from the plate it lands on, not from one beside it.

    The frames of the plate's contact are known, because the force is written here.
    """
    from tests.bench.second_gait import Person, film

    rng = np.random.default_rng(5)
    person = Person("left", "walking", 0.0, 6.0, 0.4, 6.0, 0.68, 0.42, 3.0)
    shot = film(person, 6, 100.0, rng)
    path = tmp_path / "plate.c3d"
    made = ezc3d.c3d()
    made["parameters"]["POINT"]["RATE"]["value"] = [100.0]
    made["parameters"]["POINT"]["LABELS"]["value"] = list(NAMES.values())
    made["parameters"]["POINT"]["UNITS"]["value"] = ["mm"]
    points = np.ones((4, 4, len(shot.points)))
    points[0], points[2] = shot.points[..., 0].T / 1.5, shot.points[..., 1].T / 1.5
    points[1] = np.sin(np.arange(len(shot.points)) / 9.0)  # a treadmill
    made["data"]["points"] = points
    made.write(str(path))
    with_plate(path, shot.contact, 100.0, (aside, 0.0))

    options = CaptureOptions(side="left", marks=NAMES, facing="+y")
    (found,) = measure_capture(path, parameters, defs, options)

    assert ("stance-estimated" not in {flag.name for flag in found.flags}) is used
    time = found.find("contact-time")
    assert (time is not None) is used
    if time:
        assert time.value == pytest.approx(0.68, abs=0.02)
