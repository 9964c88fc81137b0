"""Whether many pairs of feet are ranked as one visit is: group by group, in order.

Run: python -m tests.bench.ranking_agreement [CUSTOMERS]

The one side is the visit that a fitter would write of a drawn customer, concluded by the reference
engine, foot by foot; the other the drawn columns of all of them at once.
"""

from __future__ import annotations

import sys

import numpy as np

from recommend.coverage.population import load_population
from recommend.coverage.sampling import Sampler
from recommend.coverage.tally import FactColumns
from recommend.extras import shipped_folder
from recommend.infer.assess import assess
from recommend.infer.many import conclude_many
from recommend.match.cases import cases_of
from recommend.match.shortlist import ranking_of, shortlist
from recommend.match.sizes import longer_lengths
from recommend.match.weighing import WAYS
from recommend.measure.model import SIDES
from tests import shipped
from tests.coverage.drawn_visits import visit_of

SHOWN = 3  # groups held against each other


def disagreements(count: int, seed: int = 7) -> list[str]:
    """References of the drawn customers of whom the two ways tell other groups."""
    book, shop = shipped.book(), shipped.shop()
    population = load_population(shipped_folder("rules") / "population.yaml")
    drawn, facts = Sampler(population).block(seed, 0, count), FactColumns(book, population)
    feet = {s: conclude_many(book, facts.of_foot(drawn, s), count) for s in SIDES}
    both = [np.asarray(drawn.feet[s]["foot-length"]) for s in SIDES]
    lengths = longer_lengths(both, drawn.texts("purpose"), drawn.texts("age-band"), book.parameters)
    cases = cases_of(ranking_of(book, shop), feet, lengths)
    many = {way: cases.best(way, 40) for way in WAYS}
    found = []
    for n in range(count):
        assessment = assess(visit_of(drawn, n, book), book)
        if assessment.stopped or cases.stopped[n]:
            if assessment.stopped != bool(cases.stopped[n]):
                found.append(f"drawn-{n}: stop")
            continue
        one = shortlist(assessment, book, shop)
        for way in WAYS:
            ids = cases.ranking.ids(way)
            there = [[ids[m] for m in rows] for rows in many[way][cases.case[n]][:SHOWN]]
            here = [[c.id for c in equals.members] for equals in one.groups[way][:SHOWN]]
            if there != here:
                found.append(f"drawn-{n}: {way} {there} {here}")
    return found


if __name__ == "__main__":
    customers = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    apart = disagreements(customers)
    print(f"{customers} customers, {len(apart)} disagreements")
    for line in apart[:10]:
        print(line)
