"""The record store: append-only, each record chained to the one before.

A record is its *head*: a small canonical JSON document that names the visit, rulebook, catalogue
and outcome by content hash, and the hash of the record before it. Changing anything in the past
therefore changes the hash of every record after it.
"""

from __future__ import annotations

import json
import secrets
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from recommend.errors import InputError, Place, nearest
from recommend.records.database import begin_writing, connect, failures
from recommend.records.documents import Private, canonical, pack, separate, sha256, unpack

FORMAT = 1
SALT_BYTES = 32
BEHIND = "behind"  # of the clock: a record says that it was made before the one it follows
SHORTEST_PREFIX = 6  # of a hash typed by hand
HASH_LENGTH = 64  # SHA-256 in hexadecimal
BY_PREFIX = "SELECT seq, hash, head FROM record WHERE hash >= ? AND hash < ? LIMIT 2"

SHORTLIST, FORGOTTEN, EVENT = "shortlist", "forgotten", "event"


@dataclass(frozen=True, slots=True)
class ToRecord:
    """What is to be recorded.

    Attributes
    ----------
    documents : the visit, rulebook, catalogue and outcome as plain JSON data; stored by content
        hash, so that a rulebook used a thousand times is kept once.
    facts : small plain data that stands in the head itself (summary, versions).
    made_at : local time in ISO 8601; now when empty.
    """

    documents: Mapping[str, Any]
    facts: Mapping[str, Any] = field(default_factory=dict)
    kind: str = SHORTLIST
    made_at: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """One record as it is stored; `hash` is the SHA-256 of `text`, which `head` is parsed from."""

    seq: int
    hash: str
    text: bytes
    head: dict[str, Any]

    @property
    def bodies(self) -> dict[str, str]:
        """Content hashes of the documents, by name."""
        return dict(self.head["bodies"])

    @property
    def kind(self) -> str:
        """``shortlist`` (a visit), ``event`` (what came of one) or ``forgotten``."""
        return str(self.head["kind"])

    @property
    def made_at(self) -> str:
        """When it was kept: local time in ISO 8601."""
        return str(self.head["made-at"])


