"""Whether a question that the entry passes over could have altered the outcome.

Run: python -m tests.bench.passed_over [VISITS] [SEED]

Visits are drawn and typed as at the counter; what was passed over is then answered beside the
limits of the rulebook, on both sides. Notes, foot types and needs must stay what they were.
"""

from __future__ import annotations

import random
import sys

from recommend.infer.adviser import Adviser
from tests import shipped
from tests.visit.test_budget import passed_over_and_answered

TIMES = 4  # rounds of answers a visit


def main(visits: int = 2000, seed: int = 1) -> int:
    """Print how many answers were tried, and each that altered the outcome."""
    counter, tried, found = Adviser(shipped.book()), 0, []
    for number in range(visits):
        count, altered = passed_over_and_answered(counter, random.Random(f"{seed} {number}"), TIMES)
        tried += count
        if altered:
            found.append(f"visit {number}: {altered}")
            print(found[-1], flush=True)
        if (number + 1) % 100 == 0:
            print(f"{number + 1} visits, {tried} answers, {len(found)} altered", flush=True)
    print(f"{visits} visits, {tried} answers to what was passed over, {len(found)} altered it")
    return bool(found)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
