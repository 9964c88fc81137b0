"""Small invented records, much simplified, for the tests of the store alone."""

from __future__ import annotations

from recommend.records.store import ToRecord


def entry(reference: str = "A-1", value: float = 4.5, remarks: str = "likes red shoes") -> ToRecord:
    """One record: a visit, a rulebook, a catalogue and an outcome, much simplified."""
    visit = {"reference": reference, "remarks": remarks, "feet": {"left": {"angle": value}}}
    outcome = {"visit": {"reference": reference}, "types": ["plain", "plain"], "score": value / 7}
    documents = {
        "visit": visit,
        "rulebook": {"limits": {"angle": 4}},
        "catalogue": {"products": ["one", "two"]},
        "outcome": outcome,
    }
    return ToRecord(documents, {"summary": {"types": ["plain", "plain"]}})
