"""`recommend demo`: every step of the main job is shown, and nothing of the shop is touched."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent


def test_the_demonstration_goes_through_the_main_job(tmp_path: Path) -> None:
    """Six steps, each a command with what it prints; files only in the folder that was named."""
    home = tmp_path / "home"
    home.mkdir()
    there = {**os.environ, "HOME": str(home), "PYTHONPATH": str(ROOT)}
    there |= {f"RECOMMEND_{name}": str(home / name) for name in ("SETTINGS", "VISITS", "STORE")}
    done = subprocess.run(
        [sys.executable, "-m", "recommend", "demo", "--into", str(tmp_path / "shown")],
        env=there, cwd=home, capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    called = re.findall(r"^\$ recommend (\w+)", done.stdout, re.MULTILINE)
    assert called == ["visit", "shortlist", "trial", "sheet", "coverage", "explain"]
    assert re.findall(r"^(\d) of 6\. ", done.stdout, re.MULTILINE) == list("123456")
    assert "lines more of question and answer" in done.stdout
    shown = {one.name for one in (tmp_path / "shown").iterdir()}
    assert shown >= {"visits", "records.sqlite", "page.html"}
    outside = {one.name for one in home.iterdir()}
    assert outside <= {".cache"}  # the locks; no settings, visit or record of the shop


def test_a_folder_that_is_there_is_not_written_into(tmp_path: Path) -> None:
    """`--into` a folder that exists is refused with a sentence."""
    done = subprocess.run(
        [sys.executable, "-m", "recommend", "demo", "--into", str(tmp_path)],
        capture_output=True, encoding="utf-8", check=False, cwd=ROOT,
    )  # fmt: skip
    assert done.returncode == 2
    assert "it is there already" in done.stderr
