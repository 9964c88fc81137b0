"""Captures of marks as files, and every way to get them wrong."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from recommend.errors import InputError
from recommend.measure.header import open_array
from recommend.measure.video.reading import read_marks_csv

HEAD = """\
# capture: marks
# unit: px
# y-axis: down
# rate-hz: 100
# side: left
"""
MARKS = ("upper-leg", "lower-leg", "upper-heel", "lower-heel")
COLUMNS = ",".join(["frame", *(f"{mark}-{axis}" for mark in MARKS for axis in "xy")])
ROW = "100,10,101,110,102,210,103,310"


def written(tmp_path, *lines: str, head: str = HEAD):
    """A file of `head` and `lines`."""
    path = tmp_path / "video.csv"
    path.write_text(head + "\n".join(lines) + "\n")
    return path


def test_y_down_becomes_y_up_and_a_dropped_frame_a_gap(tmp_path):
    """Image rows count down; a frame number left out is a row of missing marks."""
    found = read_marks_csv(written(tmp_path, COLUMNS, f"7,{ROW}", f"9,{ROW}"))

    assert found.points.shape == (3, 4, 2)
    assert found.points[0, 0].tolist() == [100, -10]
    assert np.isnan(found.points[1]).all()
    assert found.dropped == 1


def test_an_empty_cell_is_a_missing_mark_not_a_zero(tmp_path):
    """Missing stays missing."""
    found = read_marks_csv(written(tmp_path, COLUMNS, f"7,{ROW}", f"8,,,{ROW[7:]}"))

    assert np.isnan(found.points[1, 0]).all()
    assert found.points[1, 1].tolist() == [101, -110]


def test_contact_plumb_and_stances(tmp_path):
    """Optional columns and given stances are read."""
    columns = COLUMNS + ",contact,plumb-upper-x,plumb-upper-y,plumb-lower-x,plumb-lower-y"
    rows = [f"{i},{ROW},{int(i > 8)},5,0,5,100" for i in range(7, 12)]
    found = read_marks_csv(written(tmp_path, columns, *rows, head=HEAD + "# stance: 8-10\n"))

    assert found.contact.tolist() == [False, False, True, True, True]
    assert found.plumb[0].tolist() == [[5, 0], [5, -100]]
    assert found.stances == ((1, 4),)


def test_a_dropped_frame_does_not_cut_a_stance_in_two(tmp_path):
    """The contact of a frame that is missing is that of the frame before it."""
    rows = [f"{i},{ROW},{int(i > 8)}" for i in (7, 8, 9, 10, 13, 14)]
    found = read_marks_csv(written(tmp_path, COLUMNS + ",contact", *rows))

    assert found.contact.tolist() == [False, False, True, True, True, True, True, True]
    assert found.dropped == 2


@pytest.mark.parametrize(
    ("lines", "head", "words"),
    [
        ((COLUMNS, f"7,{ROW}"), HEAD, "there are 1 frames"),
        (
            (COLUMNS.replace("lower-heel-y", "lower-hel-y"),),
            HEAD,
            "video.csv:6: `lower-hel-y` is not",
        ),
        ((COLUMNS.replace(",lower-heel-y", ""),), HEAD, "column `lower-heel-y` is missing"),
        ((COLUMNS, f"7,{ROW},5"), HEAD, "video.csv:7: this line has 10 cells; allowed: 9"),
        ((COLUMNS, f"7,{ROW}", f"8,x,{ROW[4:]}"), HEAD, "video.csv:8: `upper-leg-x` is `x`"),
        ((COLUMNS, f"7,{ROW}", f"8,inf,{ROW[4:]}"), HEAD, "video.csv:8: `upper-leg-x` is `inf`"),
        ((COLUMNS, f"7,{ROW}", f"7,{ROW}"), HEAD, "video.csv:8: the frame number is 7 after 7"),
        ((COLUMNS, f"7,{ROW}", f"900000000,{ROW}"), HEAD, "the frames span"),
        (
            (COLUMNS, f"7,{ROW}", f"8,{ROW}"),
            HEAD.replace("# y-axis: down\n", ""),
            "`y-axis` is missing",
        ),
        (
            (COLUMNS, f"7,{ROW}", f"8,{ROW}"),
            HEAD.replace("# side: left\n", ""),
            "which foot this is",
        ),
        ((COLUMNS, f"7,{ROW}", f"8,{ROW}"), HEAD + "# stance: 8\n", "`8` is not a stance"),
        (
            (COLUMNS, f"7,{ROW}", f"8,{ROW}"),
            HEAD + "# stance: 8-90\n",
            "does not lie in the frames",
        ),
    ],
)
def test_what_does_not_fit_is_refused_with_its_line(tmp_path, lines, head, words):
    """Each defect is named with file and line."""
    with pytest.raises(InputError, match=words):
        read_marks_csv(written(tmp_path, *lines, head=head))


def test_semicolons_decimal_commas_and_seconds_read_like_plain_csv(tmp_path):
    """`;` with decimal commas, and a column of seconds for the frame number, give the same."""
    plain = read_marks_csv(written(tmp_path, COLUMNS, f"7,{ROW}", f"8,{ROW}", f"10,{ROW}"))
    lines = [COLUMNS.replace("frame", "time").replace(",", ";")]
    lines += [f"{t:.2f};".replace(".", ",") + ROW.replace(",", ";") for t in (0.07, 0.08, 0.10)]
    other = read_marks_csv(written(tmp_path, *lines))

    assert np.array_equal(plain.points, other.points, equal_nan=True)
    assert other.dropped == 1


def test_a_labs_own_columns_are_read_by_a_mapping_file(tmp_path):
    """Tabs, lines above the names, other names and more columns are read as the mapping says."""
    names = {f"{mark}-{axis}": f"{mark.upper()} {axis}" for mark in MARKS for axis in "xy"}
    titles = "\t".join(["Bild", "Wetter", *names.values()])
    rows = [f"{n}\tgut\t" + ROW.replace(",", "\t") for n in (1, 2, 3)]
    path = tmp_path / "export.tsv"
    path.write_text("\n".join(["made by a lab", "", titles, *rows]) + "\n")
    mapping = tmp_path / "mapping.yaml"
    said = "".join(f"  {ours}: {theirs}\n" for ours, theirs in {"frame": "Bild", **names}.items())
    mapping.write_text(
        f"skip-lines: 2\nhead: {{rate-hz: 100, side: left, y-axis: down}}\ncolumns:\n{said}"
    )
    found = read_marks_csv(path, mapping=mapping)

    assert found.points[:, 0].tolist() == [[100, -10]] * 3
    mapping.write_text(mapping.read_text().replace("frame: Bild", "frame: Bidl"))
    with pytest.raises(InputError, match=r"no column `Bidl`.*Bild"):
        read_marks_csv(path, mapping=mapping)


def test_toe_out_of_the_head_is_read(tmp_path):
    """The head may say how far the foot points out of the camera's line."""
    head = HEAD + "# toe-out-deg: 12\n"
    assert read_marks_csv(written(tmp_path, COLUMNS, f"7,{ROW}", f"8,{ROW}", head=head)).toe_out_deg


