"""What tells a person how to install something never sends them to a stranger's package."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest

import recommend.extras
from recommend.extras import DISTRIBUTION, how_to_add, not_installed

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
# A bare `recommend`, with or without extras, as what pip is to install.
STRANGER = re.compile(r"""(?:install[^\n`]*?\s|["'])recommend(?:\[|(?=["'`\s]*(?:$|[;,&|)])))""")
TEXTS = {".py", ".md", ".yaml", ".toml", ".html", ".svg", ""}


def texts() -> list[Path]:
    """Every text of the project but this one; a system without version control has them too."""
    rooms = ("recommend", "rules", "catalogue_demo", "tests", ".ci", ".pictures")
    inside = (path for room in rooms for path in (ROOT / room).rglob("*"))
    paths = [*ROOT.glob("*.md"), ROOT / "pyproject.toml", *inside]
    assert len(paths) > 500
    return [path for path in paths if path.suffix in TEXTS and path.is_file()]


@pytest.mark.parametrize("line", [
    "pip install recommend", "pip install 'recommend[prove]'", "install 'recommend[plot]'",
    "`pip install --quiet recommend`",
])  # fmt: skip
def test_a_bare_name_is_noticed(line: str) -> None:
    """The search below finds the sentences that must not be written."""
    assert STRANGER.search(line)


def test_no_text_tells_anyone_to_install_a_bare_recommend() -> None:
    """In the public registry that name is held by others; `pip` would fetch their code."""
    found = [
        f"{path.relative_to(ROOT)}:{count}: {line.strip()}"
        for path in texts()
        if path != Path(__file__)
        for count, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if "install" in line and STRANGER.search(line)
    ]
    assert found == []


def test_the_distribution_is_named_as_in_the_project_file() -> None:
    """The name in the hints is the name that is built; the command stays `recommend`."""
    assert PROJECT["name"] == DISTRIBUTION != "recommend"
    assert PROJECT["scripts"] == {"recommend": "recommend.__main__:main"}


def test_in_a_checkout_the_hint_names_the_checkout(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Inside it `.`, elsewhere its path; a shell reads the extra as one word."""
    monkeypatch.chdir(ROOT)
    assert how_to_add("prove") == "pip install '.[prove]'"
    monkeypatch.chdir(tmp_path)
    assert shlex.split(how_to_add("prove")) == ["pip", "install", f"{ROOT}[prove]"]


def test_an_installed_package_is_named_by_its_distribution(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Without a project file beside the package, pip finds the extra in what is installed."""
    monkeypatch.setattr(recommend.extras, "_PACKAGE", tmp_path / "recommend")
    assert how_to_add("plot") == f"pip install '{DISTRIBUTION}[plot]'"


@pytest.mark.parametrize("extra", ["prove", "parquet", "c3d", "mat", "plot"])
def test_an_error_names_an_extra_that_exists(extra: str) -> None:
    """Each extra that a message names is one of the project file, and pip takes the words."""
    assert extra in PROJECT["optional-dependencies"]
    assert f"add it with: {how_to_add(extra)}" in str(not_installed("this", extra))