class Store:
    """An open record store; use as a context manager.

    Parameters
    ----------
    path : the SQLite file; made when it is missing and `write` is asked for.
    write : open for appending. Several programs may write to one store at the same time.

    Raises
    ------
    InputError
        If the file is missing (reading), is not a record store, or cannot be used.
    """

    def __init__(self, path: Path, *, write: bool = False) -> None:
        self.path = path
        self.connection = connect(path, write=write)

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        tb: TracebackType | None,
    ) -> None:
        self.connection.close()

    def __len__(self) -> int:
        return int(self._rows("SELECT count(*) FROM record")[0][0])

    def _rows(self, query: str, *values: object) -> list[Any]:
        with failures(self.path):
            return self.connection.execute(query, values).fetchall()

    def _error(self, found: str, allowed: str = "", mend: str = "") -> InputError:
        return InputError(Place(str(self.path)), found, allowed, mend)

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: everything in it is confirmed together, or nothing is."""
        with failures(self.path):
            begin_writing(self.connection, self.path)
            try:
                yield self.connection
            except BaseException:
                self.connection.execute("ROLLBACK")
                raise
            self.connection.execute("COMMIT")

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """One consistent view, whatever others write meanwhile."""
        with failures(self.path):
            self.connection.execute("BEGIN")
            try:
                yield self.connection
            finally:
                self.connection.execute("ROLLBACK")

    def append(self, entry: ToRecord) -> Record:
        """Keep one record; when this returns, it is on the disk."""
        return self.append_all([entry])[0]

    def append_all(self, entries: Iterable[ToRecord]) -> list[Record]:
        """Keep several records in one transaction."""
        prepared = [prepare(entry) for entry in entries]
        with self.writing() as db:
            return [insert(db, one) for one in prepared]

    def records(self, first: int = 1) -> Iterator[Record]:
        """Every record in order, from number `first` on."""
        with failures(self.path):
            rows = self.connection.execute(
                "SELECT seq, hash, head FROM record WHERE seq >= ? ORDER BY seq", (first,)
            )
            for row in rows:
                yield _record(self.path, *row)

    def record(self, seq: int) -> Record:
        """The record with number `seq`."""
        for row in self._rows("SELECT seq, hash, head FROM record WHERE seq = ?", seq):
            return _record(self.path, *row)
        raise self._error(f"there is no record {seq}", mend=_LIST)

    def body(self, content: str) -> Any:
        """The document whose content hash is `content`.

        Raises
        ------
        InputError
            If it is missing or no longer has this hash.
        """
        rows = self._rows("SELECT text FROM body WHERE hash = ?", content)
        text = unpack(rows[0][0]) if rows else b""
        if sha256(text) != content:
            what = "was altered" if rows else "is missing"
            raise self._error(f"the document {content[:12]} {what}", mend=_VERIFY)
        return json.loads(text)

    def private(self, record: Record) -> Private | None:
        """What was kept apart for `record`; None when it was forgotten, or there was none."""
        for salt, text in self._rows("SELECT salt, text FROM private WHERE seq = ?", record.seq):
            if commitment(salt, text) != record.head["private"]:
                found = f"the private part of record {record.seq} was altered"
                raise self._error(found, mend=_VERIFY)
            return dict(json.loads(text))
        return None

    def forgotten(self) -> dict[int, int]:
        """Numbers of the records whose private part is gone, and of the records that say so."""
        found = dict(self._rows("SELECT seq, declared FROM forgotten ORDER BY seq"))
        if not all(isinstance(number, int) for number in found.values()):
            raise self._error("a declared gap was altered", mend=_VERIFY)
        return found

    def of_reference(self, reference: str) -> list[Record]:
        """Records of one customer's reference code, oldest first."""
        rows = self._rows(
            "SELECT DISTINCT r.seq, r.hash, r.head FROM record r JOIN private p USING (seq), "
            "json_each(p.text) e WHERE e.key LIKE '%/reference' AND e.value = ? ORDER BY r.seq",
            reference,
        )
        return [_record(self.path, *row) for row in rows]

    def find(self, name: str) -> Record:
        """The record a person means by `name`: the latest that `find_all` gives."""
        return self.find_all(name)[-1]

    def find_all(self, name: str) -> list[Record]:
        """The records a person means by `name`, oldest first.

        `name` is ``last`` (the newest record of a visit), a number (``#12`` or ``12``), the
        beginning of a record's hash, or a customer's reference code, which may stand for several
        records. A number that is also somebody's code is asked about, never guessed.

        Raises
        ------
        InputError
            If none fits, or several begin with the same hash; says which are near.
        """
        if name == "last":
            return [self._last()]
        number = name.removeprefix("#")
        numbered = number.isascii() and number.isdigit() and int(number) <= len(self)
        theirs = self.of_reference(name)
        if numbered and theirs:
            told = ", ".join(f"`#{record.seq}`" for record in theirs)
            raise self._error(
                f"`{name}` is the number of a record, and the reference code of a customer",
                mend=f"write `#{name}` for the record, or {told} for the customer's",
            )
        if numbered:
            return [self.record(int(number))]
        visits = [record for record in theirs if record.kind == SHORTLIST]
        return visits or theirs or [self._by_prefix(name)]

    def _last(self) -> Record:
        """The newest record of a visit: a declaration of forgetting explains nothing."""
        with failures(self.path):
            rows = self.connection.execute("SELECT seq, hash, head FROM record ORDER BY seq DESC")
            for row in rows:
                record = _record(self.path, *row)
                if record.kind == SHORTLIST:
                    return record
        raise self._error("there is no record of a visit", mend=_LIST)

    def _by_prefix(self, name: str) -> Record:
        wanted = name.lower()
        rows = self._rows(BY_PREFIX, *prefix_range(wanted)) if is_prefix(wanted) else []
        if len(rows) == 1:
            return _record(self.path, *rows[0])
        raise self._error(
            f"{'several records begin' if rows else 'no record is called'} "
            f"{'with ' if rows else ''}`{name}`",
            f"a number from 1 to {len(self)}, `last`, a customer's reference, or at least "
            f"{SHORTEST_PREFIX} characters of a record's hash",
            self._near(name),
        )

    def known_references(self) -> list[str]:
        """Reference codes of customers that the records are of."""
        rows = self._rows(
            "SELECT DISTINCT e.value FROM private p, json_each(p.text) e "
            "WHERE e.key LIKE '%/reference'"
        )
        return sorted(str(value) for (value,) in rows)

    def _near(self, name: str) -> str:
        if self.forgotten():
            return _LIST  # who looks for a forgotten customer must not be handed another one
        return nearest(name, self.known_references()) or _LIST


