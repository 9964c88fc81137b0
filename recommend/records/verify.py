"""Checking a store from end to end: every hash, every link, every declared gap, and its end.

A chain of hashes shows that nothing inside it was changed, not that its end is still there. So the
last hash of each day is put where the shop chooses: a witness is a file elsewhere (a stick, another
computer's folder, the draft of a mail that is sent each evening) with one line a day: the day, the
number of its last record, its hash.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from recommend.atomic import held, write_atomically
from recommend.errors import InputError, Place, RecommendError
from recommend.reading.document import read_text
from recommend.records.database import TABLES, trigger_statements
from recommend.records.documents import canonical, sha256, unpack
from recommend.records.store import (
    BY_PREFIX,
    EVENT,
    FORGOTTEN,
    HASH_LENGTH,
    SHORTEST_PREFIX,
    Record,
    Store,
    commitment,
    is_earlier,
    is_prefix,
    parse_head,
    prefix_range,
    stands,
)


@dataclass(frozen=True, slots=True)
class StoreVerdict:
    """What a check of a store found.

    Attributes
    ----------
    records : how many records there are.
    last : hash of the last one; note it down elsewhere, and `expect` it next time.
    forgotten : numbers of the records whose private part is gone, as declared.
    differs : the first thing that differs, as a sentence; '' when all is well.
    behind : numbers of records that say they were made before the one they follow: the clock.
    """

    records: int
    last: str
    forgotten: tuple[int, ...]
    differs: str
    behind: tuple[int, ...] = ()

    @property
    def sound(self) -> bool:
        """Whether nothing differs."""
        return not self.differs


def verify(store: Store, *expect: str) -> StoreVerdict:
    """Check the chain and every hash of `store`, in the order of the records.

    Parameters
    ----------
    expect : hashes of records noted earlier, or their beginnings, with blanks as they were
        printed. A chain proves that nothing inside it was changed, not that nothing was cut off
        its end or that all of it was not written anew; a hash kept elsewhere does.

    Raises
    ------
    RecommendError
        If one of them is no beginning of a hash, or of several records.
    """
    records, last, gone, differs = 0, "", (), ""
    behind: list[int] = []
    expected = [_typed(one) for one in expect]
    try:
        with store.reading() as db:
            differs = next(_differences(db, expected, behind), "")
            records, last = _extent(db)
            gone = tuple(row[0] for row in db.execute("SELECT seq FROM forgotten ORDER BY seq"))
    except InputError as error:
        differs = differs or f"the file itself is damaged: {error.found}"
    return StoreVerdict(records, last, gone, differs, tuple(behind))


def _typed(expect: str) -> str:
    text = "".join(expect.split()).lower()
    if not is_prefix(text):
        raise RecommendError(
            f"`{expect}` is not the hash of a record; write {SHORTEST_PREFIX} to {HASH_LENGTH} "
            "characters of it, 0 to 9 and a to f, as `store list` or `store verify` prints it"
        )
    return text


def _extent(db: sqlite3.Connection) -> tuple[int, str]:
    count = db.execute("SELECT count(*) FROM record").fetchone()[0]
    last = db.execute("SELECT hash FROM record ORDER BY seq DESC LIMIT 1").fetchone()
    return int(count), str(last[0]) if last else ""


def _differences(
    db: sqlite3.Connection, expected: Sequence[str], behind: list[int]
) -> Iterator[str]:
    yield from _of_tables(db)
    yield from _of_chain(db, behind)
    yield from _of_strays(db)
    yield from _of_file(db)
    for one in expected:
        yield from _of_expected(db, one)


def _of_expected(db: sqlite3.Connection, expect: str) -> Iterator[str]:
    found = db.execute(BY_PREFIX, prefix_range(expect)).fetchall()
    if not found:
        yield f"no record has the expected hash {expect}: records were cut off or written anew"
    if len(found) > 1:
        raise RecommendError(f"several records begin with `{expect}`; write more of the hash")


def _of_tables(db: sqlite3.Connection) -> Iterator[str]:
    """Whether the tables and the triggers that guard them are the ones a store is made with."""
    with closing(sqlite3.connect(":memory:")) as fresh:
        fresh.executescript(TABLES + ";".join(trigger_statements()))
        expected = fresh.execute(_STATEMENTS).fetchall()
    found = db.execute(_STATEMENTS).fetchall()
    for name, statement in expected:
        if (name, statement) not in found:
            yield f"the table or guard `{name}` of the file was altered"
    for name, statement in found:
        if (name, statement) not in expected:
            yield f"the file holds `{name}`, which does not belong there"


_STATEMENTS = "SELECT name, sql FROM sqlite_master ORDER BY name"

_ROWS = (
    "SELECT r.seq, r.hash, r.head, p.salt, p.text, f.declared FROM record r "
    "LEFT JOIN private p USING (seq) LEFT JOIN forgotten f USING (seq) ORDER BY r.seq"
)


def _of_chain(db: sqlite3.Connection, behind: list[int]) -> Iterator[str]:
    previous: str | None = None
    before: dict[str, Any] | None = None
    checked: set[str] = set()  # bodies found sound; a rulebook is hashed once, not per record
    declared: dict[int, int] = {}
    said: dict[int, int] = {}
    for number, (seq, content, text, salt, private, gap) in enumerate(db.execute(_ROWS), start=1):
        if seq != number:
            yield f"record {number} is missing: the next one is {seq}"
        yield from _of_head(seq, content, text, previous)
        head = parse_head(text)
        if head is None:
            yield f"record {seq}: it is not complete"
            return
        yield from _of_bodies(db, seq, head, checked)
        yield from _of_private(seq, head["private"], (salt, private), gap)
        yield from _of_forgetting(db, seq, head, declared)
        yield from _of_event(db, seq, head)
        if is_earlier(head, before):
            behind.append(seq)
        previous, before = content, head
        if gap is not None:
            said[seq] = gap
    for seq in sorted(said.keys() | declared.keys()):
        if said.get(seq) != declared.get(seq):
            yield f"record {seq}: its gap is not declared by the record that should"


def _of_head(seq: int, content: str, text: object, previous: str | None) -> Iterator[str]:
    if not isinstance(text, bytes) or sha256(text) != content:
        yield f"record {seq}: its text does not have the hash {str(content)[:12]} it was kept under"
        return
    head = parse_head(text)
    if head is None or canonical(head) != text:
        yield f"record {seq}: its text is not a record in canonical JSON"
    elif head["previous"] != previous:
        yield f"record {seq}: it is not chained to the record before it"
    elif head["seq"] != seq:
        yield f"record {seq}: it says that it is record {head['seq']}"


def _of_bodies(
    db: sqlite3.Connection, seq: int, head: dict[str, Any], checked: set[str]
) -> Iterator[str]:
    for name, content in head["bodies"].items():
        if content in checked:
            continue
        row = db.execute("SELECT packed, text FROM body WHERE hash = ?", (content,)).fetchone()
        if row is None:
            yield f"record {seq}: its document `{name}` ({content[:12]}) is missing"
        elif not isinstance(row[1], bytes) or sha256(row[1]) != row[0]:
            yield f"record {seq}: its document `{name}` is not stored as it was written"
        elif sha256(unpack(row[1])) != content:
            yield f"record {seq}: its document `{name}` does not have the hash {content[:12]}"
        checked.add(content)


def _of_forgetting(
    db: sqlite3.Connection, seq: int, head: dict[str, Any], declared: dict[int, int]
) -> Iterator[str]:
    if head["kind"] != FORGOTTEN:
        return
    for named in head["forgets"]:
        if not stands(db, named):
            yield f"record {seq}: it declares a gap in a record that is not there"
        declared.setdefault(named["seq"], seq)


def _of_event(db: sqlite3.Connection, seq: int, head: dict[str, Any]) -> Iterator[str]:
    if head["kind"] != EVENT:
        return
    if not stands(db, head["of"]) or head["of"]["seq"] >= seq:
        yield f"record {seq}: it tells what came of a record that is not there before it"


def _of_private(
    seq: int, promised: str | None, kept: tuple[object, object], gap: int | None
) -> Iterator[str]:
    there = kept != (None, None)
    if promised is None and there:
        yield f"record {seq}: it has a private part that it does not know of"
    elif promised is not None and not there and gap is None:
        yield f"record {seq}: its private part is missing, and no record declares it forgotten"
    elif there and gap is not None:
        yield f"record {seq}: its private part is declared forgotten, but it is there"
    elif there and commitment(*kept) != promised:
        yield f"record {seq}: its private part does not have the hash the record names"


def _of_strays(db: sqlite3.Connection) -> Iterator[str]:
    """Rows that hang on no record."""
    named: set[str] = set()
    for (text,) in db.execute("SELECT head FROM record"):
        head = parse_head(text)
        named.update(head["bodies"].values() if head else ())
    for (content,) in db.execute("SELECT hash FROM body ORDER BY hash"):
        if content not in named:
            yield f"the document {str(content)[:12]} belongs to no record"
    for table in ("private", "forgotten"):
        query = f"SELECT seq FROM {table} WHERE seq NOT IN (SELECT seq FROM record) ORDER BY seq"
        for (seq,) in db.execute(query):
            yield f"a row of `{table}` belongs to record {seq}, which is not there"


def _of_file(db: sqlite3.Connection) -> Iterator[str]:
    for (line,) in db.execute("PRAGMA integrity_check(1)"):
        if line != "ok":
            yield f"the file itself is damaged: {line}"


_LINE = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2}) +([0-9]{1,12}) +([0-9a-f]{6,64})", re.IGNORECASE)
_DAY = re.compile(r"\s*[0-9]{4}-[0-9]{2}-[0-9]{2}\b")
_MAIL = "Subject: Last record of each day\nX-Unsent: 1\nContent-Type: text/plain\n\n"
_PRINTED = 24  # characters: 96 bits, which nobody makes another record for
_HEAD = "# Last record of each day: day, number, SHA-256. `recommend store verify` checks them.\n"


@dataclass(frozen=True, slots=True)
class Said:
    """What a witness says of a day; `hash` may be its beginning, as somebody typed it."""

    day: str
    seq: int
    hash: str
    place: Place


def tell(path: Path, last: Record) -> None:
    """Make the line of the day of the record `last` say its number and hash.

    Raises
    ------
    InputError
        If the file cannot be written, or is no witness.
    """
    day = last.made_at[:10]
    with held(path):
        text = _text(path)
        lines = [line for line in text.splitlines() if not line.startswith(f"{day} ")]
        lines.append(f"{day} {last.seq} {last.hash}")
        write_atomically(path, "\n".join(lines) + "\n")


def _text(path: Path) -> str:
    if not path.exists():
        return _MAIL if path.suffix.lower() == ".eml" else _HEAD
    text = read_text(path)
    if text and not (text.startswith((_HEAD, _MAIL)) or any(map(_DAY.match, text.splitlines()))):
        raise InputError(Place(str(path)), "this file is no witness", "a new file, or an old one")
    return text


def printed(last: Record) -> str:
    """The beginning of a record's hash as it is printed on a page, in groups to read out."""
    return " ".join(last.hash[at : at + 4] for at in range(0, _PRINTED, 4))


def said(path: Path) -> Iterator[Said]:
    """Every line of a witness; what is no day's line may stand around them, as in a mail.

    Raises
    ------
    InputError
        If it cannot be read, tells of no day, or a day's line is not as it was written.
    """
    told = False
    for number, line in enumerate(read_text(path).splitlines(), 1):
        if _DAY.match(line):
            found, told = _LINE.fullmatch(line.strip()), True
            if found is None:
                raise InputError(
                    Place(str(path), number),
                    f"`{line.strip()[:60]}` is not a day, the number of its last record, its hash",
                    "2026-03-05 17 9f86d081884c, with 6 to 64 characters of the hash",
                )
            yield Said(found[1], int(found[2]), found[3].lower(), Place(str(path), number))
    if not told:
        raise InputError(Place(str(path)), "this witness tells of no day")


def missing(store: Store, everything: Iterable[Said]) -> Iterator[str]:
    """What witnesses say and the store does not hold, as sentences."""
    hashes = {record.seq: record.hash for record in store.records()}
    for one in everything:
        there = hashes.get(one.seq)
        if there is None or not there.startswith(one.hash):
            how = "is not there: the end was cut off" if there is None else "is another one"
            yield f"{one.place}: record {one.seq} of {one.day} {how}"
