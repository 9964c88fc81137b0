"""A real scheduler with two workers counts to the last customer as one machine does."""

import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from recommend.catalogue import Catalogue
from recommend.coverage.cluster import connected
from recommend.coverage.crowd import Crowd
from recommend.coverage.population import Population
from recommend.coverage.sampling import BLOCK
from recommend.errors import RecommendError
from recommend.match.sizes import SizeClasses
from recommend.rulebook.book import Rulebook

distributed = pytest.importorskip("distributed")
DASK = [sys.executable, "-m", "dask"]


def started(*words: str) -> subprocess.Popen[bytes]:
    """A process of its own."""
    return subprocess.Popen([*DASK, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def test_a_worker_that_is_killed_on_the_way_changes_nothing(
    tmp_path: Path, population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """Scheduler and two workers are processes; one is killed after the first block is counted."""
    known = tmp_path / "scheduler.json"
    sizes = SizeClasses(catalogue.items, book.parameters)
    crowd = Crowd("modelled", population, 4 * BLOCK - 1234, 5)
    expected = crowd.tally(book, sizes)
    running = [
        started("scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(known))
    ]
    file = ("--scheduler-file", str(known))
    worker = ("worker", "--no-nanny", "--no-dashboard", "--nthreads", "1", *file)
    try:
        running += [started(*worker), started(*worker)]
        address = _address(known)
        with distributed.Client(address) as client:
            client.wait_for_workers(2, timeout=60)
        killed: list[int] = []

        def kill_one(_done: int, _total: int) -> None:
            if not killed:
                running[1].kill()
                killed.append(running[1].wait())

        with connected(address):
            found = crowd.tally(book, sizes, progress=kill_one)
    finally:
        for process in running:
            process.kill()
            process.wait()
    assert killed
    assert np.array_equal(found.cases, expected.cases)
    assert np.array_equal(found.counts, expected.counts)


def _address(known: Path) -> str:
    """Where the scheduler listens, as soon as it has said so."""
    for _ in range(300):
        if known.exists() and known.read_text():
            return str(json.loads(known.read_text())["address"])
        time.sleep(0.1)
    raise AssertionError("no scheduler")


def test_no_scheduler_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody listens there: said in words, with what to do."""
    monkeypatch.setattr("recommend.coverage.cluster.PATIENCE", "1s")
    nobody = connected("tcp://127.0.0.1:9")
    with pytest.raises(RecommendError, match="no dask scheduler answers"):
        nobody.__enter__()