_LIST = "see `recommend store list`"
_VERIFY = "run `recommend store verify`, and restore the store from a copy"


@dataclass(frozen=True, slots=True)
class Prepared:
    """An entry made ready outside the transaction, so that the lock is held briefly."""

    head: dict[str, Any]
    bodies: dict[str, bytes]  # compressed, by content hash
    salt: bytes
    private: bytes


def prepare(entry: ToRecord) -> Prepared:
    """Everything about `entry` that does not depend on the records before it."""
    public, private = separate(entry.documents)
    texts = {name: canonical(value) for name, value in public.items()}
    hashes = {name: sha256(text) for name, text in texts.items()}
    salt, text = secrets.token_bytes(SALT_BYTES), canonical(private)
    head = {
        "format": FORMAT,
        "kind": entry.kind,
        "made-at": entry.made_at or datetime.now().astimezone().isoformat(timespec="seconds"),
        "bodies": hashes,
        "private": commitment(salt, text) if private else None,
        **entry.facts,
    }
    bodies = {hashes[name]: pack(text) for name, text in texts.items()}
    return Prepared(head, bodies, salt, text if private else b"")


def insert(db: sqlite3.Connection, one: Prepared) -> Record:
    """Chain `one` to the last record, inside a transaction of `Store.writing`."""
    last = db.execute("SELECT seq, hash, head FROM record ORDER BY seq DESC LIMIT 1").fetchone()
    seq, previous = (last[0] + 1, last[1]) if last else (1, None)
    head = {**one.head, "seq": seq, "previous": previous}
    if last and is_earlier(head, parse_head(last[2])):
        head["clock"] = BEHIND
    text = canonical(head)
    record = Record(seq, sha256(text), text, head)
    for content, body in one.bodies.items():
        put_body(db, content, body)
    put_record(db, seq, record.hash, text)
    if one.private:
        put_private(db, seq, one.salt, one.private)
    return record


def put_record(db: sqlite3.Connection, seq: int, content: str, text: bytes) -> None:
    """Keep the text of a record under its number and hash."""
    db.execute("INSERT INTO record VALUES (?, ?, ?)", (seq, content, text))


def put_private(db: sqlite3.Connection, seq: int, salt: bytes, text: bytes) -> None:
    """Keep the private part of a record apart."""
    db.execute("INSERT INTO private VALUES (?, ?, ?)", (seq, salt, text))


def take_away(db: sqlite3.Connection, seq: int, declared: int) -> None:
    """Delete the private part of a record, which the record `declared` tells of."""
    db.execute("INSERT INTO forgotten VALUES (?, ?)", (seq, declared))
    db.execute("DELETE FROM private WHERE seq = ?", (seq,))


def stands(db: sqlite3.Connection, named: Mapping[str, Any]) -> bool:
    """Whether the record that another names, by number and hash, is there."""
    row = db.execute("SELECT hash FROM record WHERE seq = ?", (named["seq"],)).fetchone()
    return row is not None and row[0] == named["hash"]


def is_earlier(head: Mapping[str, Any], before: Mapping[str, Any] | None) -> bool:
    """Whether a record says that it was made before the one that it follows.

    Whole seconds are compared, by which records of one moment may be written.
    """
    times = (_moment(head), _moment(before or {}))
    return None not in times and times[0] < times[1]  # type: ignore[operator]


def _moment(head: Mapping[str, Any]) -> float | None:
    try:
        return datetime.fromisoformat(head["made-at"]).timestamp()
    except (KeyError, TypeError, ValueError, OverflowError):
        return None


def put_body(db: sqlite3.Connection, content: str, packed: bytes) -> None:
    """Keep a compressed document under its content hash, if it is not there."""
    db.execute("INSERT OR IGNORE INTO body VALUES (?, ?, ?)", (content, sha256(packed), packed))


