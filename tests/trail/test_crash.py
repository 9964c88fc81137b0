"""A store outlives the death of its writers and a power cut."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from recommend.records.store import Store
from recommend.records.verify import verify
from tests.trail.entries import entry

KILLS = 320


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this platform cannot fork a writer")
def test_killed_writers_lose_nothing_that_was_confirmed(path: Path) -> None:
    """After 320 writers killed at random moments the store verifies and holds every record."""
    run = subprocess.run(
        [sys.executable, "-m", "tests.trail.kill_writers", str(path), str(KILLS), "7"],
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(run.stdout)
    with Store(path, write=True) as store:
        kept = [record.hash for record in store.records()]
        assert verify(store).sound
        assert set(told["confirmed"]) <= set(kept)
        # at most the one record each writer had begun is there without having been confirmed
        assert len(kept) - len(told["confirmed"]) <= KILLS
        store.append(entry())
        assert verify(store).sound
    # the kills must have hit the work, or this test shows nothing
    assert told["within"] >= KILLS // 4
    assert len(told["confirmed"]) >= KILLS // 4


def test_a_log_cut_anywhere_leaves_a_sound_beginning(path: Path, tmp_path: Path) -> None:
    """A write-ahead log that a power cut ended anywhere gives a store that is a sound prefix."""
    chance = random.Random(11)
    hashes = []
    with Store(path, write=True) as store:
        for i in range(12):
            hashes.append(store.append(entry(f"P-{i}", i + 0.5)).hash)
        log = path.with_name(path.name + "-wal").read_bytes()
        main = path.read_bytes()
    lengths = set()
    for number in range(60):
        copy = tmp_path / f"cut-{number}.sqlite"
        copy.write_bytes(main)
        copy.with_name(copy.name + "-wal").write_bytes(log[: chance.randrange(len(log) + 1)])
        lengths.add(check_prefix(copy, hashes))
    assert len(lengths) > 3  # the cuts fell between different records


def check_prefix(copy: Path, hashes: list[str]) -> int:
    """The number of records of `copy`, which must be the first ones of `hashes`."""
    with Store(copy, write=True) as store:
        kept = [record.hash for record in store.records()]
        assert verify(store).sound
        assert kept == hashes[: len(kept)]
        return len(kept)


def test_a_full_disk_is_a_sentence_and_loses_nothing(path: Path) -> None:
    """When the file may not grow, keeping fails with a sentence and the store stays sound."""
    from recommend.errors import InputError

    with Store(path, write=True) as store:
        store.append(entry())
        pages = store.connection.execute("PRAGMA page_count").fetchone()[0]
        store.connection.execute(f"PRAGMA max_page_count = {pages + 1}")
        entries = [entry(f"F-{i}", i + 0.25) for i in range(200)]
        with pytest.raises(InputError, match="Make room on the disk"):
            store.append_all(entries)
        assert verify(store).sound
    shutil.copy(path, path.with_name("after.sqlite"))
    with Store(path.with_name("after.sqlite")) as store:
        assert len(store) >= 1
