"""The `recommend store` commands: exit codes, sentences, what they print."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from recommend.records.store import Store
from tests.shipped import run
from tests.trail.test_verify import rows_of, tamper


def test_verify_says_sound_and_what_to_note(
    filled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sound store gives exit code 0, the gap, and the last hash in full."""
    with Store(filled) as store:
        last = store.record(5).hash
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


@pytest.mark.parametrize("characters", [64, 12, 6])
def test_verify_expects_a_hash_or_its_beginning(filled: Path, characters: int) -> None:
    """What `store list` prints is enough, in small letters or capitals."""
    with Store(filled) as store:
        name = store.record(2).hash[:characters]
    for written in (name, name.upper()):
        assert run("store", "verify", "--store", str(filled), "--expect", written) == 0


def test_verify_misses_a_hash_that_is_not_there(
    filled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A hash that no record has means that records were cut off: exit code 2, said so."""
    assert run("store", "verify", "--store", str(filled), "--expect", "0" * 64) == 2
    assert "DIFFERS: no record has the expected hash" in capsys.readouterr().out


@pytest.mark.parametrize("written", ["xyz123abc", "12ab", "0" * 65, "record 3"])
def test_what_is_no_hash_is_bad_input_not_tampering(
    filled: Path, capsys: pytest.CaptureFixture[str], written: str
) -> None:
    """Not hexadecimal, too short or too long: one sentence, and no word of a difference."""
    assert run("store", "verify", "--store", str(filled), "--expect", written) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "is not the hash of a record" in err
    assert err.count("\n") == 1


def test_an_export_is_for_its_owner_alone(filled: Path, tmp_path: Path) -> None:
    """The file holds references and remarks, so nobody else may read it, as with the store."""
    lines = tmp_path / "records.jsonl"
    assert run("store", "export", "--to", str(lines), "--store", str(filled)) == 0
    assert lines.stat().st_mode & 0o077 == 0


def test_a_refused_import_leaves_no_store(filled: Path, tmp_path: Path) -> None:
    """A store made for an import that fails is taken away; one that was there stays."""
    lines, new = tmp_path / "bad.jsonl", tmp_path / "new.sqlite"
    lines.write_text("{}\n", encoding="utf-8")
    assert run("store", "import", str(lines), "--store", str(new)) == 2
    assert list(tmp_path.glob("new.sqlite*")) == []
    before = rows_of(filled)
    assert run("store", "import", str(lines), "--store", str(filled)) == 2
    assert rows_of(filled) == before


def test_forget_without_an_answer_forgets_nothing(
    filled: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the end of input nothing is forgotten: exit code 2 and one sentence; 'no' is an answer."""
    before = rows_of(filled)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert run("store", "forget", "A-1", "--store", str(filled)) == 2
    assert "nothing was forgotten" in capsys.readouterr().err
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    assert run("store", "forget", "A-1", "--store", str(filled)) == 0
    assert "Nothing was forgotten." in capsys.readouterr().out
    assert rows_of(filled) == before
