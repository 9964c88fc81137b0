"""The pictures in the README are those of a run today."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("pty", reason="this platform has no pseudo-terminals")


def test_pictures_show_what_a_run_shows(tmp_path: Path) -> None:
    """When this fails because the words on the screen changed: python .pictures/make.py"""
    run = subprocess.run(
        [sys.executable, ".pictures/make.py", "--check"],
        env={**os.environ, "RECOMMEND_SETTINGS": str(tmp_path / "settings.toml")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