def is_prefix(text: str) -> bool:
    """Whether `text`, in small letters, can be the beginning of a record's hash."""
    return SHORTEST_PREFIX <= len(text) <= HASH_LENGTH and set(text) <= set("0123456789abcdef")


def prefix_range(prefix: str) -> tuple[str, str]:
    """Between which texts every hash lies that begins with `prefix`; for `BY_PREFIX`."""
    return prefix, prefix + "g"


def commitment(salt: object, text: object) -> str:
    """What a head says of its private part: SHA-256 of the salt and the text after it.

    A damaged file may hold something else than bytes in their place; its hash is ''.
    """
    if not isinstance(salt, bytes) or not isinstance(text, bytes):
        return ""
    return sha256(salt + text)


def parse_head(text: object) -> dict[str, Any] | None:
    """The head in `text`, or None if it is not one."""
    try:
        head = json.loads(text) if isinstance(text, bytes) else None
    except (ValueError, RecursionError):
        return None
    return head if isinstance(head, dict) and _is_head(head) else None


def _is_head(head: dict[str, Any]) -> bool:
    kinds = {"seq": int, "kind": str, "made-at": str, "bodies": dict, "format": int}
    if not all(isinstance(head.get(key), kind) for key, kind in kinds.items()):
        return False
    if not all(isinstance(head.get(key, 0), str | None) for key in ("previous", "private")):
        return False
    named = head.get("forgets", [])
    return (
        all(isinstance(content, str) for content in head["bodies"].values())
        and isinstance(named, list)
        and all(_is_named(one) for one in named)
        and (head["kind"] == FORGOTTEN) == ("forgets" in head)
        and (head["kind"] == EVENT) == ("of" in head)
        and _is_named(head.get("of", _NAMED))
    )


_NAMED = {"seq": 1, "hash": ""}  # how one record names another


def _is_named(one: object) -> bool:
    return (
        isinstance(one, dict)
        and one.keys() == _NAMED.keys()
        and all(isinstance(one[key], type(known)) for key, known in _NAMED.items())
    )


def _record(path: Path, seq: int, content: object, text: object) -> Record:
    head = parse_head(text)
    if head is None or not isinstance(text, bytes) or not isinstance(content, str):
        raise InputError(Place(str(path)), f"record {seq} cannot be read", mend=_VERIFY)
    return Record(seq, content, text, head)


PATIENCE_SECONDS = 5.0  # for programs that still read the log that is to be emptied


@dataclass(frozen=True, slots=True)
class Forgetting:
    """What was forgotten.

    Attributes
    ----------
    records : numbers of the records whose private part is gone.
    declared : the record of the chain that says so.
    log_emptied : whether the write-ahead log, too, no longer holds the text; if not, another
        program was reading, and the log is emptied when it next stops.
    """

    records: tuple[int, ...]
    declared: Record
    log_emptied: bool


def forget(store: Store, reference: str) -> Forgetting:
    """Delete the private parts of every record of `reference`.

    The declaration is a record of the chain itself: it names the numbers and hashes of the
    records that lost their private part, not the customer. The text is overwritten in the file
    and in the write-ahead log. Copies and exports made earlier are not reached.

    Raises
    ------
    InputError
        If no record has this reference.
    """
    records = store.of_reference(reference)
    if not records:
        found = f"no record has the reference `{reference}`"
        raise InputError(Place(str(store.path)), found, mend=_LIST)
    named = [{"seq": record.seq, "hash": record.hash} for record in records]
    declaration = prepare(ToRecord({}, {"forgets": named}, kind=FORGOTTEN))
    with store.writing() as db:
        declared = insert(db, declaration)
        for record in records:
            take_away(db, record.seq, declared.seq)
    return Forgetting(tuple(r.seq for r in records), declared, _empty_log(store))


def _empty_log(store: Store) -> bool:
    """Fold the write-ahead log into the file: until then its old pages stay readable."""
    until = time.monotonic() + PATIENCE_SECONDS
    with failures(store.path):
        while True:
            busy = store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
            if not busy or time.monotonic() > until:
                return not busy
            time.sleep(0.05)
