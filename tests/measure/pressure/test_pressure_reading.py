"""Pressure captures as files: both forms, both units, and every way to get them wrong."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.io import savemat

from recommend.errors import InputError
from recommend.measure import apart
from recommend.measure.pressure import read_pressure
from recommend.parameters import Parameters

HEAD = """\
# capture: pressure
# unit: kPa
# pitch-mm: 5
# rate-hz: 100
# rows: 4
# columns: 5
# side: left
"""
ROW = "0,1,2.5,30,0\n"
LIMIT = Parameters({"capture.recording-limit": 1.0})


def written(tmp_path, text: str | bytes, name: str = "walk.csv"):
    """A file with `text`."""
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_one_row_of_sensors_a_line(tmp_path):
    """Lines of one sensor row each, four to a frame, read in order."""
    path = written(tmp_path, HEAD + "".join(f"{i},1,2.5,30,0\n" for i in range(8)))

    found = read_pressure(path, LIMIT)

    assert found.frames.shape == (2, 4, 5)
    assert found.frames[1, 2].tolist() == [6, 1, 2.5, 30, 0]
    assert (found.side, found.pitch_mm, found.load) == ("left", (5.0, 5.0), "dynamic")


def test_one_frame_a_line_and_other_separators(tmp_path):
    """Lines of one frame each, with semicolons and Windows line ends, read the same."""
    line = ";".join(["0", "1", "2.5", "30", "0"] * 4) + "\r\n"
    path = written(tmp_path, HEAD.replace("\n", "\r\n") + line + "\r\n" + line)

    found = read_pressure(path, LIMIT)

    assert found.frames.shape == (2, 4, 5)
    assert found.frames[1, 3].tolist() == [0, 1, 2.5, 30, 0]


def test_newtons_per_square_centimetre_are_ten_kilopascal(tmp_path):
    """Definition: 1 N/cm2 is 10 kPa."""
    path = written(tmp_path, HEAD.replace("kPa", "N/cm2") + ROW * 4)

    assert read_pressure(path, LIMIT).frames.max() == 300.0


def test_npz_holds_the_same(tmp_path):
    """An NPZ with the keys of the head reads like the CSV."""
    frames = np.random.default_rng(0).random((3, 6, 7)).astype(np.float32)
    path = tmp_path / "walk.npz"
    np.savez(path, pressure=frames, pitch_mm=5.0, rate_hz=50.0, unit="kPa", side="right")

    found = read_pressure(path, LIMIT)

    assert np.array_equal(found.frames, frames)
    assert (found.rate_hz, found.side) == (50.0, "right")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the capture has no head"),
        ("1,2,3\n", "the capture has no head"),
        (HEAD + ROW * 3, "whole frames of 4 x 5 = 20 numbers"),
        (HEAD + ROW * 3 + "0,1,2\n", "walk.csv:11: this line holds 3 numbers"),
        (HEAD + ROW * 3 + "0,,2,3,4\n", "walk.csv:11: number 2 of the line is empty"),
        (HEAD + ROW * 3 + "0,a,2,3,4\n", "walk.csv:11: number 2 of the line is `a`"),
        (HEAD + ROW * 3 + "0,1e99,2,3,4\n", "number 2 of the line is infinite"),
        (HEAD + ROW * 3 + "0,inf,2,3,4\n", "number 2 of the line is infinite"),
        (HEAD.replace("kPa", "psi") + ROW * 4, "`unit` is `psi`; allowed: kPa, N/cm2"),
        (HEAD.replace("pitch-mm", "pich-mm") + ROW * 4, "did you mean `pitch-mm`|Did you mean"),
        (HEAD.replace("# rate-hz: 100\n", "") + ROW * 4, "`rate-hz` is missing"),
        (HEAD.replace("# rows: 4\n", "") + ROW * 4, "`rows` is missing"),
        (HEAD.replace("left", "middle") + ROW * 4, "`side` is `middle`"),
        (HEAD + "# side: right\n" + ROW * 4, "`side` stands twice"),
        (HEAD + "# note\n" + ROW * 4, "is not a line of the head"),
        (HEAD.encode() + b"\xff\xfe\x00\x01,2\n", "number 1 of the line|this line holds"),
    ],
)
def test_what_does_not_fit_is_refused_with_its_line(tmp_path, text, words):
    """Each defect is named with file and line and what is allowed."""
    with pytest.raises(InputError, match=words):
        read_pressure(written(tmp_path, text), LIMIT)


def test_nan_is_a_dead_sensor_not_a_zero(tmp_path):
    """The word nan keeps its meaning for the check of sensors."""
    path = written(tmp_path, HEAD + ROW * 3 + "0,nan,2,3,4\n")

    assert np.isnan(read_pressure(path, LIMIT).frames[0, 3, 1])


def test_a_recording_beyond_the_limit_is_refused_without_holding_it(tmp_path):
    """Reading stops with a sentence as soon as the limit of memory is passed."""
    path = written(tmp_path, HEAD + ROW * 4 * 20_000)

    with pytest.raises(InputError, match="more than 1 MB in memory"):
        read_pressure(path, LIMIT)


def test_a_file_far_beyond_the_limit_is_not_read_at_all(tmp_path):
    """A file that could not fit, whatever its numbers, is refused by its size."""
    path = written(tmp_path, HEAD + ROW * 4)
    with path.open("ab") as file:
        file.truncate(2_000_000_000)  # a hole in the file, which takes no disk

    with pytest.raises(InputError, match="more than 1 MB in memory"):
        read_pressure(path, LIMIT)


def test_an_archive_that_unpacks_too_large_is_refused(tmp_path):
    """A small NPZ that unpacks beyond the limit is refused before it is unpacked."""
    path = tmp_path / "bomb.npz"
    np.savez_compressed(path, pressure=np.zeros((200, 64, 64), dtype=np.float32))

    with pytest.raises(InputError, match="more than 1 MB in memory"):
        read_pressure(path, LIMIT)


def test_an_archive_that_keeps_its_reader_busy_ends_its_own_process_only(tmp_path, monkeypatch):
    """What reading takes is limited in time and memory, and each is told in a sentence."""
    path = tmp_path / "walk.npz"
    frames = np.zeros((40, 64, 64), dtype=np.float32)
    np.savez_compressed(path, pressure=frames, pitch_mm=5.0, rate_hz=100.0, unit="kPa")
    monkeypatch.setattr(apart, "_MEGABYTES", 100)  # less than numpy itself takes
    with pytest.raises(InputError, match=r"NPZ \(.+\)"):
        read_pressure(path, LIMIT)
    code = "from recommend.measure.apart import limit\nlimit(4000, 1)\nwhile True: pass"
    monkeypatch.setattr(apart, "_MEGABYTES", 1500)
    (tmp_path / "endless.py").write_text(code)
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(apart.GaveUpError, match="takes too long"):
        apart.run_apart("endless", [], quiet_s=60)


@pytest.mark.parametrize(("key", "value"), [("rate_hz", 1e-310), ("pitch_mm", 1e-310)])
def test_a_rate_or_pitch_of_almost_nothing_is_refused(tmp_path, key, value):
    """A number above zero by which times or areas would overflow is no rate and no pitch."""
    head = {"pitch_mm": 5.0, "rate_hz": 100.0, "unit": "kPa", key: value}
    np.savez(tmp_path / "walk.npz", pressure=np.zeros((9, 6, 6), np.float32), **head)
    with pytest.raises(InputError, match=key.replace("_", "-")):
        read_pressure(tmp_path / "walk.npz", LIMIT)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 not an archive", b"hello"])
def test_an_npz_that_is_none_is_refused(tmp_path, content):
    """A damaged archive is one sentence, not a traceback."""
    with pytest.raises(InputError, match="not a pressure capture in NPZ"):
        read_pressure(written(tmp_path, content, "x.npz"), LIMIT)


def test_a_small_archive_of_many_small_numbers_is_refused_by_what_it_takes(tmp_path, parameters):
    """Numbers of one byte take four here: the limit counts numbers, before they are unpacked."""
    path = tmp_path / "many.npz"
    frames = np.zeros((1000, 64, 64), dtype=np.uint8)
    np.savez_compressed(path, pressure=frames, pitch_mm=5.0, rate_hz=100.0, unit="kPa")
    tight = parameters.changed({"capture.recording-limit": 10})

    assert path.stat().st_size < 100_000
    with pytest.raises(InputError, match="more than 10 MB"):
        read_pressure(path, tight)


def test_semicolons_with_decimal_commas_are_read(tmp_path, parameters):
    """A frame written with `;` and decimal commas holds the same numbers."""
    head = (
        "# capture: pressure\n# unit: kPa\n# pitch-mm: 5\n# rate-hz: 100\n# rows: 4\n# columns: 4\n"
    )
    path = tmp_path / "walk.csv"
    path.write_text(head + "0;1,5;20,25;3\n" * 4)

    found = read_pressure(path, parameters)

    assert found.frames[0, 0].tolist() == [0, 1.5, 20.25, 3]


def test_a_matlab_file_is_read_by_its_mapping_like_the_plain_frames(tmp_path, parameters):
    """Rows x columns x time inside a struct, written by scipy, come back as the same frames."""
    frames = np.arange(5 * 6 * 7, dtype=np.float64).reshape(5, 6, 7)
    savemat(tmp_path / "walk.mat", {"Data": {"P": frames.transpose(1, 2, 0)}, "other": 3})
    mapping = tmp_path / "map.yaml"
    head = "head: {unit: N/cm2, pitch-mm: 5, rate-hz: 100, side: left}"
    mapping.write_text(f"pressure: Data.P\naxes: [rows, columns, time]\n{head}\n")

    recording = read_pressure(tmp_path / "walk.mat", parameters, mapping=mapping)

    assert recording.frames == pytest.approx(10 * frames)  # definition: 1 N/cm2 = 10 kPa
    assert (recording.side, recording.rate_hz, recording.pitch_mm) == ("left", 100.0, (5.0, 5.0))


@pytest.mark.parametrize(
    ("name", "damage", "words"),
    [
        ("P", lambda b: b, "which holds Q"),
        ("Q", lambda b: b[: len(b) // 2], "cannot be read as MATLAB version 5"),
        ("Q", lambda b: b"no matlab", "cannot be read as MATLAB version 5"),
        (None, lambda b: b, "give it with --mapping"),
    ],
)
def test_a_faulty_matlab_file_is_one_sentence(tmp_path, parameters, name, damage, words):
    """A missing array names those there are; a damaged file and a missing mapping are told."""
    path, mapping = tmp_path / "walk.mat", tmp_path / "map.yaml"
    savemat(path, {"Q": np.ones((5, 6, 7))})
    path.write_bytes(damage(path.read_bytes()))
    mapping.write_text(f"pressure: {name}\nhead: {{unit: kPa, pitch-mm: 5, rate-hz: 100}}\n")

    with pytest.raises(InputError, match=words):
        read_pressure(path, parameters, mapping=mapping if name else None)
