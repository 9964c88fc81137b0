"""The store keeps what it is given, in order, and refuses to change it."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import stat
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from recommend.errors import InputError, RecommendError
from recommend.records.database import store_path
from recommend.records.documents import PRIVATE_PATHS, canonical, join, separate
from recommend.records.store import Store, ToRecord
from recommend.records.verify import verify
from recommend.visit import Visit
from tests.trail.entries import entry


def test_a_record_comes_back_as_it_was_kept(path: Path) -> None:
    """Joining the bodies of a record with its private part gives the documents kept."""
    given = entry("A-1")
    with Store(path, write=True) as store:
        store.append(given)
    with Store(path) as store:
        record = store.find("last")
        public = {name: store.body(content) for name, content in record.bodies.items()}
        whole = join(public, store.private(record))
    assert canonical(whole) == canonical(given.documents)
    assert record.head["summary"] == {"types": ["plain", "plain"]}


def test_the_chain_is_sha_256_over_the_head_before(path: Path) -> None:
    """Each head holds the SHA-256 (hashlib) of the head before it; the first holds none."""
    with Store(path, write=True) as store:
        store.append_all([entry(), entry(), entry()])
        heads = [record.text for record in store.records()]
    previous = [json.loads(head)["previous"] for head in heads]
    assert previous == [None, *(hashlib.sha256(head).hexdigest() for head in heads[:-1])]


def test_a_document_used_twice_is_stored_once(path: Path) -> None:
    """Three records of one rulebook and catalogue hold one copy of each."""
    with Store(path, write=True) as store:
        store.append_all([entry(value=v) for v in (1.5, 2.5, 3.5)])
        (count,) = store.connection.execute("SELECT count(*) FROM body").fetchone()
    assert count == 3 + 3 + 1 + 1  # visits, outcomes, rulebook, catalogue


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE record SET head = x'7b7d'",
        "DELETE FROM record WHERE seq = 2",
        "UPDATE body SET packed = 'x', text = x'7b7d'",
        "DELETE FROM body",
        "UPDATE private SET salt = x'00'",
        "DELETE FROM private",
        "UPDATE forgotten SET declared = 1",
        "DELETE FROM forgotten",
        "INSERT INTO record VALUES (99, 'x', x'7b7d')",
        "INSERT OR REPLACE INTO record VALUES (2, 'x', x'7b7d')",
    ],
)
def test_the_tables_refuse_every_change(filled: Path, statement: str) -> None:
    """Updating, deleting, replacing or leaving a gap fails in the database itself."""
    with sqlite3.connect(filled) as db, pytest.raises(sqlite3.IntegrityError):
        db.execute(statement)


def test_many_writers_at_once(path: Path) -> None:
    """Eight threads that open the store anew and keep 25 records each lose none of them."""
    kept: list[str] = []

    def write(number: int) -> None:
        with Store(path, write=True) as store:
            for i in range(25):
                kept.append(store.append(entry(f"W-{number}", i + 0.5)).hash)

    threads = [threading.Thread(target=write, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with Store(path) as store:
        assert {record.hash for record in store.records()} == set(kept)
        assert len(kept) == 200
        assert verify(store).sound


def test_a_reader_sees_one_state_while_another_writes(path: Path) -> None:
    """A check that is under way is not disturbed by a record kept meanwhile."""
    with Store(path, write=True) as writer, Store(path) as reader:
        writer.append(entry())
        with reader.reading() as db:
            assert db.execute("SELECT count(*) FROM record").fetchone() == (1,)
            writer.append(entry())
            assert db.execute("SELECT count(*) FROM record").fetchone() == (1,)
        assert len(reader) == 2


@pytest.mark.parametrize("name", ["last", "2", "A-2"])
def test_a_record_is_found_by_what_a_person_types(path: Path, name: str) -> None:
    """`last`, a number, a reference and the beginning of a hash all lead to the record."""
    with Store(path, write=True) as store:
        store.append_all([entry("A-1"), entry("A-2")])
        found = store.find(name)
        assert found.seq == 2
        assert store.find(found.hash[:8]) == found


def test_a_beginning_that_several_hashes_share_is_asked_about(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two records that begin alike are never told apart by a guess: neither is taken."""
    with Store(path, write=True) as store:
        store.append_all([entry("A-1"), entry("A-2")])
        typed = store.find("2").hash[:8]
        # No two hashes of ours begin alike, so every hash is made to lie in what is looked up.
        monkeypatch.setattr("recommend.records.store.prefix_range", lambda _: ("0", "g"))
        with pytest.raises(InputError, match=f"several records begin with `{typed}`"):
            store.find(typed)


