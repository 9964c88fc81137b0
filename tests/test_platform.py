"""No platform is assumed: everything runs where what only POSIX has is absent.

The check hides modules, functions and signals that Windows lacks; Windows itself was not at hand.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from recommend.atomic import write_atomically

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "catalogue_demo"


@pytest.fixture
def run(tmp_path: Path):
    """The program on such a platform, its home a folder with a blank in its name."""
    home = tmp_path / "a home"
    home.mkdir()
    there = {
        **os.environ,
        "HOME": str(home),
        "RECOMMEND_SETTINGS": str(home / "settings.toml"),
        "RECOMMEND_VISITS": str(home / "visits"),
        "RECOMMEND_STORE": str(home / "kept records" / "store.sqlite"),
        "RECOMMEND_ENGINE": "numpy",
        "PYTHONPATH": str(ROOT),
    }

    def call(*words: object, typed: str = "", code: int = 0) -> str:
        command = [sys.executable, "-m", "tests.platform_without", *map(str, words)]
        done = subprocess.run(
            command, env=there, input=typed, cwd=home, capture_output=True, encoding="utf-8",
            check=False,
        )  # fmt: skip
        assert done.returncode == code, (words, done.stderr)
        return done.stdout

    call.home = home
    return call


def test_the_main_job_runs_without_what_only_posix_has(run) -> None:
    """Shortlist kept, try-on added, page written, record explained, replayed and verified."""
    visit = run.home / "a visit.yaml"
    visit.write_bytes((DEMO / "visits" / "pronated.yaml").read_bytes())
    assert "Bring" in run("shortlist", visit, "--keep")
    run("trial", visit, "--shoe", "own", "--comfort", "left.heel=8",
        "left.contact=5.2,4.4,5.0,4.9,5.1,4.7,5.3")  # fmt: skip
    assert "trials:" in visit.read_text("utf-8")
    run("sheet", visit, "--to", run.home / "page.html")
    assert "<!doctype html>" in (run.home / "page.html").read_text("utf-8").lower()
    assert "concluded by the engine numpy" in run("explain", "last", "--full")
    assert "identical" in run("replay", "last")
    run("store", "verify")


def test_a_visit_is_typed_line_by_line_without_single_keys(run) -> None:
    """The entry takes lines, is left with q, and the draft waits."""
    text = run("visit", "new", "A-1", typed="n\nn\nq\n")
    assert "visit resume A-1" in text
    assert "A-1" in run("visit", "list")


def test_coverage_and_check_run_without_what_only_posix_has(run) -> None:
    """The buyer's and the lead fitter's commands run as well."""
    assert "served" in run("coverage", "--customers", "2000").lower()
    run("check")


def test_settings_hold_paths_with_blanks_and_backslashes(run) -> None:
    """A path as Windows writes it comes back from the settings as it was given."""
    path = "C:\\Users\\lab 1\\visits"
    run("setup", "--set", f"visits={path}")
    assert "\\\\lab 1\\\\" in (run.home / "settings.toml").read_text("utf-8")
    shown = run("setup", "show")
    assert "a home/visits" in shown  # the environment counts before it


def test_a_file_is_written_with_one_kind_of_line_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is written is UTF-8 with the line ends it has, whatever the platform's own is."""
    monkeypatch.setattr(os, "linesep", "\r\n")
    write_atomically(tmp_path / "a.txt", "größe\nb\r\n")
    assert (tmp_path / "a.txt").read_bytes() == "größe\nb\r\n".encode()
