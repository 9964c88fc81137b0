"""`recommend measure` as a fitter meets it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from recommend.cli import main
from recommend.measure.capture import measure_capture
from recommend.show import plots
from tests import shipped

DEMO = Path(__file__).parents[2] / "catalogue_demo" / "captures"
LEFT, RIGHT = str(DEMO / "walk-left.csv"), str(DEMO / "walk-right.npz")
VIDEO = str(DEMO / "video-doubtful-left.csv")


@pytest.fixture
def run(capsys, monkeypatch, tmp_path):
    """Run the command; gives exit code, stdout and stderr."""
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "none.toml"))
    monkeypatch.setenv("COLUMNS", "80")

    def call(*args: str):
        with pytest.raises(SystemExit) as stop:
            main(["measure", *args])
        out = capsys.readouterr()
        return stop.value.code or 0, out.out, out.err

    return call


def test_pictures_measures_errors_and_doubts_are_on_the_screen(run):
    """Footprint with path, curve with band, table with errors, doubts by name, caution."""
    code, out, _ = run(LEFT, RIGHT, VIDEO)

    assert code == 0
    for words in (
        "left, dynamic", "path of load: c contact", "lateral", "band of the peak", "±",
        "centre-of-pressure excursion index", "medial heel", "MARKS SWAPPED", "ERROR WIDENED",
        "not a diagnosis", "pressure-sensor",
    ):  # fmt: skip
        assert words in " ".join(out.split()), words


@pytest.mark.parametrize("width", [80, 120])
def test_nothing_is_wider_than_the_terminal(run, monkeypatch, width):
    """All lines fit 80 and 120 columns."""
    monkeypatch.setenv("COLUMNS", str(width))
    _, out, _ = run(LEFT, RIGHT, VIDEO)

    assert max(len(line) for line in out.splitlines()) <= width


def test_json_says_the_same_in_numbers(run):
    """The JSON holds measures, errors, flags, hash and curves of 101 points."""
    code, out, _ = run(VIDEO, "--json")
    (one,) = json.loads(out)["captures"]

    assert code == 0
    names = {m["name"]: m for m in one["measures"]}
    assert names["contact-angle"]["qualifiers"] == {"gait": "walking", "reference": "vertical"}
    assert len(one["curves"]["rearfoot-angle"]["mean"]) == 101
    assert len(one["sha256"]) == 64
    assert "marks-swapped" in {flag["name"] for flag in one["flags"]}
    assert len(one["each"]["contact-angle"]) == one["n"] == 8


@pytest.mark.parametrize("suffix", [".svg", ".png"])
def test_the_pictures_are_saved_for_print(run, tmp_path, suffix):
    """SVG and PNG come out with the kind of content their suffix promises."""
    pytest.importorskip("matplotlib", reason="matplotlib is in the extra `plot`")
    file = tmp_path / f"feet{suffix}"
    code, _, err = run(LEFT, VIDEO, "--plot", str(file))

    assert code == 0
    assert f"saved {file}" in err
    start = {".svg": b"<?xml", ".png": b"\x89PNG"}[suffix]
    assert file.read_bytes().startswith(start)
    if suffix == ".svg":
        assert "centre of pressure" in file.read_text() or "<use" in file.read_text()


def test_curves_of_one_screen_share_a_scale_and_mark_what_is_judged(run, monkeypatch):
    """Both curves count the same degrees; peak and means are marked, and the file stands by it."""
    monkeypatch.setenv("COLUMNS", "80")
    files = [str(DEMO / f"video-{name}.csv") for name in ("left", "late-pronator-right")]
    _, out, _ = run(*files)

    pictures = out.split("Rearfoot angle over stance")[1:]
    scales = [[line[:8] for line in one.splitlines() if line[7:8] == "|"] for one in pictures]
    assert scales[0] == scales[1]
    for file, one in zip(files, pictures, strict=True):
        assert one.splitlines()[1] == Path(file).name
        drawn = "".join(line[8:] for line in one.splitlines() if line[7:8] == "|")
        assert all(sign in drawn for sign in "Pmp")
    assert max(map(len, out.splitlines())) <= 80


def test_left_and_right_are_drawn_to_one_scale(tmp_path, monkeypatch, parameters, defs):
    """Footprints share both scales about the axis, curves share degrees; each names its lines."""
    pytest.importorskip("matplotlib", reason="matplotlib is in the extra `plot`")
    drawn, figure = [], plots._figure
    monkeypatch.setattr(plots, "_figure", lambda count: drawn.append(figure(count)) or drawn[-1])
    files = ("walk-left.csv", "walk-right.npz", "video-late-pronator-right.csv", "video-left.csv")
    found = [one for file in files for one in measure_capture(DEMO / file, parameters, defs)]

    plots.save_plot(tmp_path / "feet.png", found, shipped.book())

    left, right, late, plain = drawn[0][1]
    assert left.get_ylim() == right.get_ylim()
    assert left.get_xlim() == right.get_xlim() == tuple(-x for x in left.get_xlim()[::-1])
    assert late.get_ylim() == plain.get_ylim()
    words = {text.get_text() for text in left.get_legend().get_texts()}
    assert {"line of the excursion index", "thirds of the arch index"} <= words


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["nothing.csv"], "there is no such file"),
        ([str(DEMO)], "this is a folder"),
        ([__file__], "is not a capture; allowed: .csv, .npz, .mat, .c3d"),
        ([str(DEMO / "truth.yaml")], "is not a capture"),
        ([LEFT, "--side", "right"], "the head says `side: left`, you say right"),
        ([LEFT, "--side", "lft"], "did you mean `left`|Did you mean `left`"),
        ([LEFT, "--plot", "x.docx"], "is no kind of picture"),
        (["x.c3d", "--mark", "knee=A"], "does not name a mark"),
        ([LEFT, "--into", "nothing.yaml"], "there is no such file"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(run, args, words):
    """No traceback, one sentence on stderr, exit code 2."""
    code, _, err = run(*args)

    assert code == 2
    assert any(word in err for word in words.split("|")), err
    assert len(err.strip().splitlines()) == 1
    assert "Traceback" not in err


def test_without_utf_8_the_pictures_are_ascii():
    """A terminal that is not UTF-8 gets plain signs and no failure."""
    environment = {"PYTHONIOENCODING": "ascii:strict", "PATH": "/usr/bin:/bin", "COLUMNS": "80"}
    done = subprocess.run(
        [sys.executable, "-m", "recommend", "measure", VIDEO],
        capture_output=True, env=environment, cwd=DEMO.parents[1], check=False,
    )  # fmt: skip

    assert done.returncode == 0, done.stderr
    assert b"%" in done.stdout


def test_a_reader_that_goes_away_is_no_error():
    """Piped into head, the command ends quietly."""
    line = f"'{sys.executable}' -m recommend measure '{VIDEO}' | head -n 1"
    done = subprocess.run(["sh", "-c", line], capture_output=True, cwd=DEMO.parents[1], check=False)

    assert b"Traceback" not in done.stderr


def test_no_program_that_lies_beside_a_capture_is_run(run, monkeypatch, tmp_path):
    """The process that opens a capture takes no module from the folder it is run in."""
    for name in ("numpy", "json", "recommend"):
        (tmp_path / f"{name}.py").write_text("raise SystemExit('run from the folder')")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", [one for one in sys.path if one not in ("", ".")])
    code, out, err = run(RIGHT)

    assert code == 0, err
    assert "right foot, pressure frames" in " ".join(out.split())