@pytest.mark.parametrize(
    ("name", "words"),
    [("A-22", "Did you mean `A-2`"), ("9", "a number from 1 to 2"), ("ffff", "6 characters")],
)
def test_an_unknown_record_gets_a_helpful_sentence(path: Path, name: str, words: str) -> None:
    """A name that leads nowhere is answered with what would."""
    with Store(path, write=True) as store:
        store.append_all([entry("A-1"), entry("A-2")])
        with pytest.raises(InputError, match=words):
            store.find(name)


def test_last_is_the_newest_record_of_a_visit(filled: Path, path: Path) -> None:
    """A declaration of forgetting, though newer, is not what `last` means."""
    with Store(filled) as store:
        assert store.record(5).kind == "forgotten"
        assert store.find("last").seq == 4
    path.unlink()
    with Store(path, write=True) as store, pytest.raises(InputError, match="no record of a visit"):
        store.find("last")


def test_a_reference_stands_for_all_its_records(path: Path) -> None:
    """The latest is found by it, and all of them are when all are asked for."""
    with Store(path, write=True) as store:
        store.append_all([entry("A-1"), entry("A-2"), entry("A-1", 7.5)])
        assert [one.seq for one in store.find_all("A-1")] == [1, 3]
        assert store.find("A-1").seq == 3


def test_no_other_customer_is_suggested_for_a_forgotten_one(filled: Path) -> None:
    """After forgetting, a reference that leads nowhere is not answered with another one."""
    with Store(filled) as store, pytest.raises(InputError) as refused:
        store.find("A-3")
    assert "Did you mean" not in str(refused.value)
    assert not {"A-1", "A-2", "A-4"} & set(str(refused.value).replace("`", " ").split())


def test_a_failed_transaction_leaves_nothing(path: Path) -> None:
    """When one of several entries cannot be recorded, none is."""
    with Store(path, write=True) as store:
        store.append(entry())
        with pytest.raises(RecommendError, match="unsupported type"):
            store.append_all([entry("A-2"), ToRecord({"visit": object()})])
        with pytest.raises(InputError, match="UNIQUE"):
            insert_twice(store)
        assert len(store) == 1
        assert verify(store).sound


def insert_twice(store: Store) -> None:
    """Try to keep one document under one hash twice, in one transaction."""
    with store.writing() as db:
        db.execute("INSERT INTO body VALUES ('x', 'y', x'00')")
        db.execute("INSERT INTO body VALUES ('x', 'y', x'00')")


def test_where_the_store_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The option wins over the environment, which wins over the platform's folder."""
    monkeypatch.setenv("RECOMMEND_STORE", str(tmp_path / "env.sqlite"))
    assert store_path(tmp_path / "given.sqlite") == tmp_path / "given.sqlite"
    assert store_path() == tmp_path / "env.sqlite"
    monkeypatch.delenv("RECOMMEND_STORE")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "xdg"))
    assert store_path().name == "records.sqlite"


@pytest.mark.skipif(os.name == "nt", reason="this platform has no such permissions")
def test_only_its_owner_may_read_a_new_store(path: Path) -> None:
    """A new store is readable by its owner alone."""
    with Store(path, write=True):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.parametrize(
    ("content", "words"),
    [(None, "no record store here"), (b"", "still empty"), (b"not sqlite" * 200, "not a database")],
)
def test_what_is_not_a_store_is_refused(path: Path, content: bytes | None, words: str) -> None:
    """A missing, empty or foreign file is refused with a sentence."""
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError, match=words):
        Store(path)


def test_another_programs_database_is_left_alone(path: Path) -> None:
    """A database of another program is neither read nor written."""
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE mine (x)")
    for write in (False, True):
        with pytest.raises(InputError, match="not a record store"):
            Store(path, write=write)
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT name FROM sqlite_master").fetchall() == [("mine",)]


