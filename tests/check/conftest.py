"""A copy of the shipped rulebook in which single words can be changed."""

from collections.abc import Callable
from pathlib import Path
from shutil import copytree

import pytest

from recommend.extras import shipped_folder

Changed = Callable[..., Path]


@pytest.fixture
def changed(tmp_path: Path) -> Changed:
    """Copy the shipped rulebook; each change is (file, old text, new text), made once."""

    def make(*changes: tuple[str, str, str]) -> Path:
        folder = tmp_path / "rules"
        if not folder.exists():
            copytree(shipped_folder("rules"), folder)
        for name, old, new in changes:
            file = folder / name
            text = file.read_text(encoding="utf-8")
            assert old in text, f"{old!r} is not in {name}"
            file.write_text(text.replace(old, new, 1), encoding="utf-8")
        return folder

    return make
