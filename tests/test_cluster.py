"""A real scheduler with workers in processes of their own counts to the last customer as one
machine does, a worker killed on the way.
"""

import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from recommend import cluster
from recommend.catalogue import Catalogue
from recommend.cluster import connected
from recommend.coverage.crowd import Crowd
from recommend.coverage.population import load_population
from recommend.coverage.sampling import BLOCK
from recommend.errors import RecommendError
from recommend.match.sizes import SizeClasses
from recommend.records.impact import Impact, PastVisits, impact_of
from recommend.records.keeping import Archive
from recommend.records.store import Store
from recommend.rulebook import load_rulebook
from recommend.rulebook.book import Rulebook
from recommend.show.effects import as_document
from recommend.trial.came_back import liked
from recommend.trial.kept_trials import kept_visits, shop_of
from tests.bench.rule_impact import fill, moved

distributed = pytest.importorskip("distributed")
DASK = [sys.executable, "-m", "dask"]
TOP = Path(__file__).parents[1]
Killer = Callable[[], None]


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Killer]]:
    """The address of a scheduler with four workers, and what kills one of them."""
    known = tmp_path_factory.mktemp("cluster") / "scheduler.json"
    file = ("--scheduler-file", str(known))
    scheduler = started("scheduler", "--port", "0", "--no-dashboard", *file)
    worker = ("worker", "--no-nanny", "--no-dashboard", "--nthreads", "1")
    workers = [started(*worker, *file) for _ in range(4)]
    every = [scheduler, *workers]

    def kill() -> None:
        one = workers.pop()
        one.kill()
        one.wait()

    try:
        address = _address(known)
        with distributed.Client(address) as client:
            client.wait_for_workers(4, timeout=60)
        yield address, kill
    finally:
        for process in every:
            process.kill()
            process.wait()


def started(*words: str) -> subprocess.Popen[bytes]:
    """A process of its own."""
    return subprocess.Popen([*DASK, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def test_customers_are_counted_as_on_one_machine(
    running: tuple[str, Killer], book: Rulebook, catalogue: Catalogue
) -> None:
    """A worker is killed after the first block is counted; the cases are the same to the last."""
    sizes = SizeClasses(catalogue.items, book.parameters)
    people = load_population(TOP / "rules" / "population.yaml")
    crowd = Crowd("modelled", people, 4 * BLOCK - 1234, 5, children=True)
    expected, killed = crowd.tally(book, sizes), []

    def kill_one(done: int, _total: int) -> None:
        if not killed:
            running[1]()
            killed.append(done)

    with connected(running[0]):
        found = crowd.tally(book, sizes, progress=kill_one)
    assert killed
    assert np.array_equal(found.cases, expected.cases)
    assert np.array_equal(found.counts, expected.counts)


def test_rule_impact_is_as_on_one_machine(
    running: tuple[str, Killer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Other rules over 300 records, a worker killed after the first records are told."""
    monkeypatch.setattr("recommend.records.impact.CHUNK", 40)
    fill(tmp_path / "records.sqlite", 300, 30)
    other = load_rulebook(moved(tmp_path / "rules"))
    with Store(tmp_path / "records.sqlite") as store:

        def impact(tell: Killer) -> Impact:
            past = PastVisits(Archive(store), other)
            records = (record if record.seq != 150 else (tell(), record)[1]
                       for record in store.records())  # fmt: skip
            return impact_of(past, records, 10)

        expected = impact(lambda: None)
        with connected(running[0]):
            found = impact(running[1])
    assert found == expected
    assert found.records == 300
    assert found.changed > 0


def test_learned_effects_are_as_on_one_machine(
    running: tuple[str, Killer],
    book: Rulebook,
    catalogue: Catalogue,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The demo's trials, a few at a time; a worker is killed before they are judged."""
    monkeypatch.setattr("recommend.trial.kept_trials.PIECE", 3)
    visits = kept_visits(TOP / "catalogue_demo" / "trials", book)
    told = liked(visits, lambda _: {}, book.parameters)
    expected = as_document(shop_of(visits, book, catalogue), told, book, catalogue)
    with connected(running[0]):
        running[1]()
        found = as_document(shop_of(visits, book, catalogue), told, book, catalogue)
    assert found == expected


def test_what_only_a_dead_worker_held_is_sent_again(running: tuple[str, Killer]) -> None:
    """What is shared is lost under way, for every piece that waits; all results come, in order."""
    shared = np.arange(5)

    def each() -> Iterator[tuple[tuple[np.ndarray], tuple[int]]]:
        for number in range(40):
            if number == 9:
                client = cluster._clients[-1]
                lost = [distributed.Future(key, client=client) for key in client.futures]
                client.cancel(lost, force=True)
            yield (shared,), (number,)

    with connected(running[0]):
        found = list(cluster.pieces(_added, each()))
    assert found == [10 + 5 * number for number in range(40)]


def _added(shared: np.ndarray, own: int) -> int:
    return int((shared + own).sum())


def _address(known: Path) -> str:
    """Where the scheduler listens, as soon as it has said so."""
    for _ in range(300):
        if known.exists() and known.read_text():
            return str(json.loads(known.read_text())["address"])
        time.sleep(0.1)
    raise AssertionError("no scheduler")


def test_no_scheduler_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody listens there: said in words, with what to do."""
    monkeypatch.setattr("recommend.cluster.PATIENCE", "1s")
    nobody = connected("tcp://127.0.0.1:9")
    with pytest.raises(RecommendError, match="no dask scheduler answers"):
        nobody.__enter__()