def test_private_parts_are_taken_out_wherever_they_stand() -> None:
    """References and remarks leave no trace in the public part, and come back in place."""
    steps = [{"remarks": "hello", "rearfoot": {"reference": "vertical"}}, {"shoe": "own"}]
    document = {"visit": {"reference": "A-1", "trials": steps}}
    public, private = separate(document)
    assert "A-1" not in json.dumps(public)
    assert "hello" not in json.dumps(public)
    assert "vertical" in json.dumps(public)
    assert join(public, private) == document
    assert join(public, None) == public


def test_no_free_text_of_a_visit_is_recorded_for_good() -> None:
    """Every text of a visit's schema is private, a closed vocabulary, or a date or product id."""
    harmless = {
        ("date",),
        ("trials", "*", "shoe"),
        ("trials", "*", "insole"),
        ("captures", "*", "sha256"),
        ("follow-up", "shoe"),
        ("follow-up", "insole"),
        ("wishes", "would-not-wear", "products", "*"),
        ("out", "*", "product"),
        ("decision", "shoe"),
        ("decision", "insole"),
        ("decision", "date"),
        ("decision", "back-on"),
        ("decision", "fitter"),
        ("out", "*", "lifted-by"),
        ("out", "*", "lifted-on"),
        ("decision", "read-out", "*"),
        ("captures", "*", "device"),
        ("measured-by",),
        ("purpose",),  # one of those that the rulebook names
        ("carried", "?"),
        ("captures", "*", "doubts", "*", "name"),
    }
    for side in ("left", "right"):  # ids of measures and of doubts
        harmless.add(("feet", side, "from-captures", "*", "measure"))
        harmless.add(("feet", side, "from-captures", "*", "doubts", "*"))
    private = {path[1:] for path in PRIVATE_PATHS if path[0] == "visit"}
    schema = Visit.model_json_schema(by_alias=True)
    found = set(free_texts(schema, schema, ()))
    assert found == private | harmless


def free_texts(
    schema: dict[str, Any], top: dict[str, Any], at: tuple[str, ...]
) -> Iterator[tuple[str, ...]]:
    """Paths of all texts in a JSON Schema that are not of a closed vocabulary."""
    while "$ref" in schema:
        schema = top["$defs"][schema["$ref"].rpartition("/")[2]]
    if schema.get("type") == "string" and "enum" not in schema and "const" not in schema:
        yield at
    for choice in schema.get("anyOf", []):
        yield from free_texts(choice, top, at)
    for key, part in schema.get("properties", {}).items():
        yield from free_texts(part, top, (*at, key))
    if "items" in schema:
        yield from free_texts(schema["items"], top, (*at, "*"))
    if isinstance(schema.get("additionalProperties"), dict):
        yield from free_texts(schema["additionalProperties"], top, (*at, "?"))


def test_a_number_that_is_also_a_customers_code_is_never_guessed(path: Path) -> None:
    """`2` is record 2 and the code of the customer of record 1: the person says which is meant."""
    with Store(path, write=True) as store:
        store.append(entry("2", 1.5))
        store.append(entry("A-9", 2.5))
        with pytest.raises(InputError, match="reference code of a customer") as raised:
            store.find_all("2")
        assert "`#2`" in str(raised.value)
        assert "`#1`" in str(raised.value)
        assert [one.seq for one in store.find_all("#2")] == [2]
        assert [one.seq for one in store.find_all("1")] == [1]


def test_waiting_for_another_program_is_said(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A store that another program writes is waited for, and that is said meanwhile."""
    monkeypatch.setattr("recommend.records.database.SAID_SECONDS", 0.1)
    with Store(path, write=True) as store:
        store.append(entry())
        other = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        other.execute("BEGIN IMMEDIATE")
        timer = threading.Timer(0.5, other.execute, ("COMMIT",))
        timer.start()
        store.append(entry("A-2"))
        timer.join()
        other.close()
        assert len(store) == 2
    assert f"Waiting for another program that writes {path}" in capsys.readouterr().err
