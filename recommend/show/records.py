"""Records and the state of a store, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import Any

from recommend.errors import counted
from recommend.records.stamps import Stamp
from recommend.records.store import EVENT, FORGOTTEN, Record, Store
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
    if record.kind == EVENT:
        return f"{record.head['event']}, after record {record.head['of']['seq']}"
    if record.seq in gone:
        return f"(forgotten, see record {gone[record.seq]})"
    private = store.private(record) or {}
    return str(private.get("visit/reference", "(no reference)"))


@dataclass(frozen=True, slots=True)
class Kept:
    """What came of a record, and where its products' attributes came from."""

    came: Sequence[tuple[Record, Mapping[str, Any]]]
    origins: Mapping[str, Mapping[str, Any]]

    def lines(self, width: int) -> Iterator[str]:
        """The same in lines of at most `width`, as far as their words allow."""
        if self.came:
            yield "\nWhat came of it"
        for record, told in self.came:
            by = f" by {record.head['by']}" if record.head["by"] else ""
            head = f"{record.made_at[:16]}, record {record.seq}: {record.head['event']}{by}"
            words = [f"{key} {_plain(one)}" for key, one in told.items() if key not in _NOT_SAID]
            yield from wrap(f"- {'; '.join([head, *words])}", width, subsequent_indent="  ")
        if self.origins:
            yield "\nWhere the attributes of products stand"
        for name, one in self.origins.items():
            told = one if isinstance(one, Mapping) else {}
            day = told.get("as-of")
            dated = f", the maker's of {day}" if day else ", without a date"
            yield from wrap(f"- {name}: {told.get('place')}{dated}", width, subsequent_indent="  ")

    def data(self) -> dict[str, Any]:
        """The same as plain data."""
        events = [
            {"number": r.seq, "kept-at": r.made_at, "what": r.head["event"], "by": r.head["by"]}
            | {key: one for key, one in told.items() if key not in ("text", "token")}
            for r, told in self.came
        ]
        return {"came-of-it": events, "origins": dict(self.origins)}


_NOT_SAID = ("reference", "text", "token")  # known already, or not to be read by people


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "none"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {one}" for key, one in value.items())
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


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
    if verdict.behind:
        numbers = ", ".join(map(str, verdict.behind))
        yield f"The clock was behind: made before the record that they follow: {numbers}"
    if verdict.last:
        yield f"Last record: {verdict.last}"
        yield "Note it elsewhere: `store verify --expect HASH` then also finds a cut-off end."


def stamp_line(stamp: Stamp) -> str:
    """What a check of one time stamp found."""
    of = f"Time stamp {stamp.seq} of record {stamp.stamps}"
    if stamp.fault and stamp.checked:
        return f"DIFFERS: {of}: {stamp.fault}"
    clock = "; it says that it was made later: check the clock" if stamp.late else ""
    when = f" says it was there at {stamp.at}{clock}" if stamp.at else ""
    return f"{of}{when}{'; ' if when and stamp.fault else ''}{stamp.fault}"
