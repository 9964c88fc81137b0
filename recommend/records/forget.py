"""Forgetting a customer: their reference and free text go, the chain stays and says so."""

from __future__ import annotations

import time
from dataclasses import dataclass

from recommend.errors import InputError, Place
from recommend.records.database import failures
from recommend.records.store import FORGOTTEN, Entry, Record, Store, insert, prepare

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
        raise InputError(
            Place(str(store.path)),
            f"no record has the reference `{reference}`",
            mend="see `recommend store list`",
        )
    named = [{"seq": record.seq, "hash": record.hash} for record in records]
    declaration = prepare(Entry({}, {"forgets": named}, kind=FORGOTTEN))
    with store.writing() as db:
        declared = insert(db, declaration)
        for record in records:
            db.execute("INSERT INTO forgotten VALUES (?, ?)", (record.seq, declared.seq))
            db.execute("DELETE FROM private WHERE seq = ?", (record.seq,))
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
