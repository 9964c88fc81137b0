from __future__ import annotations

import json
import shutil
from pathlib import Path
from xml.etree import ElementTree

import pytest

from recommend.extras import shipped_folder
from recommend.visit import read_visit
from tests.shipped import run

DEMO = shipped_folder("catalogue_demo")
STORY = DEMO / "trials" / "three-much-alike.yaml"


@pytest.mark.parametrize("columns", ["80", "120"])
@pytest.mark.parametrize("story", ["three-much-alike", "too-much", "measures-well-hurts"])
def test_no_line_is_wider_than_the_terminal(
    story: str, columns: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """At 80 and 120 columns everything fits, and the verdicts are there in words."""
    monkeypatch.setenv("COLUMNS", columns)
    assert run("trial", DEMO / "trials" / f"{story}.yaml") == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= int(columns)
    assert any(line.startswith("Best") for line in lines)


def test_trying_on_then_reading_the_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A step typed at the counter is kept in the visit, judged, and given as JSON."""
    visit = tmp_path / "v.yaml"
    shutil.copy(DEMO / "trials" / "hardly-moved.yaml", visit)
    bare = read_visit(visit).feet.left.rearfoot[0].peak or []
    strides = " ".join(f"{one - 2:.1f}" for one in bare)
    code = run(
        "trial", visit, "--shoe", "hasperlow-road", f"left.peak={strides}",
        "--comfort", "left.heel=9", "--json",
    )  # fmt: skip
    assert code == 0
    said = json.loads(capsys.readouterr().out)
    reading = next(r for r in said["steps"][1]["readings"] if r["reading"] == "peak")
    assert reading["against-barefoot"]["change"]["value"] == pytest.approx(-2.0)
    assert reading["against-barefoot"]["told-from-noise"]
    assert reading["against-barefoot"]["after"]["n"] == len(bare)
    assert said["steps"][1]["comfort"] == {"left": {"heel": 9.0}}
    # What was read in one foot and one reading comes after what was read in all.
    assert [one["id"] for one in said["tried"]] == ["rimblebeck-road", "hasperlow-road"]


def test_more_than_footwear_changes_is_doubted_and_not_clear_on_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Strides typed with the wrong sign are doubted where they stand, not called clear."""
    monkeypatch.setenv("COLUMNS", "80")
    visit = tmp_path / "v.yaml"
    shutil.copy(DEMO / "trials" / "hardly-moved.yaml", visit)
    # 15.2 degrees barefoot; 9 typed as -9 is a change of about -24.
    assert run("trial", visit, "--shoe", "own", "left.peak=-9,-9.2,-8.8,-9.1") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "changed by more than footwear is known to bring about (left peak" in said
    assert run("trial", visit, "--show", "steps") == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "left peak: doubtful, larger than footwear is known to bring about" in said
    for language, words in (("en", "doubtful, more than"), ("de", "zweifelhaft, mehr")):
        to = tmp_path / f"{language}.html"
        assert run("sheet", visit, "--to", to, "--chosen", "own", "--language", language) == 0
        page = to.read_text(encoding="utf-8")
        assert f"9.0°</bdi>, {words}".replace(".", {"en": ".", "de": ","}[language]) in page


def test_a_stop_withholds_the_judgement(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A visit that must stop ends with exit code 3, and names no best product."""
    visit = tmp_path / "v.yaml"
    shutil.copy(DEMO / "visits" / "red-flag-stop.yaml", visit)
    code = run(
        "trial", visit, "--shoe", "hasperlow-road", "left.contact=3.0,4.0",
        "--gait", "walking", "--reference", "vertical",
    )  # fmt: skip
    out = capsys.readouterr().out
    assert code == 3
    assert "STOP" in out
    assert "Best" not in out
    assert "hasperlow-road" in visit.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--shoe", "hasperlow-rod", "left.contact=5"), "Did you mean `hasperlow-road`"),
        (("left.contact=5",), "not clear what was worn"),
        (("--shoe", "own", "--barefoot", "left.contact=5"), "both a shoe and barefoot"),
        (("--shoe", "own"), "no reading"),
        (("--insole", "ommerstead-firm", "left.contact=5"), "--shoe"),
        (("--shoe", "own", "no-such-file.yaml"), "no such file"),
        (
            ("--shoe", "own", "--comfort", "left.heel=12"),
            "v.yaml: not written, because `trials#1.feet.left.comfort.heel` is `12`; allowed: a "
            "number from 0 to 10. Correct it.",
        ),
    ],
)
def test_what_cannot_be_meant_is_one_sentence(
    args: tuple[str, ...], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one line on stderr, and the visit is not touched."""
    visit = tmp_path / "v.yaml"
    shutil.copy(STORY, visit)
    assert run("trial", visit, *args) == 2
    said = capsys.readouterr().err.strip()
    assert words in said
    assert "\n" not in said
    assert visit.read_bytes() == STORY.read_bytes()


def test_a_picture_is_not_written_over_a_visit(tmp_path: Path) -> None:
    """A file of another kind that is there is refused, and stays."""
    visit = tmp_path / "v.yaml"
    shutil.copy(STORY, visit)
    assert run("trial", visit, "--svg", visit) == 2
    assert run("sheet", visit, "--to", visit) == 2
    assert visit.read_bytes() == STORY.read_bytes()


def shod(capture: str, tmp_path: Path, condition: str) -> Path:
    """A demo capture whose head says that it was taken in `condition`."""
    text = (DEMO / "captures" / capture).read_text(encoding="utf-8")
    path = tmp_path / f"{condition}-{capture}"
    path.write_text(text.replace("condition: barefoot", f"condition: {condition}"), "utf-8")
    return path


def test_captures_become_a_step(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Marks give the strides of every phase and the curve of 101 points, barefoot and shod."""
    visit = tmp_path / "v.yaml"
    shutil.copy(DEMO / "visits" / "plain-neutral.yaml", visit)
    bare = DEMO / "captures" / "video-over-pronator-left.csv"
    assert run("trial", visit, "--barefoot", bare) == 0
    worn = shod("video-left.csv", tmp_path, "ebbenholt-walk")
    capsys.readouterr()
    assert run("trial", visit, "--shoe", "ebbenholt-walk", worn, "--json") == 0
    (step,) = json.loads(capsys.readouterr().out)["steps"]
    phases = {row["reading"]: row["against-barefoot"] for row in step["readings"]}
    assert phases.keys() >= {"peak", "midstance", "propulsion"}
    # The captures are generated; truth.yaml beside them holds the angles they were made with.
    assert phases["midstance"]["change"]["high"] < 0
    kept = read_visit(visit).trials[1].feet.left.rearfoot[0]
    assert kept.curve is not None
    assert len(kept.curve) == 101
    assert max(kept.curve) == pytest.approx(max(kept.peak or []), abs=2.0)


def test_a_pressure_capture_gives_the_lateral_share(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Load of a foot made to bear on its outer side lies on the outer side, step by step."""
    visit = tmp_path / "v.yaml"
    shutil.copy(DEMO / "visits" / "plain-neutral.yaml", visit)
    assert run("trial", visit, "--barefoot", DEMO / "captures" / "walk-left.csv") == 0
    assert run("trial", visit, "--barefoot", DEMO / "captures" / "high-arch-lateral-left.npz",
               "--anew") == 0  # fmt: skip
    capsys.readouterr()
    shares = read_visit(visit).trials[0].feet.left.lateral_load_percent
    assert shares is not None
    assert min(shares) > 50


def test_a_capture_of_something_else_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the head of a capture says was worn must be what the step says."""
    visit = tmp_path / "v.yaml"
    shutil.copy(DEMO / "visits" / "plain-neutral.yaml", visit)
    before = visit.read_bytes()
    bare = DEMO / "captures" / "video-left.csv"
    assert run("trial", visit, "--shoe", "ebbenholt-walk", bare) == 2
    assert "`barefoot`" in capsys.readouterr().err
    worn = shod("video-left.csv", tmp_path, "ebbenholt-walk")
    assert run("trial", visit, "--barefoot", worn) == 2
    assert visit.read_bytes() == before


def test_the_curves_are_drawn_as_svg(tmp_path: Path) -> None:
    """The picture is well-formed, with a title, and a line for each of eight curves."""
    target = tmp_path / "curves.svg"
    assert run("trial", STORY, "--svg", target) == 0
    root = ElementTree.fromstring(target.read_text(encoding="utf-8"))
    names = [element.tag.rpartition("}")[2] for element in root.iter()]
    assert "title" in names
    dots = [e for e in root.iter() if e.tag.endswith("circle")]
    # Changes: feet, readings, try-ons, each with its bare foot; curves: feet, steps, readings.
    assert len(dots) == 2 * 4 * 3 * 2 + 2 * 4 * 3
