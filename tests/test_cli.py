"""How the command line is left: what does not fit is one sentence, and exit codes stay."""

from __future__ import annotations

import pytest
import typer

from recommend import cli
from recommend.cli import main


def left(*arguments: str) -> int:
    """The exit code of a command."""
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    return int(ended.value.code or 0)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("shorlist v.yaml", "`recommend` has no command `shorlist`. Did you mean `shortlist`?"),
        ("visit edti", "`recommend visit` has no command `edti`. Did you mean `edit`?"),
        ("store zzz", "allowed: list, verify, stamp"),
        ("visit edit --vists x", "has no option `--vists`. Did you mean `--visits`?"),
        ("shortlist -z", "`recommend shortlist` has no option `-z`. See `recommend shortlist --h"),
        ("trial plan", "`recommend trial plan` needs VISIT ("),
        ("import x.csv", "`recommend import` needs `--mapping` ("),
        ("gaps --lines", "`--lines` needs a value."),
        ("visit list --all=3", "`--all` takes no value."),
        ("gaps --briefs 99", "`--briefs` cannot be used; allowed: a whole number from 1 to 50."),
        ("gaps --budget x", "`--budget` cannot be used; allowed: a number of at least 0."),
        ("sheet v.yaml --paper a3", "`--paper` cannot be used: `a3` is not one of `a4`, `letter`"),
        ("visit edit L-88 contact.left -3 -4", "has no use for `-4`. Put one value that holds sp"),
    ],
)
def test_a_command_line_that_does_not_fit_is_one_sentence(
    typed: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one line on stderr that names the command and how to mend it, no output."""
    assert left(*typed.split()) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert said.err.startswith("recommend: the command line: ")
    assert words in said.err


@pytest.mark.parametrize(("typed", "code"), [("--help", 0), ("gaps --help", 0), ("visit", 2)])
def test_help_is_shown_as_help(typed: str, code: int, capsys: pytest.CaptureFixture[str]) -> None:
    """Asked for, or when a group is called with nothing: the help, not a sentence."""
    assert left(*typed.split()) == code
    said = capsys.readouterr()
    assert "Usage:" in said.out + said.err
    assert "the command line" not in said.err


@pytest.mark.parametrize(
    ("raised", "code"),
    [(KeyboardInterrupt(), 130), (typer.Abort(), 1), (typer.Exit(3), 3), (typer.Exit(), 0)],
)
def test_leaving_keeps_its_exit_codes(
    raised: BaseException, code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C, an aborted question and the exit codes of commands are as the shell expects."""

    def leave(*_given: object) -> None:
        raise raised

    monkeypatch.setattr(cli.LazyGroup, "get_command", leave)
    assert left("shortlist", "v.yaml") == code
