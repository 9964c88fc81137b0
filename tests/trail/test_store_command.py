"""The `recommend store` commands: exit codes, sentences, what they print."""

from __future__ import annotations

from pathlib import Path

import pytest

from recommend.cli import main
from recommend.trail.store import Store
from tests.trail.test_verify import rows_of, tamper


def run(*args: str) -> int:
    """The exit code of `recommend ARGS`."""
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


def test_verify_says_sound_and_what_to_note(
    filled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sound store gives exit code 0, the gap, and the last hash in full."""
    with Store(filled) as store:
        last = store.find("last").hash
    assert run("store", "verify", "--store", str(filled)) == 0
    said = capsys.readouterr().out
    assert "Sound: 5 records" in said
    assert "as declared: 3" in said
    assert last in said


def test_verify_names_what_differs(filled: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A changed store gives exit code 2 and names the record."""
    tamper(filled, "UPDATE record SET head = x'7b7d' WHERE seq = 2")
    assert run("store", "verify", "--store", str(filled)) == 2
    assert "DIFFERS: record 2" in capsys.readouterr().out


def test_export_and_import_through_files(
    filled: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A store exported to a file and imported into a new store is the same store."""
    lines, copy = tmp_path / "records.jsonl", tmp_path / "new" / "copy.sqlite"
    assert run("store", "export", "--to", str(lines), "--store", str(filled)) == 0
    assert run("store", "import", str(lines), "--store", str(copy)) == 0
    assert "5 records added" in capsys.readouterr().out
    assert rows_of(copy) == rows_of(filled)
    assert run("store", "export", "--to", str(lines), "--store", str(filled)) == 2


def test_forget_and_list(filled: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A forgotten reference is no longer listed; the declaration is."""
    assert run("store", "forget", "A-1", "--yes", "--store", str(filled)) == 0
    assert run("store", "list", "--store", str(filled)) == 0
    listed = capsys.readouterr().out.split("of\n", 1)[1]
    assert "A-2" in listed
    assert "A-1" not in listed
    assert "(forgotten, see record 6)" in listed


@pytest.mark.parametrize(
    "command", [["list"], ["verify"], ["export"], ["forget", "A-1", "--yes"], ["import", "gone"]]
)
def test_a_missing_store_or_file_is_one_sentence(
    tmp_path: Path, command: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a store, or a file to import, every command gives exit code 2 and one line."""
    path = tmp_path / "none.sqlite"
    assert run("store", *command, "--store", str(path)) == 2
    said = capsys.readouterr().err
    assert said.startswith("recommend: ")
    assert said.count("\n") == 1
    assert not path.exists()
