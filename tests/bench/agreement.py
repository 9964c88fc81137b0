"""Do durable-rules and numpy conclude the same of 20,000 random feet? Reported, not timed.

Run: python -m tests.bench.agreement [FEET]

Feet are those of tests/infer/feet.py: missing facts, odd qualifiers, half of the readings exactly
on a limit or one last decimal beside it. Every rule is compared as true, false or unknown, and
every axis by its value; of every tenth foot, all that the engines for one visit
conclude. Exit code 1 if anything differs.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from recommend.extras import shipped_folder
from recommend.infer.engine import ARRAYS, REFERENCE, Engine, new_engine
from recommend.infer.many import conclude_many
from recommend.rulebook.book import Rulebook
from recommend.rulebook.opened import load_rulebook
from tests.infer.feet import facts_of_row, random_columns

BLOCK = 10_000


def differences(
    book: Rulebook, engines: tuple[Engine, Engine], count: int, seed: int
) -> tuple[int, int]:
    """Verdicts compared, and verdicts that differ, on `count` feet drawn from `seed`."""
    columns = random_columns(book, count, np.random.default_rng(seed))
    many = conclude_many(book, columns, count, fails=True)
    compared = differing = 0
    for row in range(count):
        facts = facts_of_row(columns, row, book)
        one = engines[0].conclude(facts)
        if row % 10 == 0:
            differing += one != engines[1].conclude(facts)
        for rule in book.rules:
            verdict = (bool(many.holds[rule.id][row]), bool(many.fails[rule.id][row]))
            truth = one.truth[rule.id]
            differing += verdict != (truth is True, truth is False)
        for axis, value in one.axes.items():
            words = [None, *book.axes[axis].values]
            differing += words[many.axes[axis][row] + 1] != value
        compared += len(book.rules) + len(book.axes)
    return compared, differing


def main(feet: int) -> int:
    """Print one line a block, and the sum."""
    book = load_rulebook(shipped_folder("rules"))
    engines = new_engine(book, REFERENCE), new_engine(book, ARRAYS)
    done = compared = differing = 0
    start = time.perf_counter()
    while done < feet:
        more, wrong = differences(book, engines, min(BLOCK, feet - done), seed=done)
        done = min(done + BLOCK, feet)
        compared, differing = compared + more, differing + wrong
        rate = done / (time.perf_counter() - start)
        print(f"{done:>9,} feet  {compared:>12,} verdicts  {differing} differ  {rate:,.0f} feet/s",
              flush=True)  # fmt: skip
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000))
