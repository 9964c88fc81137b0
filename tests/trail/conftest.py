"""Small invented records for the tests of the store."""

from __future__ import annotations

from pathlib import Path

import pytest

from recommend.trail.store import Entry, Store


def entry(reference: str = "A-1", value: float = 4.5, remarks: str = "likes red shoes") -> Entry:
    """One record: a visit, a rulebook, a catalogue and an outcome, much simplified."""
    visit = {"reference": reference, "remarks": remarks, "feet": {"left": {"angle": value}}}
    outcome = {"reference": reference, "types": ["plain", "plain"], "score": value / 7}
    documents = {
        "visit": visit,
        "rulebook": {"limits": {"angle": 4}},
        "catalogue": {"products": ["one", "two"]},
        "outcome": outcome,
    }
    return Entry(documents, {"summary": {"types": ["plain", "plain"]}})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a store may be made."""
    return tmp_path / "records.sqlite"


@pytest.fixture
def filled(path: Path) -> Path:
    """A store of five records, the third of them forgotten."""
    from recommend.trail.forget import forget

    with Store(path, write=True) as store:
        for number in range(1, 5):
            store.append(entry(f"A-{number}", number + 0.5))
        forget(store, "A-3")
    return path
