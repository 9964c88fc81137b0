"""What reaches the terminal: text of others, signs that a console lacks, pipes that close."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from recommend.cli import main
from recommend.door import Door, in_plain_signs, typed, visible
from recommend.errors import InputError
from recommend.show.console import working

ROOT = Path(__file__).resolve().parent.parent
VISITS = ROOT / "catalogue_demo" / "visits"
FULL = Path("/dev/full")


def run(*words: str, **more: object) -> subprocess.CompletedProcess[bytes]:
    """The program in a process of its own."""
    command = [sys.executable, "-m", "recommend", *words]
    settings = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "cwd": ROOT, "check": False}
    return subprocess.run(command, **{**settings, **more})


@pytest.mark.parametrize("sign", ["\x07", "\x1b]0;t\x07", "\x9b2J", "\r", "\u202e", "\udcff"])
def test_what_controls_a_terminal_is_shown_not_obeyed(sign: str) -> None:
    """Control and direction characters become their numbers; colours only where they are ours."""
    shown = visible(f"a{sign}b\n")
    assert shown.startswith("a<U+")
    assert shown.endswith("b\n")
    assert visible(shown) == shown
    assert visible("\x1b[31m") == "<U+001B>[31m"
    assert visible("\x1b[31m\x1b[2J", colour=True) == "\x1b[31m<U+001B>[2J"


def test_a_sign_that_a_console_lacks_becomes_another() -> None:
    """The degree sign, plus-minus and umlauts are said otherwise in ASCII; nothing fails."""
    import codecs

    codecs.register_error("test-plain-signs", in_plain_signs)
    text = "6° ± 1, größer →, 漢".encode("ascii", "test-plain-signs").decode()
    assert text == "6 deg +/- 1, grosser ->, ?"


def test_a_console_of_another_encoding_gets_the_whole_shortlist() -> None:
    """In an ASCII console and in a Western European one the shortlist is printed, exit code 0."""
    for encoding in ("ascii", "cp1252"):
        there = {**os.environ, "PYTHONIOENCODING": encoding}
        done = run("shortlist", str(VISITS / "pronated.yaml"), env=there)
        assert done.returncode == 0, done.stderr
        assert done.stdout.decode(encoding)


def test_a_reader_that_goes_away_changes_no_exit_code() -> None:
    """After `| head -1` a stop still ends with 3, in silence."""
    done = run("shortlist", str(VISITS / "red-flag-stop.yaml"), stdout=_closed_pipe())
    assert (done.returncode, done.stderr) == (3, b"")


def _closed_pipe() -> int:
    reader, writer = os.pipe()
    os.close(reader)
    return writer


@pytest.mark.skipif(not FULL.exists(), reason="this platform has no device that is always full")
def test_an_output_that_is_full_is_one_sentence() -> None:
    """Where the output cannot be written, exit code 2 and one sentence, no traceback."""
    with FULL.open("w") as full:
        done = run("shortlist", str(VISITS / "pronated.yaml"), stdout=full)
    assert done.returncode == 2
    assert done.stderr.decode().startswith("recommend: output: cannot be written")
    assert len(done.stderr.splitlines()) == 1


def test_a_name_with_control_characters_cannot_reach_the_terminal() -> None:
    """A file name that holds an escape sequence is shown with the number of the character."""
    done = run("shortlist", "a\x1b[2J\u202e.yaml")
    assert done.returncode == 2
    assert b"\x1b" not in done.stderr
    assert "\u202e" not in done.stderr.decode()


@pytest.mark.skipif(os.name != "posix" or sys.platform == "darwin", reason="names are text here")
def test_a_damaged_file_of_an_odd_name_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bytes that are no text, line ends, escapes, 255 bytes: the name is made visible or cut."""
    for name, seen in (
        (b"\xff\xfe", "<U+DCFF>"), (b"a\nb", "a<U+000A>b"), (b"\x1b[2J", "<U+001B>[2J"),
        ("\u202eb".encode(), "<U+202E>b"), (b"x" * 250, "xxx"), (b"x" * 255, "xxx"),
    ):  # fmt: skip
        file = tmp_path / os.fsdecode(name[:250] + b".yaml")
        file.write_text("feet: [")
        too_long = tmp_path / os.fsdecode(name + b".yaml")
        for words in (["shortlist"], ["visit", "edit"], ["effects"], ["sheet", "--catalogue"]):
            for one in (file, too_long):
                with pytest.raises(SystemExit) as ended:
                    main([*words, str(one)])
                said = capsys.readouterr().err
                assert ended.value.code == 2
                assert len(said.splitlines()) == 1, said
                assert seen in said or words[0] == "sheet"
                assert visible(said) == said


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this platform has no endless device")
def test_a_line_without_an_end_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is typed is read up to a bound; an input that cannot be read is an empty one."""
    with open("/dev/zero", encoding="utf-8") as endless:
        monkeypatch.setattr(sys, "stdin", endless)
        with pytest.raises(InputError, match="a line is longer than"):
            typed()
    with open(os.devnull, "w", encoding="utf-8") as unreadable:
        monkeypatch.setattr(sys, "stdin", unreadable)
        with pytest.raises(EOFError):
            typed()


def test_a_program_that_answers_the_same_for_ever_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """After some refused answers in a row of no terminal the entry ends, its draft kept."""
    (tmp_path / "yes").write_text("y\n" * 99)
    with (tmp_path / "yes").open() as answers:
        monkeypatch.setattr(sys, "stdin", answers)
        with pytest.raises(SystemExit) as ended:
            main(["visit", "new", "A-1", "--visits", str(tmp_path)])
    assert ended.value.code == 2
    assert "answers in a row were refused" in capsys.readouterr().err
    assert (tmp_path / "drafts" / "A-1.json").exists()


@pytest.mark.parametrize("columns", ["0", "7"])
def test_a_screen_too_narrow_for_words_is_taken_as_wider(
    columns: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where a terminal says it has no or few columns, the shortlist is printed all the same."""
    monkeypatch.setenv("COLUMNS", columns)
    with pytest.raises(SystemExit) as ended:
        main(["shortlist", str(VISITS / "red-flag-stop.yaml")])
    assert ended.value.code == 3
    assert "STOP" in capsys.readouterr().out


@pytest.mark.skipif(not FULL.exists(), reason="this platform has no device that is always full")
@pytest.mark.parametrize("words", [[], ["shortlist", "--help"], ["help", "records"]])
def test_the_welcome_and_help_on_a_full_output_are_one_sentence(words: list[str]) -> None:
    """However a command prints, nowhere to say it is exit code 2 and one sentence."""
    with FULL.open("w") as full:
        done = run(*words, stdout=full)
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)


def test_a_bar_goes_back_over_its_line_and_what_others_write_meanwhile_does_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A running bar is drawn in place; a name with control characters stays harmless beside it."""
    terminal = io.StringIO()
    monkeypatch.setattr(terminal, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stdout", Door(io.StringIO(), must=True))
    monkeypatch.setattr(sys, "stderr", Door(terminal, must=False))
    before = sys.stdout, sys.stderr
    with working("reading") as tell:
        tell(1, 2)
        typer.echo("name\x1b[9A.mp4", err=True)
    assert (sys.stdout, sys.stderr) == before
    assert "\x1b[2K" in terminal.getvalue()
    assert "<U+000D>" not in terminal.getvalue()
    assert "name<U+001B>[9A.mp4" in terminal.getvalue()
