"""Feet per second through the shipped rules: numpy, durable-rules, CLIPS, zen-engine, by hand.

Run: python -m tests.bench.engines [FEET]      (needs the extras `test` and `bench`)

All in one run on the same random feet, by processor time, the best of several goes. Each engine
gets its facts in the form it reads, ready made, and must conclude the same as numpy before it is
timed. durable-rules also works out which rules are false; the others only which are true, so
numpy is timed both ways. Beside the whole rulebook stands the classify stage written by hand in
numpy (tests/bench/by_hand.py), whole columns or block by block, whichever is faster.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from recommend.extras import shipped_folder
from recommend.infer.many import CHUNK, Column, conclude_many
from recommend.infer.one import DurableRules
from recommend.rulebook.book import Rulebook
from recommend.rulebook.opened import load_rulebook
from tests.bench.by_hand import classify
from tests.bench.zen_rules import Zen, named
from tests.infer.feet import facts_of_row, random_columns
from tests.outside.clips_rules import Clips

FEW = 500  # feet for the engines that take them one by one
GOES = 3


def seconds(work: Callable[[], object]) -> float:
    """Processor seconds of the best of some goes."""
    best = float("inf")
    for _ in range(GOES):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


def one_by_one(book: Rulebook) -> dict[str, float]:
    """Feet per second of each engine on `FEW` feet, once it has concluded what numpy does."""
    columns = random_columns(book, FEW, np.random.default_rng(1))
    feet = [facts_of_row(columns, row, book) for row in range(FEW)]
    many = conclude_many(book, columns, FEW)
    true = [{rule for rule, holds in many.holds.items() if holds[row]} for row in range(FEW)]

    engine = DurableRules(book)
    found = [engine.conclude(foot).truth for foot in feet]
    assert true == [{rule for rule, truth in one.items() if truth} for one in found]
    zen, ready = Zen(book), [named(foot) for foot in feet]
    assert true == [zen.conclude(foot)[0] for foot in ready]
    clips, ids = Clips(book, fails=False), [rule.id for rule in book.rules]
    holds = clips.conclude(columns, FEW)[0]
    assert true == [{ids[n] for n in np.flatnonzero(holds[:, row])} for row in range(FEW)]
    works: dict[str, Callable[[], object]] = {
        "durable-rules (true and false)": lambda: [engine.conclude(foot) for foot in feet],
        "CLIPS (true)": lambda: clips.conclude(columns, FEW),
        "zen-engine (true)": lambda: [zen.conclude(foot) for foot in ready],
    }
    return {name: FEW / seconds(work) for name, work in works.items()}


def in_blocks(book: Rulebook, columns: dict[str, Column], count: int) -> None:
    """The classify stage by hand, a block of rows at a time."""
    for start in range(0, count, CHUNK):
        classify(book, {name: column[start : start + CHUNK] for name, column in columns.items()})


def main(feet: int) -> None:
    """Print rates and ratios."""
    book = load_rulebook(shipped_folder("rules"))
    columns = random_columns(book, feet, np.random.default_rng(2))
    stage = [rule.id for rule in book.rules if rule.stage == "classify"]
    by_rules = conclude_many(book, columns, feet, only=stage).axes
    by_hand = classify(book, columns)
    assert by_hand.keys() == by_rules.keys() == book.axes.keys()
    for axis, codes in by_hand.items():
        assert np.array_equal(codes, by_rules[axis]), axis

    print(f"{len(book.rules)} rules, {feet:,} feet; feet per second of one processor")
    engines = one_by_one(book)
    ours = feet / seconds(lambda: conclude_many(book, columns, feet))
    both = feet / seconds(lambda: conclude_many(book, columns, feet, fails=True))
    print(f"  {'numpy (true)':32}{ours:>14,.0f}")
    print(f"  {'numpy (true and false)':32}{both:>14,.0f}")
    for name, rate in engines.items():
        mine = both if "false" in name else ours
        print(f"  {name:32}{rate:>14,.0f}   numpy is {mine / rate:,.0f} x as fast")
    whole = seconds(lambda: classify(book, columns))
    blocks = seconds(lambda: in_blocks(book, columns, feet))
    staged = seconds(lambda: conclude_many(book, columns, feet, only=stage))
    print(f"classify stage alone, {len(stage)} rules")
    print(f"  {'numpy from the rulebook':32}{feet / staged:>14,.0f}")
    for name, took in (("by hand, whole columns", whole), ("by hand, in blocks", blocks)):
        print(f"  {name:32}{feet / took:>14,.0f}   rulebook takes {staged / took:.2f} x as long")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
