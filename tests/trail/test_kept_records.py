"""Records that an earlier version wrote are derived again as they were.

`kept/rules-1.1.0.jsonl.gz` is the export of a store in which version 0.2.0 kept the demo visits,
a trial and a visit with captures, all of them invented, under the rulebook 1.1.0.
"""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from recommend.records.keeping import Archive
from recommend.records.replay import Replayer
from recommend.records.store import Store
from recommend.records.transfer import import_lines
from recommend.records.verify import verify

KEPT = Path(__file__).parent / "kept" / "rules-1.1.0.jsonl.gz"


@pytest.fixture
def earlier(path: Path) -> Path:
    """The store of the earlier version."""
    with Store(path, write=True) as store:
        import_lines(store, gzip.decompress(KEPT.read_bytes()).splitlines(), str(KEPT))
    return path


def test_records_of_an_earlier_version_replay_under_their_own_rules(earlier: Path) -> None:
    """What was kept then is derived again byte for byte, by its own rules and definitions."""
    with Store(earlier) as store:
        replayer = Replayer(Archive(store))
        replayed = [replayer.replay(record) for record in store.records()]
        assert verify(store).sound
    assert len(replayed) == 15
    assert {one.record.seq: one.differences for one in replayed if not one.identical} == {}
