"""Export and import keep order and hashes, or say at which line they cannot."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommend.errors import InputError
from recommend.records.documents import canonical, sha256
from recommend.records.store import Store, forget
from recommend.records.transfer import export, import_lines
from recommend.records.verify import verify
from tests.trail.entries import entry
from tests.trail.test_verify import SAME_FOLDER, rows_of


def exported(path: Path) -> list[bytes]:
    """The lines of the store at `path`."""
    with Store(path) as store:
        return list(export(store))


def imported(path: Path, lines: list[bytes]) -> tuple[int, int]:
    """Import `lines` into the store at `path`: how many were added and present."""
    with Store(path, write=True) as store:
        done = import_lines(store, lines, "records.jsonl")
        assert verify(store).sound
    return done.added, done.present


def test_a_store_survives_the_way_out_and_in(filled: Path, tmp_path: Path) -> None:
    """Every row of an imported store is byte for byte that of the exported one."""
    copy = tmp_path / "copy.sqlite"
    assert imported(copy, exported(filled)) == (5, 0)
    assert rows_of(copy) == rows_of(filled)
    assert exported(copy) == exported(filled)


def test_every_line_is_canonical_json_in_order(filled: Path) -> None:
    """Lines are canonical JSON; records stand in the order they were kept."""
    lines = [json.loads(line) for line in exported(filled)]
    assert [canonical(line) for line in lines] == exported(filled)
    assert [line["head"]["seq"] for line in lines if "record" in line] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    "told",
    [
        {"kind": "event", "event": "sold", "by": "", "of": {"seq": 1, "hash": "f" * 64}},
        {"kind": "event", "event": "sold", "by": "", "of": {"seq": 9, "hash": "f" * 64}},
        {"kind": "forgotten", "forgets": [{"seq": 2, "hash": "f" * 64}]},
    ],
)
def test_a_record_that_tells_of_none_before_it_is_not_imported(
    told: dict[str, object], filled: Path, tmp_path: Path
) -> None:
    """All its own hashes may be right: what it names is not there, and nothing is imported."""
    last = json.loads(exported(filled)[-1])
    head = {key: last["head"][key] for key in ("format", "made-at", "seq", "previous", "private")}
    forged = canonical(head | {"bodies": {}} | told)
    line = canonical({"record": sha256(forged), "head": json.loads(forged)})
    copy = tmp_path / "copy.sqlite"
    with (
        pytest.raises(InputError, match="tells of a record that does not stand before it"),
        Store(copy, write=True) as store,
    ):
        import_lines(store, [*exported(filled)[:-1], line], "records.jsonl")
    with Store(copy) as store:
        assert not len(store)


def test_importing_again_adds_only_what_is_new(filled: Path, tmp_path: Path) -> None:
    """A second import of a longer export appends its end, and of the same one nothing."""
    copy = tmp_path / "copy.sqlite"
    imported(copy, exported(filled))
    assert imported(copy, exported(filled)) == (0, 5)
    with Store(filled, write=True) as store:
        store.append(entry("A-9", 9.5))
    assert imported(copy, exported(filled)) == (1, 5)


def test_a_forgetting_travels_with_the_export(filled: Path, tmp_path: Path) -> None:
    """A copy that still knew a customer forgets them when the declaration is imported."""
    copy = tmp_path / "copy.sqlite"
    imported(copy, exported(filled))
    with Store(filled, write=True) as store:
        forget(store, "A-1")
    imported(copy, exported(filled))
    assert b"A-1" not in b"".join(exported(copy))


def test_another_chain_is_refused(filled: Path, tmp_path: Path) -> None:
    """Two stores that began apart are not mixed, and nothing is half imported."""
    other = tmp_path / "other.sqlite"
    with Store(other, write=True) as store:
        store.append(entry("B-1"))
    before = rows_of(other)
    with pytest.raises(InputError, match="two chains cannot become one"):
        imported(other, exported(filled))
    assert rows_of(other) == before


@SAME_FOLDER
@given(data=st.data())
def test_an_altered_line_is_refused_and_nothing_is_imported(
    filled: Path, data: st.DataObject
) -> None:
    """One byte changed anywhere in an export is refused with its line; the store stays empty."""
    lines = exported(filled)
    number = data.draw(st.integers(0, len(lines) - 1))
    line = bytearray(lines[number])
    at = data.draw(st.integers(0, len(line) - 1))
    line[at] ^= data.draw(st.integers(1, 255))
    lines[number] = bytes(line)
    with Store(filled.with_name("empty.sqlite"), write=True) as store:
        with pytest.raises(InputError, match=r"records\.jsonl:\d+"):
            import_lines(store, lines, "records.jsonl")
        assert len(store) == 0
        assert store.connection.execute("SELECT count(*) FROM body").fetchone() == (0,)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ([], "the file is empty"),
        ([b"{}"], "not an export"),
        ([b"\xff\xfe"], "not JSON"),
        ([b"[" * 100_000], "not JSON"),
        ([b'{"format":"recommend-records","version":2}'], "version `2` are not known"),
        ([b'{"format":"recommend-other","version":1}'], "not an export"),
        ([b'{"format":"recommend-records","version":1}', b'{"x":1}'], "neither a document"),
        ([b'{"format":"recommend-records","version":1}', b'{"head":NaN,"record":1}'], "not JSON"),
        ([b'{"format":"recommend-records","version":1}', b'{"head":3,"record":"x"}'], "complete"),
    ],
)
def test_what_is_not_an_export_is_refused(path: Path, lines: list[bytes], words: str) -> None:
    """Anything else than an export gets a sentence with its line."""
    with pytest.raises(InputError, match=words):
        imported(path, lines)


def test_a_line_left_out_is_noticed(filled: Path, path: Path, tmp_path: Path) -> None:
    """Leaving out any line but the last ones of an export is refused."""
    lines = exported(filled)
    for number in range(len(lines) - 1):
        copy = tmp_path / f"without-{number}.sqlite"
        with pytest.raises(InputError):
            imported(copy, lines[:number] + lines[number + 1 :])
