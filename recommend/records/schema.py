"""Tables of the record store, and the triggers that make it append-only.

``record``     one row per record, in order: its head, and the SHA-256 of the head.
``body``       documents a head names by content hash (visit, rulebook, catalogue, outcome), once;
               `text` is compressed (zlib), `packed` the SHA-256 of the compressed bytes.
``private``    what may have to be forgotten, apart from the record; the head holds only the
               SHA-256 of a random salt and this text.
``forgotten``  which private parts are gone, and which record declares it.
"""

from __future__ import annotations

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
