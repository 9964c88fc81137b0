"""Many customers at once come to the same outcome as one visit at the counter."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from recommend.catalogue import Catalogue
from recommend.catalogue.fitting import fit
from recommend.coverage.columns import FactColumns
from recommend.coverage.evaluate import Evaluator, Wishes, kinds_of
from recommend.coverage.population import Population
from recommend.coverage.sampling import Sampler
from recommend.coverage.tally import cases_of_customers, layout_of, tally
from recommend.infer.assess import assess
from recommend.infer.engine import engine_of
from recommend.infer.facts import facts_of
from recommend.match.judge import judge
from recommend.match.needs import NeedTable, needs_of
from recommend.match.shortlist import shortlist
from recommend.match.sizes import SizeClasses
from recommend.match.weighing import Shelf
from recommend.measure.model import SIDES
from recommend.measure.observed import observe
from recommend.rulebook.book import Rulebook
from tests.coverage.drawn_visits import visit_of


def test_a_drawn_customer_has_the_facts_of_the_visit_that_would_be_written(
    population: Population, book: Rulebook
) -> None:
    """Every fact that a rule reads is the same, to rounding of the way through millimetres."""
    facts = FactColumns(book, population)
    drawn = Sampler(population).block(3, 0, 60)
    for side in SIDES:
        columns = facts.of_foot(drawn, side)
        for index in range(drawn.count):
            visit = visit_of(drawn, index, book)
            measures = observe(visit, book.measures, book.parameters).used[side]
            expected = facts_of(visit, side, measures, book)
            for fact in facts.book.read & set(expected) | facts.book.read & set(columns):
                column = columns[fact]
                value = column[0] if len(column) == 1 else column[index]
                words = book.vocabulary.words.get(fact)
                if words is None:
                    assert value == pytest.approx(expected[fact], abs=2e-4), fact
                else:
                    assert words[value] == expected[fact], fact


def test_a_case_is_served_exactly_when_its_shortlist_is_not_empty(
    population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """Of 40 customers, what is suitable, in stock and scores enough is counted the same.

    The expected side runs the forward-chaining engine and judges product by product.
    """
    few = small(catalogue)
    engine, facts = engine_of(book), FactColumns(book, population)
    drawn = Sampler(population).block(4, 0, 40)
    sizes = SizeClasses(few.items, book.parameters)
    table = NeedTable(book, layout_of(book).needs)
    score = book.parameters.rank.served
    outcomes = set()
    for index in range(drawn.count):
        one = tally(cases_of_customers(book, facts, only(drawn, index), sizes))
        kinds = kinds_of(one, layout_of(book))
        evaluator = Evaluator(
            Shelf(table, few.shoes, few.insoles), sizes, kinds, Wishes(("pair",), score / 100)
        )
        served = evaluator.evaluate()
        ranked = shortlist(assess(visit_of(drawn, index, book), book, engine), book, few)
        bought = [c for c in ranked.ranked["pair"] if all(p.offered == "shop" for p in c.parts)]
        good = [c.parts for c in bought if c.score >= score]
        expected = [len({parts[k].id for parts in good}) for k in (0, 1)]
        assert [served.shoes[0, 0], served.insoles[0, 0]] == expected
        outcomes.add(bool(good))
    assert outcomes == {True, False}


def small(catalogue: Catalogue) -> Catalogue:
    """A few shoes and insoles, so that some customers are not served."""
    kept = (*catalogue.shoes[5::9], *catalogue.insoles[2::8])
    return replace(catalogue, items=tuple(sorted(kept, key=lambda item: item.id)))


def only(customers, index):
    """One of the customers."""

    def cut(columns):
        return {
            name: replace(c, codes=c.codes[[index]]) if hasattr(c, "codes") else c[[index]]
            for name, c in columns.items()
        }

    feet = {side: cut(columns) for side, columns in customers.feet.items()}
    return replace(customers, count=1, own=cut(customers.own), feet=feet)


def test_scores_are_those_of_the_judge(book: Rulebook, catalogue: Catalogue) -> None:
    """For random sets of rules, every shoe, insole and pair gets the judge's score."""
    rules = layout_of(book).needs
    holds = np.random.default_rng(5).random((25, len(rules))) < 0.25
    table = NeedTable(book, rules)
    shoes, insoles = catalogue.shoes[::5], catalogue.insoles[::5]
    shelf = Shelf(table, shoes, insoles)
    scores = {way: shelf.scores(way, table.active(holds)) for way in ("shoe", "insole", "pair")}
    suitable = 0
    for g, row in enumerate(holds):
        fired = [rule for rule, hold in zip(rules, row, strict=True) if hold]
        needs = needs_of(book, {"left": fired[::2], "right": fired[1::2]})
        alone = {i.id: judge((i,), needs, book) for i in (*shoes, *insoles)}
        for way, items in (("shoe", shoes), ("insole", insoles)):
            for k, item in enumerate(items):
                assert scores[way][g, k] == pytest.approx(expected_score(alone[item.id]), abs=1e-6)
        for (s, shoe), (i, insole) in product(enumerate(shoes), enumerate(insoles)):
            ok = alone[shoe.id].suitable and alone[insole.id].suitable
            ok = ok and fit(shoe, insole, book.parameters).fits
            both = judge((shoe, insole), needs, book)
            expected = expected_score(both) if ok else -np.inf
            assert scores["pair"][g, s, i] == pytest.approx(expected, abs=1e-6)
            suitable += expected > 0
    assert suitable > 100


def expected_score(judgement) -> float:
    """The judge's score from 0 to 1; minus infinity where unsuitable, 1 where nothing counts."""
    if not judgement.suitable:
        return -np.inf
    return 1.0 if judgement.score is None else judgement.score / 100
