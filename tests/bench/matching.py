"""Feet per second from measures to the products that suit: numpy beside three rule engines.

Run: python -m tests.bench.matching [FEET]      (needs the extras `test` and `bench`)

All on the same drawn customers, two feet each, against 200 products, in one run. An engine
concludes the rules of both feet, the needs of the pair are gathered as at the counter, and the
engine says which of the products, resident in it, no binding need rules out. numpy does the same
and also says which of them serve the feet well. An engine must find what numpy finds before its
time counts.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from recommend.coverage.crowd import added
from recommend.coverage.evaluate import Kinds, Terms, needs_of_rules
from recommend.coverage.population import load_population
from recommend.coverage.report import Assessor
from recommend.coverage.rows import Array
from recommend.coverage.sampling import Customers, Sampler
from recommend.coverage.tally import FactColumns, cases_of_customers, tally
from recommend.extras import shipped_folder
from recommend.infer.many import Column
from recommend.infer.one import DurableRules
from recommend.match.needs import Need, needs_of
from recommend.match.sizes import SizeClasses
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.opened import load_rulebook
from tests.bench.coverage_speed import two_hundred
from tests.bench.suiting import CREATED, Product, ask, products_of
from tests.bench.zen_rules import Zen, named
from tests.infer.feet import facts_of_row
from tests.outside.clips_rules import Clips

FEW = 200  # customers for the engines that take feet one by one
Columns = dict[str, Column]
Facts = dict[Side, list[dict[str, Any]]]
Fired = list[dict[Side, set[str]]]  # of each customer, the rules that are true of each foot


class Many:
    """The vectorised path: the one that `recommend coverage` takes."""

    def __init__(self, book: Rulebook) -> None:
        self.book, self.catalogue = book, two_hundred(book)
        self.people = load_population(shipped_folder("rules") / "population.yaml")
        self.facts = FactColumns(book, self.people)
        self.sizes = SizeClasses(self.catalogue.items, book.parameters)
        self.assessor = Assessor(book, self.sizes, Terms(("shoe", "insole")))

    def drawn(self, count: int, seed: int) -> list[Customers]:
        """Customers in blocks, drawn from the shipped population."""
        return list(Sampler(self.people).blocks(count, seed))

    def judge(self, blocks: list[Customers]) -> None:
        """Conclude, gather needs, and judge all products for every different customer."""
        cases = (cases_of_customers(self.book, self.facts, one, self.sizes) for one in blocks)
        kinds = self.assessor.kinds(added(tally(one) for one in cases))
        self.assessor.evaluator(self.catalogue.items, kinds).evaluate()

    def suitable(self, block: Customers) -> list[set[str]]:
        """Ids of the products that no binding need rules out, customer by customer."""
        cases = cases_of_customers(self.book, self.facts, block, self.sizes)
        layout = self.assessor.layout
        left, right = (cases[:, columns] for columns in layout.of_needs)
        binding, required, more = needs_of_rules(self.assessor.table, layout.unpack(left | right))
        each, none = np.arange(block.count), np.zeros(block.count, np.intp)
        kinds = Kinds(binding, required, more, none[:1], each, none, np.ones(block.count), each)
        judged = self.assessor.evaluator(self.catalogue.items, kinds)
        shoes, insoles = (judged.fits(way, "harmless", each) for way in ("shoe", "insole"))
        suits = np.concatenate([shoes, insoles[:, : judged.bought]], axis=1)
        ids = np.array([item.id for item in judged.items])
        return [set(ids[row].tolist()) for row in suits]

    def columns(self, block: Customers) -> dict[Side, Columns]:
        """Fact columns of each side, every one of full length."""
        return {
            side: {
                name: np.broadcast_to(column, block.count)
                for name, column in self.facts.of_foot(block, side).items()
            }
            for side in SIDES
        }


def binding(book: Rulebook, fired: Fired) -> list[list[Need]]:
    """The needs of each customer that rule products out, gathered as at the counter."""
    return [[n for n in needs_of(book, one).needs if n.strength != "prefer"] for one in fired]


def by_durable_rules(engine: DurableRules, facts: Facts) -> Fired:
    """The true rules of each customer's feet, in durable-rules."""
    found = {s: [engine.conclude(foot).truth for foot in facts[s]] for s in SIDES}
    return [
        {s: {rule for rule, truth in found[s][row].items() if truth} for s in SIDES}
        for row in range(FEW)
    ]


def by_clips(clips: Clips, ids: Array, columns: dict[Side, Columns]) -> Fired:
    """The true rules of each customer's feet, in CLIPS."""
    holds = {s: clips.conclude(columns[s], FEW)[0] for s in SIDES}
    return [{s: set(ids[holds[s][:, row]].tolist()) for s in SIDES} for row in range(FEW)]


def by_zen(zen: Zen, facts: Facts) -> Fired:
    """The true rules of each customer's feet, in zen-engine."""
    return [{s: zen.conclude(facts[s][row])[0] for s in SIDES} for row in range(FEW)]


def engines(many: Many, few: Customers) -> dict[str, Callable[[], list[set[str]]]]:
    """By name of the engine, what finds the products that suit `few` customers."""
    book, columns = many.book, many.columns(few)
    facts = {s: [facts_of_row(columns[s], row, book) for row in range(FEW)] for s in SIDES}
    ready = {s: [named(foot) for foot in facts[s]] for s in SIDES}
    engine, clips, zen = DurableRules(book), Clips(book, fails=False), Zen(book)
    ids = np.array([rule.id for rule in book.rules])
    products = products_of(many.catalogue, book)
    fired: dict[str, Callable[[], Fired]] = {
        "durable-rules": lambda: by_durable_rules(engine, facts),
        "CLIPS": lambda: by_clips(clips, ids, columns),
        "zen-engine": lambda: by_zen(zen, ready),
    }
    needs = [n for n in many.assessor.table.needs if n.strength != "prefer"]
    return {name: _path(book, run, name, needs, products) for name, run in fired.items()}


def _path(
    book: Rulebook,
    run: Callable[[], Fired],
    name: str,
    needs: Sequence[Need],
    products: Sequence[Product],
) -> Callable[[], list[set[str]]]:
    suiting = CREATED[name](needs, products)
    index = {ask(need): n for n, need in enumerate(needs)}
    return lambda: suiting.suitable(
        [[index[ask(need)] for need in one] for one in binding(book, run())]
    )


def main(feet: int) -> None:
    """Print rates and ratios."""
    many = Many(load_rulebook(shipped_folder("rules")))
    few = many.drawn(FEW, seed=5)[0]
    expected = many.suitable(few)
    print(f"{len(many.book.rules)} rules, 200 products; feet per second")
    rates = {}
    for name, find in engines(many, few).items():
        assert find() == expected, f"{name} finds other products"
        start = time.process_time()
        find()
        rates[name] = 2 * FEW / (time.process_time() - start)
    blocks = many.drawn(feet // 2, seed=6)
    wall, used = time.perf_counter(), time.process_time()
    many.judge(blocks)
    wall, used = time.perf_counter() - wall, time.process_time() - used
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  {'numpy':16}{feet / used:>12,.0f} of one processor, {feet / wall:,.0f} on the clock")
    for name, rate in rates.items():
        more = (
            f"numpy is {feet / used / rate:,.0f} x as fast, {feet / wall / rate:,.0f} on the clock"
        )
        print(f"  {name:16}{rate:>12,.0f} of one processor; {more}")
    print(f"{feet:,} feet took {wall:.1f} s; all of this run, {memory:,.0f} MiB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
