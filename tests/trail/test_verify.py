"""A check of the store finds every altered byte and names the first thing that differs."""

from __future__ import annotations

import re
import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recommend.errors import InputError, RecommendError
from recommend.records.database import trigger_statements
from recommend.records.store import Store, is_earlier
from recommend.records.transfer import export
from recommend.records.verify import StoreVerdict, verify
from tests.trail.entries import entry

CELLS = [
    ("record", "head"),
    ("record", "hash"),
    ("body", "text"),
    ("body", "hash"),
    ("body", "packed"),
    ("private", "text"),
    ("private", "salt"),
]
SAME_FOLDER = settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def check(path: Path) -> StoreVerdict:
    """The verdict on the store at `path`; a store that cannot be opened is not sound either."""
    try:
        with Store(path) as store:
            return verify(store)
    except InputError as error:
        return StoreVerdict(0, "", (), error.sentence)


def tamper(path: Path, *statements: str) -> None:
    """Change the store behind the back of its guards, then put the guards back."""
    with closing(sqlite3.connect(path)) as db:
        triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type='trigger'").fetchall()
        for name, _ in triggers:
            db.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            db.execute(statement)
        for _, sql in triggers:
            db.execute(sql)
        db.commit()


def of_another_type(path: Path, table: str, column: str, value: object) -> None:
    """Put a value of another type into the last row of a column, as damage to the file can."""
    with closing(sqlite3.connect(path)) as db:
        whole = db.execute("SELECT name, sql FROM sqlite_master WHERE sql NOT NULL").fetchall()
        kept = [sql for _, sql in whole if sql.startswith("CREATE TRIGGER")]
        for name, sql in whole:
            if sql in kept:
                db.execute(f"DROP TRIGGER {name}")
        (sql,) = [sql for name, sql in whole if name == table]
        loose = re.sub(rf"\b{column} (TEXT|BLOB|INTEGER) NOT NULL", column, sql)
        for text in (loose, sql):
            db.execute("PRAGMA writable_schema = 1")
            db.execute("UPDATE sqlite_master SET sql = ? WHERE name = ?", (text, table))
            db.execute("PRAGMA writable_schema = RESET")
            db.commit()
            if text == loose:
                last = f"(SELECT max(rowid) FROM {table})"
                db.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = {last}", (value,))
        for trigger in kept:
            db.execute(trigger)
        db.commit()


@pytest.mark.parametrize(("table", "column"), [*CELLS, ("forgotten", "declared")])
def test_a_value_of_another_type_is_told_and_no_export_is_made_of_it(
    table: str, column: str, filled: Path, tmp_path: Path
) -> None:
    """A hash, text, salt or number that became something else: verify finds it, nothing fails."""
    for value in (None, 7, 1.5, b"\xff\x00", "\x1b[2J", 2**62):
        if column == "declared" and value == 7:
            continue
        copy = tmp_path / "copy.sqlite"
        shutil.copy(filled, copy)
        of_another_type(copy, table, column, value)
        assert check(copy).differs
        with suppress(RecommendError), Store(copy) as store:
            list(export(store))
        with suppress(RecommendError), Store(copy) as store:
            store.forgotten()
            for record in store.records():
                store.private(record)
                [store.body(content) for content in record.bodies.values()]


def test_a_sound_store_is_sound(filled: Path) -> None:
    """A store that was only written to by the tool verifies, its gap declared."""
    verdict = check(filled)
    assert verdict.sound, verdict.differs
    assert verdict.records == 5
    assert verdict.forgotten == (3,)


@SAME_FOLDER
@given(data=st.data())
def test_a_flipped_byte_in_any_cell_is_found(filled: Path, data: st.DataObject) -> None:
    """One byte changed in any column of any row is found."""
    copy = filled.with_name("copy.sqlite")
    shutil.copy(filled, copy)
    table, column = data.draw(st.sampled_from(CELLS))
    with closing(sqlite3.connect(copy)) as db:
        rows = db.execute(f"SELECT rowid, CAST({column} AS BLOB) FROM {table}").fetchall()
        kind = db.execute(f"SELECT typeof({column}) FROM {table} LIMIT 1").fetchone()[0]
    rowid, value = data.draw(st.sampled_from(rows))
    at = data.draw(st.integers(0, len(value) - 1))
    flipped = bytearray(value)
    flipped[at] ^= data.draw(st.integers(1, 255))
    literal = f"x'{flipped.hex()}'"
    cast = literal if kind == "blob" else f"CAST({literal} AS TEXT)"
    tamper(copy, f"UPDATE {table} SET {column} = {cast} WHERE rowid = {rowid}")
    assert not check(copy).sound


@SAME_FOLDER
@given(data=st.data())
def test_a_flipped_byte_of_the_file_is_found_where_it_matters(
    filled: Path, data: st.DataObject
) -> None:
    """A byte changed in the file either is found, or changed nothing that a record says.

    A file has bytes that mean nothing (free space within a page), so every row is compared.
    """
    copy = filled.with_name("copy.sqlite")
    raw = bytearray(filled.read_bytes())
    at = data.draw(st.integers(0, len(raw) - 1))
    raw[at] ^= data.draw(st.integers(1, 255))
    copy.write_bytes(raw)
    if check(copy).sound:
        assert rows_of(copy) == rows_of(filled)


