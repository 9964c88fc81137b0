"""Customers of a comparison: rarer ones than a shop sees, and the same for both rulebooks."""

import numpy as np
import pytest

from recommend.catalogue.loading import load_catalogue
from recommend.check.differing import moves_between
from recommend.check.people import Mixture
from recommend.coverage.population import load_population
from recommend.coverage.sampling import Sampler
from recommend.coverage.tally import FactColumns
from recommend.extras import shipped_folder
from recommend.infer.facts import facts_of
from recommend.infer.many import Column, conclude_many
from recommend.measure.model import SIDES
from recommend.measure.observed import observe
from recommend.rulebook import Rulebook, load_rulebook
from recommend.visit.models import AgeBand, Visit
from tests.check.conftest import Changed

COUNT = 4000


def mixed(book: Rulebook, shares: Rulebook) -> dict[str, dict[str, Column]]:
    """Fact columns of the same customers under a rulebook."""
    population = load_population(shipped_folder("rules") / "population.yaml")
    customers = next(Sampler(population).blocks(COUNT, 1))
    columns = FactColumns(book, population)
    usual = {side: columns.of_foot(customers, side) for side in SIDES}
    return dict(Mixture(shares, COUNT, 1).applied(book, usual))


def test_each_is_drawn_as_often_as_the_file_says(book: Rulebook) -> None:
    """Within four standard errors of the share, of children, pain and answers."""
    feet = mixed(book, book)["left"]
    shares = book.parameters.compare
    ages = book.vocabulary.words["visit_age-band"]
    young = np.isin(feet["visit_age-band"], [ages.index("child"), ages.index("teen")])
    hurts = feet["pain_heel"] == 1
    unasked = feet["answer_diabetes"] == -1
    for rows, name in ((young, "children"), (hurts, "painful"), (unasked, "unasked")):
        wanted = shares[name]
        error = np.sqrt(wanted * (1 - wanted) / COUNT)
        assert abs(rows.mean() - wanted) < 4 * error, name


def test_weights_take_back_what_is_drawn_more_often(book: Rulebook) -> None:
    """Weighted shares of children and of pain are a shop's, within four standard errors."""
    feet, weights = mixed(book, book)["left"], Mixture(book, COUNT, 1).weights
    ages = book.vocabulary.words["visit_age-band"]
    young = np.isin(feet["visit_age-band"], [ages.index("child"), ages.index("teen")])
    for rows, name in ((young, "children"), (feet["pain_heel"] == 1, "painful")):
        wanted = book.parameters.compare[f"shop_{name}"]
        found = float(weights[rows].sum() / COUNT)
        error = float(np.sqrt((weights[rows] ** 2).sum()) / COUNT)
        assert abs(found - wanted) < 4 * error, (name, found)
        assert wanted < book.parameters.compare[name]


def test_rules_for_few_people_meet_somebody(book: Rulebook) -> None:
    """Every see-a-clinician rule that reads one answer, one age or one pain fires for some."""
    feet = mixed(book, book)
    holds = {s: conclude_many(book, feet[s], COUNT).holds for s in SIDES}
    for rule in book.rules:
        facts = {fact for branch in rule.holds for fact in (term.fact for term in branch)}
        if rule.note and len(facts) == 1 and min(facts).startswith(("answer_", "visit_", "pain_")):
            assert any(holds[side][rule.id].any() for side in SIDES), rule.id


def test_every_rule_fires_for_somebody_of_a_comparison(book: Rulebook, changed: Changed) -> None:
    """A comparison has no silent rule, and those made for rare ones hardly move its shares."""
    other = load_rulebook(changed(("rulebook.yaml", "motion-by: people", "motion-by: trade")))
    products = load_catalogue(shipped_folder("catalogue_demo"), book.attributes)
    moves = moves_between((book, other), (products, products), 1500, 1)
    assert moves.silent == ()
    assert "made for" in moves.mixture
    assert book.parameters.compare.shop_made * 1500 < 0.2


def test_both_rulebooks_meet_the_same_customers(book: Rulebook, changed: Changed) -> None:
    """Another question, or another order of questions, changes no other answer."""
    folder = changed(
        ("questions.yaml", "questions:\n",
         "questions:\n  one-more:\n    ask: Is there one more?\n    alarming: yes\n    why: w\n"),
    )  # fmt: skip
    was, now = mixed(book, book), mixed(load_rulebook(folder), book)
    for side in SIDES:
        for name, column in was[side].items():
            assert np.array_equal(column, now[side][name], equal_nan=column.dtype == np.float64)


@pytest.mark.parametrize("age", ["child", "teen", "older"])
def test_who_is_drawn_as_a_child_is_one_in_every_fact(book: Rulebook, age: AgeBand) -> None:
    """What follows from an age is, for all who are drawn of it, what the counter makes of it."""
    told = {"reference": "A-1", "age-band": age, "feet": {"left": {"fpi": {"total": 2}}}}
    visit = Visit.model_validate(told)
    seen = observe(visit, book.measures, book.parameters).used["left"]
    there = facts_of(visit, "left", seen, book)
    feet, words = mixed(book, book)["left"], book.vocabulary.words
    of_it = feet["visit_age-band"] == words["visit_age-band"].index(age)
    assert of_it.sum() > 50
    for fact in ("known_growing", "fpi_age"):
        found = set(np.broadcast_to(feet[fact], of_it.shape)[of_it].tolist())
        assert found - {-1} == {words[fact].index(str(there[fact]))}, fact
