"""How coverage grows with the number of customers, beside judging them one by one.

Run: python -m tests.bench.coverage_speed [LARGEST]

Every size runs in a process of its own (drawing, classifying, judging 100 shoes, 100 insoles and
their 10,000 pairs, the whole report), so that its memory is its own. The peer is the path of
the counter, `outcome_of` on one visit after another, timed on a few and multiplied up.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
from dataclasses import replace

from recommend.catalogue import Catalogue, load_catalogue
from recommend.catalogue.loading import Item
from recommend.coverage.crowd import Crowd
from recommend.coverage.population import load_population
from recommend.coverage.run import CoverageQuestion, answer
from recommend.extras import shipped_folder
from recommend.infer.one import DurableRules
from recommend.rulebook import load_rulebook
from recommend.rulebook.book import Rulebook
from recommend.visit import read_visit
from recommend.way import outcome_of

EACH = 100  # shoes, and insoles
SIZES = (10_000, 100_000, 1_000_000, 10_000_000)
PEER_VISITS = 6


def two_hundred(book: Rulebook) -> Catalogue:
    """The demo catalogue, repeated under new ids until it has 100 shoes and 100 insoles."""
    demo = load_catalogue(shipped_folder("catalogue_demo"), book.attributes)
    return replace(demo, items=(*_many(demo.shoes), *_many(demo.insoles)))


def _many(items: tuple[Item, ...]) -> list[Item]:
    out = []
    for n in range(EACH):
        item = items[n % len(items)]
        product = item.product.model_copy(update={"id": f"{item.id}-{n:03}"})
        out.append(replace(item, product=product))
    return out


def measure(customers: int) -> dict[str, float]:
    """Seconds, MiB and the share served for so many customers, in this process."""
    book = load_rulebook(shipped_folder("rules"))
    people = load_population(shipped_folder("rules") / "population.yaml")
    crowd = Crowd("modelled", people, customers, 1)
    question = CoverageQuestion(book, two_hundred(book), crowd, sensitivity=False)
    wall, cpu = time.perf_counter(), time.process_time()
    run = answer(question, lambda _name: lambda _done, _total: None)
    return {
        "wall": time.perf_counter() - wall,
        "cpu": time.process_time() - cpu,
        "mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "served": run.coverage.served.value,
    }


def one_by_one() -> float:
    """Seconds of processor time that one customer takes at the counter, same products."""
    book = load_rulebook(shipped_folder("rules"))
    products, engine = two_hundred(book), DurableRules(book)
    files = sorted((shipped_folder("catalogue_demo") / "visits").glob("*.yaml"))[:PEER_VISITS]
    visits = [read_visit(file) for file in files]
    started = time.process_time()
    for visit in visits:
        outcome_of(visit, book, products, engine)
    return (time.process_time() - started) / len(visits)


def main(largest: int) -> None:
    """Print one line a size."""
    single = one_by_one()
    print(f"one customer at the counter: {single:.3f} s of processor time")
    print(
        f"{'customers':>11} {'wall s':>8} {'cpu s':>8} {'MiB':>6} {'x before':>9} {'x counter':>10}"
    )
    before = 0.0
    for size in (size for size in SIZES if size <= largest):
        command = [sys.executable, "-m", "tests.bench.coverage_speed", "--measure", str(size)]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        found = json.loads(done.stdout)
        growth = f"{found['cpu'] / before:9.1f}" if before else " " * 9
        print(
            f"{size:>11,} {found['wall']:8.1f} {found['cpu']:8.1f} {found['mib']:6.0f} {growth} "
            f"{single * size / found['cpu']:10,.0f}",
            flush=True,
        )
        before = found["cpu"]


if __name__ == "__main__":
    if sys.argv[1:2] == ["--measure"]:
        print(json.dumps(measure(int(sys.argv[2]))))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else SIZES[-1])
