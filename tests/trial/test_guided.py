from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from recommend.cli import main
from recommend.extras import shipped_folder
from recommend.visit import read_visit

DEMO = shipped_folder("catalogue_demo")
SEVEN = "13.1 12.8 13.0 13.3 12.9 13.2 13.0"


@pytest.fixture
def visit(tmp_path: Path) -> Path:
    """A running customer whose bare feet were filmed."""
    path = tmp_path / "v.yaml"
    shutil.copy(DEMO / "visits" / "running-over-pronator.yaml", path)
    return path


def typed(visit: Path, keys: str, monkeypatch: pytest.MonkeyPatch) -> int:
    """Type these keys into `recommend trial step`; the exit code."""
    import io
    import sys

    monkeypatch.setattr(sys, "stdin", io.StringIO(keys))
    with pytest.raises(SystemExit) as ended:
        main(["trial", "step", str(visit)])
    return int(ended.value.code or 0)


def test_seven_strides_of_both_feet_with_comfort_take_at_most_80_keys(
    visit: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One reading, both feet, comfort: kept, and judged on the spot."""
    keys = f"a\np\n{SEVEN}/{SEVEN}\n8 7\n\n"
    assert len(keys) <= 80
    assert typed(visit, keys, monkeypatch) == 0
    step = read_visit(visit).trials[-1]
    assert step.shoe is not None
    for foot, comfort in ((step.feet.left, 8), (step.feet.right, 7)):
        assert foot.rearfoot[0].peak == [float(one) for one in SEVEN.split()]
        assert foot.comfort == {"overall": comfort}
    said = capsys.readouterr().out
    assert "left peak" in said
    assert "Best" in said


def test_a_step_that_was_left_goes_on_and_a_second_turn_adds(
    visit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Left after one foot: that foot is kept. Again: strides are added, comfort is asked again."""
    monkeypatch.setenv("RECOMMEND_FEET", "one-by-one")
    assert typed(visit, f"a\np\n{SEVEN}\nq\n", monkeypatch) == 0
    (step,) = read_visit(visit).trials
    assert len(step.feet.left.rearfoot[0].peak or []) == 7
    assert step.feet.right.rearfoot == []
    assert typed(visit, f"a\np\n\n{SEVEN}\n8\n8\n\n", monkeypatch) == 0
    assert typed(visit, f"a\np\n{SEVEN}\n{SEVEN}\n7\n9\n", monkeypatch) == 0
    (step,) = read_visit(visit).trials
    assert [len(f.rearfoot[0].peak or []) for f in (step.feet.left, step.feet.right)] == [14, 14]
    assert step.feet.left.comfort_again == {"overall": 7}
    assert step.feet.right.comfort_again == {"overall": 9}


def test_comfort_only_and_a_place_that_hurts(visit: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No film is asked for; a region is rated beside the whole foot."""
    assert typed(visit, "w\nc\n6 6\nleft arch 3, both heel 5\n\n", monkeypatch) == 0
    (step,) = read_visit(visit).trials
    assert step.shoe == "own"
    assert step.feet.left.comfort == {"overall": 6, "arch": 3, "heel": 5}
    assert step.feet.right.comfort == {"overall": 6, "heel": 5}
    assert step.feet.left.rearfoot == []


def test_a_turned_sign_is_asked_about_in_every_reading(
    visit: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Strides far from the bare foot are doubted, and taken when typed once more."""
    turned = "-9.1 -8.8 -9.0"
    assert typed(visit, f"w\np\n{turned} / -\n{turned} / -\n\n\n\n", monkeypatch) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "check the sign" in said
    assert read_visit(visit).trials[0].feet.left.rearfoot[0].peak == [-9.1, -8.8, -9.0]


def test_a_stop_asks_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A visit that must stop ends with exit code 3 before anything is tried."""
    path = tmp_path / "v.yaml"
    shutil.copy(DEMO / "visits" / "red-flag-stop.yaml", path)
    before = path.read_bytes()
    assert typed(path, "", monkeypatch) == 3
    assert path.read_bytes() == before
