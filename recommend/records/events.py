"""What came of a kept visit: records of their own that name the one they follow.

Nothing of the first record changes: that something was sold, read out, handed over or brought
back is told by a later one, which bears the number and the hash of the first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from recommend.records.store import EVENT, Entry, Record, Store

REFERENCE = "reference"  # of the customer; kept apart, so that forgetting reaches events as well


def event(first: Record, reference: str, what: str, told: Mapping[str, Any], by: str = "") -> Entry:
    """What came of the record `first`, to be kept.

    Parameters
    ----------
    reference : the customer's code; '' of what belongs to no customer.
    what : in a word, such as ``sold``, ``read-out``, ``page`` or ``came-back``.
    told : plain data; free text in it stands under ``remark`` or ``text``.
    by : code of who did it, never a name.
    """
    facts = {"event": what, "of": {"seq": first.seq, "hash": first.hash}, "by": by}
    whose = {REFERENCE: reference} if reference else {}
    return Entry({"event": {**whose, **told}}, facts, kind=EVENT)


def events_of(store: Store, first: Record) -> Iterator[tuple[Record, dict[str, Any]]]:
    """What came of the record `first`, oldest first: the records, and what they tell."""
    for record in store.records(first.seq + 1):
        if record.kind == EVENT and record.head["of"]["hash"] == first.hash:
            yield record, {**store.body(record.bodies["event"]), **_private(store, record)}


def _private(store: Store, record: Record) -> dict[str, Any]:
    kept = store.private(record) or {}
    return {path.partition("/")[2]: value for path, value in kept.items()}
