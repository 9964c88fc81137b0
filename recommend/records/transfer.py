"""A store as JSON Lines and back: order, text and hashes kept.

The first line names the format. Then, for each record in order, the documents it is the first
to name, and the record with its private part (or, when that was forgotten, without). Each line
is canonical JSON.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from sqlite3 import Connection
from typing import Any, BinaryIO, NoReturn

from recommend.errors import InputError, Place, RecommendError
from recommend.reading.document import MAX_BYTES, refuse_no_file
from recommend.records.database import failures
from recommend.records.documents import canonical, pack, sha256, unpack
from recommend.records.store import (
    FORGOTTEN,
    Store,
    commitment,
    parse_head,
    put_body,
    put_private,
    put_record,
    stands,
    take_away,
)

MAX_LINE = 10 * MAX_BYTES  # a guard of memory: a rulebook or catalogue is one line
HEADING = {"format": "recommend-records", "version": 1}


def export(store: Store) -> Iterator[bytes]:
    """The lines of `store`, without line ends; records kept meanwhile are left for next time."""
    yield canonical(HEADING)
    written: set[str] = set()
    with store.reading() as db:
        rows = db.execute(
            "SELECT r.hash, r.head, p.salt, p.text FROM record r LEFT JOIN private p USING (seq) "
            "ORDER BY r.seq"
        )
        for content, text, salt, private in rows:
            head = parse_head(text) or _damaged(store)
            yield from _bodies(db, head, written, store)
            line: dict[str, Any] = {"record": content, "head": head}
            if (salt, private) != (None, None):
                line["salt"] = salt.hex() if isinstance(salt, bytes) else _damaged(store)
                line["private"] = _read(private, store)
            yield canonical(line)


def _read(text: object, store: Store) -> Any:
    """What a text of the store holds; damaged, it is not exported as if it were whole."""
    try:
        return json.loads(text) if isinstance(text, bytes) else _damaged(store)
    except (ValueError, RecursionError):
        _damaged(store)


def _damaged(store: Store) -> NoReturn:
    raise InputError(
        Place(str(store.path)), "the record store is damaged", mend="run `recommend store verify`"
    )


def _bodies(
    db: Connection, head: dict[str, Any], written: set[str], store: Store
) -> Iterator[bytes]:
    for _, content in sorted(head["bodies"].items()):
        if content not in written:
            written.add(content)
            row = db.execute("SELECT text FROM body WHERE hash = ?", (content,)).fetchone()
            if row is not None:
                yield canonical({"body": content, "text": _read(unpack(row[0]), store)})


@dataclass(frozen=True, slots=True)
class Transferred:
    """How many records were new, and how many were there already."""

    added: int
    present: int


def import_file(path: Path, file: Path) -> Transferred:
    """`import_lines` of `file` into the store at `path`; one that had to be made is not left empty.

    Raises
    ------
    InputError
        As `import_lines` does.
    """
    refuse_no_file(file)
    with failures(file):
        there, stream = path.exists(), file.open("rb")
    try:
        with stream, Store(path, write=True) as store:
            return import_lines(store, _lines(stream), str(file))
    except BaseException:
        if not there and path.exists():
            _remove_empty(path)
        raise


def _lines(stream: BinaryIO) -> Iterator[bytes]:
    """The lines of a file; of one that is longer than is read, its beginning."""
    while line := stream.readline(MAX_LINE + 1):
        yield line
        if len(line) > MAX_LINE:
            return


def _remove_empty(path: Path) -> None:
    """Take away a store that holds nothing; what another program kept meanwhile stays."""
    with Store(path) as store:
        empty = not len(store)
    for one in (path, *(path.with_name(path.name + end) for end in ("-wal", "-shm"))):
        if empty:
            one.unlink(missing_ok=True)


def import_lines(store: Store, lines: Iterable[bytes], file: str) -> Transferred:
    """Append what `lines` hold beyond the records already in `store`; all of it or nothing.

    Raises
    ------
    InputError
        With the line: if it is not what `export` writes, a hash does not fit, or its records are
        not a continuation of those in the store.
    """
    with store.writing() as db:
        reader = _Reader(db, file)
        for number, line in enumerate(lines, start=1):
            reader.line(number, line)
        reader.finish()
        return Transferred(reader.added, reader.present)


class _Reader:
    """Checks one line after the other and puts it into the store."""

    def __init__(self, db: Connection, file: str) -> None:
        self.db, self.file = db, file
        self.number = self.seq = self.added = self.present = 0
        self.previous: str | None = None
        self.open_gaps: dict[int, int] = {}  # records without private part, and their line

    def line(self, number: int, raw: bytes) -> None:
        self.number = number
        data = self._parsed(raw)
        if number == 1:
            self._heading(data)
        elif data.keys() == {"body", "text"}:
            self._body(data)
        elif {"record", "head"} <= data.keys() <= {"record", "head", "salt", "private"}:
            self._record(data)
        else:
            self._refuse("the line is neither a document nor a record")

    def _heading(self, data: dict[str, Any]) -> None:
        if data.keys() == HEADING.keys() and data["format"] == HEADING["format"]:
            if data != HEADING:
                self._refuse(
                    f"exports of version `{data['version']}` are not known to this program",
                    f"version {HEADING['version']}",
                    "import it with the program that wrote it, or a newer one",
                )
        else:
            self._refuse("this is not an export of records", "a file from `store export`")

    def finish(self) -> None:
        if not self.number:
            self.number = 1
            self._refuse("the file is empty", "a file from `store export`")
        for seq, line in self.open_gaps.items():
            self.number = line
            self._refuse(f"record {seq} lacks its private part, and no record declares the gap")

    def _parsed(self, raw: bytes) -> dict[str, Any]:
        if len(raw) > MAX_LINE:
            self._refuse("the line is too long")
        try:
            data = json.loads(raw)
            text = canonical(data)
        except (ValueError, RecursionError, RecommendError):
            self._refuse("the line is not JSON")
        if not isinstance(data, dict) or text != raw.rstrip(b"\r\n"):
            self._refuse("the line was altered: it is not canonical JSON")
        return data

    def _body(self, data: dict[str, Any]) -> None:
        text = canonical(data["text"])
        if sha256(text) != data["body"]:
            self._refuse(f"the document does not have the hash {str(data['body'])[:12]}")
        put_body(self.db, data["body"], pack(text))

    def _record(self, data: dict[str, Any]) -> None:
        text = canonical(data["head"])
        head = parse_head(text)
        self.seq += 1
        if head is None:
            self._refuse(f"record {self.seq} is not complete")
        if sha256(text) != data["record"]:
            self._refuse(f"record {self.seq} does not have the hash {str(data['record'])[:12]}")
        if head["seq"] != self.seq or head["previous"] != self.previous:
            self._refuse(f"record {self.seq} is not chained to the record before it")
        self.previous = data["record"]
        there = self.db.execute("SELECT hash FROM record WHERE seq = ?", (self.seq,)).fetchone()
        if there is None:
            self._add(data, text)
        elif there[0] == data["record"]:
            self.present += 1
        else:
            self._refuse(
                f"record {self.seq} is another one than record {self.seq} of the store",
                "an export of this store, or of one it was the beginning of",
                "import it into a new store: two chains cannot become one",
            )

    def _add(self, data: dict[str, Any], text: bytes) -> None:
        head = data["head"]
        for named in [*head.get("forgets", ()), *([head["of"]] if "of" in head else ())]:
            if not stands(self.db, named):
                self._refuse(f"record {self.seq} tells of a record that does not stand before it")
        for name, content in head["bodies"].items():
            if not self.db.execute("SELECT 1 FROM body WHERE hash = ?", (content,)).fetchone():
                self._refuse(f"the document `{name}` of record {self.seq} does not stand before it")
        put_record(self.db, self.seq, data["record"], text)
        self.added += 1
        if "salt" in data or "private" in data:
            self._private(data)
        elif head["private"] is not None:
            self.open_gaps[self.seq] = self.number
        if head["kind"] == FORGOTTEN:
            self._declare(head)

    def _private(self, data: dict[str, Any]) -> None:
        try:
            salt = bytes.fromhex(data["salt"])
        except (KeyError, TypeError, ValueError):
            salt = b""
        if not salt or salt.hex() != data["salt"]:  # one spelling only: nothing may be altered
            self._refuse(f"the salt of record {self.seq} is missing or not hexadecimal")
        text = canonical(data.get("private"))
        if commitment(salt, text) != data["head"]["private"]:
            self._refuse(f"the private part of record {self.seq} does not have the hash it names")
        put_private(self.db, self.seq, salt, text)

    def _declare(self, head: dict[str, Any]) -> None:
        for named in head["forgets"]:
            self.open_gaps.pop(named["seq"], None)
            take_away(self.db, named["seq"], self.seq)

    def _refuse(self, found: str, allowed: str = "", mend: str = "") -> NoReturn:
        raise InputError(
            Place(self.file, self.number), found, allowed, mend or "nothing was imported"
        )