def test_marks_of_a_matlab_file_read_like_their_csv(tmp_path, parameters, defs):
    """An array written by scipy, its axes turned and y counted down, gives the angles it holds."""
    io = pytest.importorskip("scipy.io", reason="scipy is in the extra `mat`")
    from recommend.measure.capture import CaptureOptions, measure_capture
    from recommend.measure.video import measure_marks
    from tests.invented.gait_model import Gait
    from tests.measure.conftest import filmed

    marks = filmed(Gait())
    turned = np.transpose(marks.points * [1.0, -1.0], (1, 2, 0))[[2, 3, 0, 1]]
    io.savemat(tmp_path / "heel.mat", {"Trial": {"heel": turned}})
    (tmp_path / "map.yaml").write_text(
        "marks: Trial.heel\naxes: [marks, xy, time]\n"
        "order: [upper-heel, lower-heel, upper-leg, lower-leg]\n"
        f"head: {{rate-hz: {marks.rate_hz:g}, side: {marks.side}, y-axis: down}}\n"
    )

    options = CaptureOptions(mapping=tmp_path / "map.yaml")
    (found,) = measure_capture(tmp_path / "heel.mat", parameters, defs, options)
    expected = measure_marks(replace(marks, contact=None), None, parameters, defs)

    for measure in expected.measures:
        assert found.find(measure.name).value == pytest.approx(measure.value, abs=1e-3)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("Trial.Pres", "there is no `Pres` in `Trial`, which holds Press, Rate; did you mean"),
        ("Trail.Press", "there is no `Trail` in the file, which holds Trial; did you mean `Trial`"),
    ],
)
def test_a_mapping_that_names_no_array_of_the_file_says_the_nearest(tmp_path, asked, words):
    """What a .mat file holds is listed, and the file is not called damaged."""
    scipy_io = pytest.importorskip("scipy.io")
    path = tmp_path / "trial.mat"
    scipy_io.savemat(path, {"Trial": {"Press": np.zeros((4, 4, 9)), "Rate": 100.0}})
    with pytest.raises(InputError, match=re.escape(words)):
        open_array(path, asked, 10.0)


def test_a_newer_matlab_file_says_how_to_save_it(tmp_path):
    """A file of version 7.3, which is another format, names the option that mends it."""
    pytest.importorskip("scipy.io")
    path = tmp_path / "new.mat"
    path.write_bytes(b"MATLAB 7.3 MAT-file".ljust(124) + b"\x00\x02IM" + b"\x00" * 400)
    with pytest.raises(InputError, match="Save it with `-v7`"):
        open_array(path, "x", 10.0)
