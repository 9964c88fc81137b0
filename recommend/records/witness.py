"""The last hash of each day, put where the shop chooses, so that a cut-off end is found.

A chain of hashes shows that nothing inside it was changed, not that its end is still there. A
witness is a file elsewhere (a stick, another computer's folder, the draft of a mail that is sent
each evening) with one line a day: the day, the number of its last record, its hash.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from recommend.atomic import held, write_atomically
from recommend.errors import InputError, Place
from recommend.reading.document import read_text
from recommend.records.store import Record, Store

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
