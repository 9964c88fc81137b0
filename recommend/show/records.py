"""Records and the state of a store, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator

from recommend.errors import counted
from recommend.records.store import FORGOTTEN, Record, Store
from recommend.records.verify import Verdict


def list_lines(store: Store, limit: int) -> Iterator[str]:
    """The newest `limit` records, newest first, at most 80 columns."""
    total = len(store)
    yield f"{counted(total, 'record')} in {store.path}"
    yield f"{'No.':>6}  {'kept at':<25} {'hash':<12}  of"
    gone = store.forgotten()
    newest = list(store.records(max(1, total - limit + 1)))
    for record in reversed(newest):
        subject = _of(store, record, gone)
        yield f"{record.seq:>6}  {record.made_at:<25} {record.hash[:12]}  {subject}"


def _of(store: Store, record: Record, gone: dict[int, int]) -> str:
    if record.kind == FORGOTTEN:
        return f"declares {len(record.head['forgets'])} forgotten"
    if record.seq in gone:
        return f"(forgotten, see record {gone[record.seq]})"
    private = store.private(record) or {}
    return str(private.get("visit/reference", "(no reference)"))


def verdict_lines(verdict: Verdict, path: str) -> Iterator[str]:
    """What a check of a store found."""
    if not verdict.sound:
        yield f"DIFFERS: {verdict.differs}"
        yield "Restore the store from a copy, and verify the copy. Nothing was changed."
        return
    yield f"Sound: {counted(verdict.records, 'record')} in {path}"
    if verdict.forgotten:
        numbers = ", ".join(map(str, verdict.forgotten))
        yield f"Forgotten on request, as declared: {numbers}"
    if verdict.last:
        yield f"Last record: {verdict.last}"
        yield "Note it elsewhere: `store verify --expect HASH` then also finds a cut-off end."