def rows_of(path: Path) -> list[list[tuple[object, ...]]]:
    """Every row of every table."""
    with closing(sqlite3.connect(path)) as db:
        tables = ("record", "body", "private", "forgotten")
        return [db.execute(f"SELECT * FROM {t} ORDER BY 1").fetchall() for t in tables]


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("DELETE FROM record WHERE seq = 2", "record 2 is missing"),
        ("DELETE FROM body WHERE hash = (SELECT min(hash) FROM body)", "is missing"),
        ("DELETE FROM private WHERE seq = 1", "record 1: its private part is missing"),
        ("DELETE FROM forgotten", "record 3: its private part is missing"),
        ("INSERT INTO forgotten VALUES (1, 5)", "record 1: its private part is declared"),
        ("INSERT INTO body VALUES ('00', '11', x'7b7d')", "belongs to no record"),
        ("INSERT INTO private VALUES (5, x'00', x'00')", "record 5: it has a private part"),
        ("INSERT INTO private VALUES (9, x'00', x'00')", "record 9, which is not there"),
        ("UPDATE record SET hash = 'x' WHERE seq = 4", "record 4: its text does not have"),
        ("CREATE TABLE more (x)", "`more`, which does not belong"),
        ("DROP TABLE forgotten", "altered"),
    ],
)
def test_the_first_thing_that_differs_is_named(filled: Path, statement: str, words: str) -> None:
    """What was removed, added or altered is named by record and part."""
    copy = filled.with_name("copy.sqlite")
    shutil.copy(filled, copy)
    with closing(sqlite3.connect(copy)) as db:
        db.execute("PRAGMA foreign_keys = OFF")
    if statement.startswith("DROP"):
        with closing(sqlite3.connect(copy)) as db:
            db.execute(statement)
    else:
        tamper(copy, statement)
    assert words in check(copy).differs


def test_a_guard_taken_away_is_noticed(filled: Path) -> None:
    """A missing trigger is named: someone prepared the store for a change."""
    with closing(sqlite3.connect(filled)) as db:
        db.execute("DROP TRIGGER record_keeps_update")
    assert "record_keeps_update" in check(filled).differs


def test_a_record_rewritten_with_a_fresh_hash_breaks_the_chain(filled: Path) -> None:
    """Changing a record and its own hash is found at the record after it."""
    from recommend.records.documents import canonical, sha256

    with Store(filled) as store:
        head = {**store.record(2).head, "summary": {"types": ["other", "other"]}}
    text = canonical(head)
    tamper(
        filled,
        f"UPDATE record SET head = x'{text.hex()}', hash = '{sha256(text)}' WHERE seq = 2",
    )
    assert "record 3: it is not chained" in check(filled).differs


def test_an_end_cut_off_is_found_with_a_hash_noted_earlier(path: Path) -> None:
    """A chain cannot tell that its end is gone; a hash kept elsewhere can."""
    with Store(path, write=True) as store:
        store.append(entry())
        noted = store.append(entry(value=9.5)).hash
        assert verify(store, noted).sound
    with Store(path) as store:
        first, last = store.record(1).bodies, store.record(2).bodies
    own = ", ".join(f"'{content}'" for content in set(last.values()) - set(first.values()))
    tamper(
        path,
        "DELETE FROM private WHERE seq = 2",
        "DELETE FROM record WHERE seq = 2",
        f"DELETE FROM body WHERE hash IN ({own})",
    )
    with Store(path) as store:
        assert verify(store).sound
        assert "cut off" in verify(store, noted).differs


def test_the_expected_tables_are_those_of_a_new_store(path: Path) -> None:
    """Every table has its guards against update and delete."""
    with Store(path, write=True) as store:
        names = {row[0] for row in store.connection.execute("SELECT name FROM sqlite_master")}
    for table in ("body", "record", "forgotten", "private"):
        assert {table, f"{table}_keeps_update", f"{table}_keeps_delete"} <= names
    assert len(trigger_statements()) == 9


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("UPDATE private SET text = '{}'", "the private part of record 1 was altered"),
        ("UPDATE private SET salt = x'00'", "the private part of record 1 was altered"),
    ],
)
def test_an_altered_private_part_is_never_read(path: Path, change: str, words: str) -> None:
    """Who reads a record is told as well, not only who checks the whole store."""
    with Store(path, write=True) as store:
        store.append(entry())
    tamper(path, change)
    with Store(path) as store, pytest.raises(InputError, match=words):
        store.private(store.record(1))


@pytest.mark.parametrize(
    ("then", "now", "behind"),
    [
        ("2026-03-05T10:00:00+01:00", "2026-03-05T10:00:00+01:00", False),
        ("2026-03-05T10:00:00+01:00", "2026-03-05T09:00:00+00:00", False),
        ("2026-03-05T10:00:00+01:00", "2026-03-05T09:59:59+01:00", True),
        ("2026-03-05T10:00:00+01:00", "2026-03-05T10:00:00+00:00", False),
        ("2026-03-05T10:00:00+01:00", "yesterday", False),
    ],
)
def test_which_record_says_it_was_made_before_the_one_it_follows(
    then: str, now: str, behind: bool
) -> None:
    """By hand, across time zones: one second counts, none does not, and no time says nothing."""
    assert is_earlier({"made-at": now}, {"made-at": then}) is behind
    assert not is_earlier({"made-at": now}, None)
