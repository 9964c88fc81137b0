"""Being at home in the terminal: help, completion, exit codes told in one place."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from typer.testing import CliRunner

from recommend.cli import COMMANDS, app
from recommend.commands import command_called
from recommend.errors import EXIT_WORDS, Exit


@pytest.fixture(autouse=True)
def _own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("RECOMMEND_VISITS", str(tmp_path / "visits"))


def _commands() -> Iterator[tuple[str, Any]]:
    """Every command that does something, with its full name."""
    for name in COMMANDS:
        command = command_called(name)
        inner = getattr(command, "commands", None)
        if not inner:
            yield name, command
        for sub, one in (inner or {}).items():
            yield f"{name} {sub}", one


@pytest.mark.parametrize(("name", "command"), list(_commands()), ids=lambda value: str(value)[:40])
def test_every_help_ends_with_an_example_of_that_very_command(name: str, command: Any) -> None:
    """The example can be pasted: it begins with the command, and the command has its options."""
    match = re.search(r"Example:\s+(recommend .+)", command.help or "", re.DOTALL)
    assert match, name
    example = " ".join(match[1].split())
    assert example.startswith(f"recommend {name}")
    known = {option for parameter in command.params for option in parameter.opts}
    assert set(re.findall(r"(?<=\s)--[a-z-]+", example)) <= known | {"--help"}


def test_exit_codes_are_told_alike_everywhere() -> None:
    """The table in the README, the help of the program and its topic say the same."""
    assert set(EXIT_WORDS) == set(Exit)
    readme = Path("README.md").read_text("utf-8")
    topic = CliRunner().invoke(app, ["help", "exit-codes"]).output
    root = " ".join(CliRunner().invoke(app, ["--help"]).output.split())
    for code, words in EXIT_WORDS.items():
        assert f"| {code.value} | {words} |" in readme
        assert re.search(rf"^ {code.value} +{re.escape(words)}$", topic, re.MULTILINE)
        assert f"{code.value} {words.partition(':')[0]}" in root


_AS_INSTALLED = "import sys; sys.argv[0] = 'recommend'; from recommend.cli import main; main()"


def _offered(words: str, at: int, **environment: str) -> list[str]:
    """What the shell would offer, by the protocol of the completion script."""
    run = subprocess.run(
        [sys.executable, "-c", _AS_INSTALLED],
        env={
            **os.environ, **environment, "_RECOMMEND_COMPLETE": "complete_bash",
            "COMP_WORDS": words, "COMP_CWORD": str(at),
        },
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.stderr == ""
    return run.stdout.split()


def test_the_shell_completes_commands_products_and_references(tmp_path: Path) -> None:
    """Commands from the table, insoles from the catalogue, codes from the shelf."""
    (tmp_path / "visits").mkdir()
    (tmp_path / "visits" / "QB-0101_2025-03-04.yaml").write_text("reference: QB-0101\n")
    assert "visit" in _offered("recommend vi", 1, RECOMMEND_VISITS=str(tmp_path / "visits"))
    assert _offered("recommend visit history QB", 3) == ["QB-0101"]
    assert "meskerholm-soft" in _offered("recommend trial v.yaml --insole mesk", 4)


def test_completion_is_silent_when_the_settings_are_broken(tmp_path: Path) -> None:
    """Tab never prints an error."""
    (tmp_path / "settings.toml").write_text("sizes = [")
    assert _offered("recommend visit history Q", 3) == []


def test_limits_are_counted_as_the_file_holds_them() -> None:
    """`help limits` and `check` give the same counts, which are those of the file; parts add up.

    Counted here in the YAML itself, whatever norm of the Foot Posture Index the rulebook is on.
    """
    file = yaml.safe_load(Path("rules/limits.yaml").read_text("utf-8"))["limits"]
    counts = f"{len(file)} limits with {sum(len(one['values']) for one in file.values())} values"
    topic = " ".join(CliRunner().invoke(app, ["help", "limits"]).output.split())
    checked = " ".join(CliRunner().invoke(app, ["check", "rules"]).output.split())
    assert counts in topic
    assert counts in checked
    parts = topic.split("norm counted: ")[1].split(". `rules")[0]
    assert sum(map(int, re.findall(r"[0-9]+", parts))) == int(counts.split()[3])
