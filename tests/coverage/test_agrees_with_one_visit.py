"""Many customers at once come to the same outcome as one visit at the counter."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import yaml

from recommend.catalogue import Catalogue
from recommend.coverage.crowd import Crowd
from recommend.coverage.evaluate import Evaluator, Kinds, Terms, needs_of_rules
from recommend.coverage.population import Population
from recommend.coverage.report import Assessor
from recommend.coverage.run import CoverageQuestion
from recommend.coverage.sampling import Sampler
from recommend.coverage.tally import FactColumns, cases_of_customers, layout_of, tally
from recommend.extras import shipped_folder
from recommend.infer.assess import assess
from recommend.infer.engine import engine_of
from recommend.infer.facts import facts_of
from recommend.match.judge import fit, judge
from recommend.match.needs import NeedTable, needs_of
from recommend.match.shortlist import shortlist
from recommend.match.sizes import SizeClasses
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


def test_a_customer_is_served_exactly_as_at_the_counter(
    population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """Of 20 customers and a few products: served well, harmless only, or nothing, one by one.

    The expected side runs the forward-chaining engine, ranks at the counter, and holds every
    candidate against serving.yaml in plain loops.
    """
    few = small(catalogue)
    engine, facts = engine_of(book), FactColumns(book, population)
    drawn = Sampler(population).block(4, 0, 20)
    sizes = SizeClasses(few.items, book.parameters)
    assessor = Assessor(book, sizes, Terms(("pair",)))
    outcomes = set()
    for index in range(drawn.count):
        one = tally(cases_of_customers(book, facts, only(drawn, index), sizes))
        evaluator = assessor.evaluator(few.items, assessor.kinds(one))
        found, usable = evaluator.evaluate(), evaluator.usable("well", slice(None))
        ranked = shortlist(assess(visit_of(drawn, index, book), book, engine), book, few)
        bought = [c for c in ranked.ranked["pair"] if c.parts[0].offered == "shop"]
        good = [c.parts for c in bought if serves(c, marked_wishes())]
        shoes = {parts[0].id for parts in good}
        insoles = {parts[1].id for parts in good if parts[1].offered == "shop"}
        assert (found.well[0], found.harmless[0]) == (bool(good), bool(bought))
        counts = usable.shoes.all.sum(), usable.insoles.all[:, : evaluator.bought].sum()
        assert counts == (len(shoes), len(insoles))
        outcomes.add((bool(good), bool(bought)))
    assert outcomes == {(True, True), (False, True), (False, False)}


def marked_wishes() -> dict[tuple[str, str], float]:
    """By rule and attribute, the part of the wish that serving.yaml says must be met."""
    found: dict[tuple[str, str], float] = {}
    text = (shipped_folder("rules") / "serving.yaml").read_text(encoding="utf-8")
    for entry in yaml.safe_load(text)["serves"]:
        for key in product(entry["rules"], entry["wishes"]):
            found[key] = max(found.get(key, 0.0), entry.get("part", 1.0))
    return found


def serves(candidate, marked: dict[tuple[str, str], float]) -> bool:
    """Whether every marked wish is met as far as it must be."""
    for verdict in candidate.judgement.verdicts:
        need = verdict.need
        part = max((marked.get((rule, need.attribute), 0.0) for rule in need.rules), default=0.0)
        if need.strength == "prefer" and verdict.satisfaction < part - 1e-9:
            return False
    return True


def test_a_wide_shoe_and_a_soft_insole_do_not_serve_everybody(
    population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """Two products that do no harm to anybody: feet that need more are not counted as served."""
    shoe, insole = catalogue.item("grommelstead-ward-wide"), catalogue.item("ommerstead-soft")
    plain = {
        name: one.level_without
        for name, one in book.attributes.items()
        if name.startswith("insole.") and one.level_without is not None
    }
    soft = {"insole.cushion-heel": 2.0, "insole.cushion-forefoot": 2.0, "insole.heel-cup": 10.0}
    insole = replace(insole, levels={**insole.levels, **plain, **soft, "insole.thickness": 3.0})
    sizes = dict.fromkeys(range(190, 340, 5), 3)
    flags = {name: 1.0 for name in book.attributes if name.startswith("shoe.for-")}
    plainly = {"shoe.for-children": 0.0, "shoe.wedge": 0.0, "shoe.stability": 0.0}
    shoe = replace(shoe, levels={**shoe.levels, **flags, **plainly}, stock=sizes)
    two = replace(catalogue, items=(shoe, replace(insole, stock=sizes)))
    question = CoverageQuestion(
        book, two, Crowd("modelled", population, 1500, 8), sensitivity=False
    )
    assessor = question.assessor()
    found = assessor.cover(two, question.crowd.tally(book, assessor.classes))
    assert found.outcomes["harmless"].value > 0.6
    needs_support = [c for c in found.rows if c.row in ("pronated-much", "pronated-much-slow")]
    assert needs_support
    assert all(cell.served == 0 for cell in needs_support)


def small(catalogue: Catalogue) -> Catalogue:
    """A few shoes and insoles, so that some customers are not served."""
    kept = (*catalogue.shoes[4::9], *catalogue.insoles[3::5])
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


def test_what_suits_is_what_the_judge_says(book: Rulebook, catalogue: Catalogue) -> None:
    """For random sets of rules, every shoe, insole and pair suits exactly where the judge says."""
    rules = layout_of(book).needs
    holds = np.random.default_rng(5).random((25, len(rules))) < 0.1
    table = NeedTable(book, rules)
    shoes, insoles = catalogue.shoes[::5], catalogue.insoles[::5]
    binding, required, more = needs_of_rules(table, holds)
    each, none = np.arange(len(holds)), np.zeros(len(holds), int)
    kinds = Kinds(binding, required, more, none[:1], each, none, np.ones(len(holds)), each)
    sizes = SizeClasses(catalogue.items, book.parameters)
    evaluator = Evaluator(table, [*shoes, *insoles], sizes, kinds, Terms(("pair",)))
    suitable = 0
    for g, row in enumerate(holds):
        fired = [rule for rule, hold in zip(rules, row, strict=True) if hold]
        needs = needs_of(book, {"left": fired[::2], "right": fired[1::2]})
        good = set()
        for shoe, insole in product(shoes, insoles):
            ok = all(judge(parts, needs, book).suitable for parts in
                     ((shoe,), (insole,), (shoe, insole)))  # fmt: skip
            if ok and fit(shoe, insole, book.parameters).fits:
                good |= {shoe.id, insole.id}
        found = evaluator.usable("harmless", np.array([g]), shoes=True, insoles=True)
        usable = np.concatenate([found.shoes.all[0], found.insoles.all[0, : evaluator.bought]])
        if not found.insoles.all[0, evaluator.bought :].any():  # else shoes also go with none
            assert {i.id for i, use in zip(evaluator.items, usable, strict=True) if use} == good
            suitable += len(good)
    assert suitable > 50
