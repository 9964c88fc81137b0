"""The SQLite file of a store: where it is, its tables, opening it, its failures as sentences.

The triggers make it append-only. The tables:

``record``     one row per record, in order: its head, and the SHA-256 of the head.
``body``       documents a head names by content hash (visit, rulebook, catalogue, outcome), once;
               `text` is compressed (zlib), `packed` the SHA-256 of the compressed bytes.
``private``    what may have to be forgotten, apart from the record; the head holds only the
               SHA-256 of a random salt and this text.
``forgotten``  which private parts are gone, and which record declares it.
"""

from __future__ import annotations

import os
import sqlite3
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from recommend.atomic import make_folder
from recommend.errors import InputError, Place
from recommend.reading.document import refuse_no_file
from recommend.settings import setting

SAID_SECONDS, BUSY_SECONDS = 1.0, 30.0  # until waiting for others is said, and given up
APPLICATION_ID = 0x52434D44  # tells our file from any other SQLite file
VERSION = 1

TABLES = """
CREATE TABLE body (
    hash TEXT NOT NULL PRIMARY KEY,
    packed TEXT NOT NULL,
    text BLOB NOT NULL
);
CREATE TABLE record (
    seq INTEGER PRIMARY KEY,
    hash TEXT NOT NULL UNIQUE,
    head BLOB NOT NULL
);
CREATE TABLE private (
    seq INTEGER PRIMARY KEY REFERENCES record (seq),
    salt BLOB NOT NULL,
    text BLOB NOT NULL
);
CREATE TABLE forgotten (
    seq INTEGER PRIMARY KEY REFERENCES record (seq),
    declared INTEGER NOT NULL REFERENCES record (seq)
);
"""

_REFUSALS = [
    (table, act) for table in ("body", "record", "forgotten") for act in ("UPDATE", "DELETE")
]
_REFUSALS.append(("private", "UPDATE"))


def trigger_statements() -> list[str]:
    """One trigger per way of altering what was written; private text may go once declared."""
    refused = [
        f"CREATE TRIGGER {table}_keeps_{act.lower()} BEFORE {act} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, 'records are never changed'); END"
        for table, act in _REFUSALS
    ]
    return [
        *refused,
        "CREATE TRIGGER private_keeps_delete BEFORE DELETE ON private "
        "WHEN NOT EXISTS (SELECT 1 FROM forgotten WHERE seq = OLD.seq) "
        "BEGIN SELECT RAISE(ABORT, 'forgetting is declared first'); END",
        "CREATE TRIGGER record_in_order BEFORE INSERT ON record "
        "WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM record) "
        "BEGIN SELECT RAISE(ABORT, 'records are numbered without gaps'); END",
    ]


_KEEP = "keep a first record with `recommend shortlist VISIT --keep`"


def store_path(given: Path | None = None) -> Path:
    """Where records live: `given`, else as the shop's settings say."""
    path: Path = setting("records", given).value
    return path


def connect(path: Path, *, write: bool) -> sqlite3.Connection:
    """Open the store at `path`; to write, make it when it is not there.

    Raises
    ------
    InputError
        If there is no store to read, or `path` is something else, or cannot be opened.
    """
    with failures(path):
        if not path.exists():
            if not write:
                raise InputError(
                    Place(str(path)),
                    "there is no record store here",
                    mend=f"{_KEEP}, or name another store with --store or RECOMMEND_STORE",
                )
        else:
            refuse_no_file(path, what="a record store")
        connection = _open_to_write(path) if write else _open_to_read(path)
        _check_kind(connection, path)
    return connection


@contextmanager
def failures(path: Path) -> Iterator[None]:
    """Turn what SQLite or the file system says into one sentence about the store."""
    try:
        yield
    except sqlite3.Error as error:
        raise InputError(Place(str(path)), f"the record store says: {error}", *_help(error)) from (
            error
        )
    except UnicodeDecodeError as error:  # a damaged name inside what SQLite has to say
        raise InputError(Place(str(path)), "the record store is damaged", *_DAMAGED) from error
    except OSError as error:
        raise InputError(Place(str(path)), f"cannot be used ({error.strerror})") from error


def begin_writing(connection: sqlite3.Connection, path: Path) -> None:
    """Begin a transaction that writes; that it waits for another program is said."""
    connection.execute(f"PRAGMA busy_timeout = {1000 * SAID_SECONDS:.0f}")
    try:
        connection.execute("BEGIN IMMEDIATE")
    except sqlite3.OperationalError as error:
        if "locked" not in str(error):
            raise
        print(f"Waiting for another program that writes {path} ...", file=sys.stderr)
        connection.execute(f"PRAGMA busy_timeout = {1000 * BUSY_SECONDS:.0f}")
        connection.execute("BEGIN IMMEDIATE")


def _help(error: sqlite3.Error) -> tuple[str, str]:
    text = str(error)
    if "locked" in text or "busy" in text:
        return "", "another program is writing; try again, nothing was lost"
    if "full" in text:
        return "", "make room on the disk; nothing that was confirmed is lost"
    if "not a database" in text:
        return "a record store", "name another file, or restore this one from a copy"
    if "malformed" in text:
        return _DAMAGED
    return "", ""


_DAMAGED = ("", "restore the file from a copy, or import an export into a new store")


def _open_to_write(path: Path) -> sqlite3.Connection:
    make_folder(path.parent, 0o700)
    if not path.exists():
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))  # a customer's data: ours alone
    connection = _configured(sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None))
    if connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        _check_kind(connection, path)  # before anything of another program's file is changed
    _use_wal(connection)
    # A confirmed record outlives a power cut, and a deleted one is overwritten, not only unlinked.
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA secure_delete = ON")
    _make_tables(connection, path)
    return connection


def _open_to_read(path: Path) -> sqlite3.Connection:
    address = f"{path.absolute().as_uri()}?mode=ro"  # on every platform, drives included
    if not os.access(path.parent, os.W_OK) and not path.with_name(path.name + "-wal").exists():
        address += "&immutable=1"  # a copy on a medium that cannot be written to
    connection = sqlite3.connect(address, timeout=BUSY_SECONDS, isolation_level=None, uri=True)
    return _configured(connection)


def _configured(connection: sqlite3.Connection) -> sqlite3.Connection:
    # A damaged byte must reach the check of the hashes, not end in a decoding error.
    connection.text_factory = lambda raw: raw.decode("utf-8", "backslashreplace")
    connection.execute("PRAGMA foreign_keys = ON")
    return connection


def _use_wal(connection: sqlite3.Connection) -> None:
    """Switch to write-ahead logging; SQLite does not wait by itself while another does the same."""
    until = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > until:
                raise
            time.sleep(0.005)
        else:
            return


def _make_tables(connection: sqlite3.Connection, path: Path) -> None:
    if connection.execute("PRAGMA application_id").fetchone()[0]:
        return
    begin_writing(connection, path)
    try:
        if not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            for statement in TABLES.split(";"):
                connection.execute(statement)
            for statement in trigger_statements():
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {VERSION}")
    finally:
        connection.execute("COMMIT")


def _check_kind(connection: sqlite3.Connection, path: Path) -> None:
    kind = connection.execute("PRAGMA application_id").fetchone()[0]
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if not kind and not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
        raise InputError(Place(str(path)), "the record store is still empty", mend=_KEEP)
    if kind != APPLICATION_ID:
        raise InputError(
            Place(str(path)), "this file is not a record store", mend="name another file"
        )
    if version != VERSION:
        raise InputError(
            Place(str(path)),
            f"the store has format {version}",
            f"format {VERSION}",
            "use the version of this tool that wrote it, export, and import here",
        )
