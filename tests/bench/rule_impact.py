"""How long rule impact takes over many records, beside the one-by-one path in the same run.

    python -m tests.bench.rule_impact [RECORDS] [DISTINCT]

Fills a store with RECORDS records of DISTINCT invented visits, then runs rules with one limit
moved over all of them, and over some by the reference engine.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from itertools import islice
from pathlib import Path

from recommend.catalogue import load_catalogue
from recommend.infer.one import DurableRules
from recommend.records.impact import PastVisits, impact_of
from recommend.records.keeping import Archive, entry_of
from recommend.records.store import Store, ToRecord, insert, prepare
from recommend.records.verify import verify
from recommend.rulebook import load_rulebook
from recommend.way import outcome_of
from tests.trail.random_visits import random_visit

TOP = Path(__file__).parents[2]
ONE_BY_ONE = 100


def fill(path: Path, count: int, distinct: int) -> None:
    """Keep `count` records of `distinct` random visits."""
    book = load_rulebook(TOP / "rules")
    catalogue, engine = load_catalogue(TOP / "catalogue_demo", book.attributes), DurableRules(book)
    entries: list[ToRecord] = []
    for seed in range(distinct):
        outcome = outcome_of(random_visit(book, seed), book, catalogue, engine)
        entries.append(entry_of(outcome))
    prepared = [prepare(entry) for entry in entries]
    with Store(path, write=True) as store:
        for start in range(0, count, 5000):
            with store.writing() as db:
                for number in range(start, min(start + 5000, count)):
                    insert(db, prepared[number % distinct])


def moved(folder: Path) -> Path:
    """A copy of the shipped rules with the upper limit of the peak in walking moved by a degree."""
    shutil.copytree(TOP / "rules", folder)
    file = folder / "limits.yaml"
    was, text = "{value: 8.8, where: {gait: walking", file.read_text("utf-8")
    assert was in text
    file.write_text(text.replace(was, was.replace("8.8", "7.8")), "utf-8")
    return folder


def main() -> None:
    """Fill, run both paths, report."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    distinct = int(sys.argv[2]) if len(sys.argv) > 2 else 4_000
    with tempfile.TemporaryDirectory() as base:
        path = Path(base) / "records.sqlite"
        began = time.perf_counter()
        fill(path, count, distinct)
        size = path.stat().st_size / 1e6
        print(f"{count} records of {distinct} visits kept in {time.perf_counter() - began:.0f} s,"
              f" {size:.0f} MB")  # fmt: skip
        book = load_rulebook(moved(Path(base) / "rules"))
        with Store(path) as store:
            past = PastVisits(Archive(store), book)
            began = time.perf_counter()
            impact = impact_of(past, store.records(), 10)
            fast = time.perf_counter() - began
            print(f"rule impact: {fast:.1f} s, {impact.changed} of {impact.records} changed")
            some = list(islice(store.records(), ONE_BY_ONE))
            began = time.perf_counter()
            for record in some:
                past.one_by_one(record)
            slow = (time.perf_counter() - began) / len(some)
            print(f"one by one: {1e3 * slow:.1f} ms a record, {slow * count / fast:.0f} x as long")
            began = time.perf_counter()
            verdict = verify(store)
            print(f"verify: {time.perf_counter() - began:.1f} s, sound: {verdict.sound}")


if __name__ == "__main__":
    main()
