"""Buying briefs, candidates and lines that can go: counted, not guessed."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from recommend.catalogue import Catalogue, Item
from recommend.catalogue.importing import read_list
from recommend.catalogue.models import Product
from recommend.coverage.briefs import Brief, find_gaps, whole_sizes
from recommend.coverage.evaluate import Kinds
from recommend.coverage.report import Assessor
from recommend.coverage.run import CoverageQuestion, unstated_lines
from recommend.coverage.stocking import _Shelf, choose, cost_of, drop, worth_judging
from recommend.coverage.tally import Tally
from recommend.errors import RecommendError
from recommend.extras import shipped_folder
from recommend.rulebook.book import Rulebook
from recommend.show.gaps import brief_words, pieces_words

SUPPLIER = shipped_folder("catalogue_demo") / "supplier"


@pytest.fixture(scope="module")
def candidates(book: Rulebook) -> tuple[Item, ...]:
    """The invented supplier's list."""
    files = SUPPLIER / "list.csv", SUPPLIER / "mapping.yaml"
    return read_list(*files, book.attributes, book.parameters).items


@pytest.fixture(scope="module")
def shop(question: CoverageQuestion, candidates: tuple[Item, ...]) -> Assessor:
    """What answers about the shop with the candidates' sizes told apart."""
    return question.assessor(more=candidates)


@pytest.fixture(scope="module")
def tally(question: CoverageQuestion, shop: Assessor) -> Tally:
    """The customers."""
    return question.crowd.tally(question.book, shop.classes)


@pytest.fixture(scope="module")
def kinds(shop: Assessor, tally: Tally) -> Kinds:
    """The customers by what they need."""
    return shop.kinds(tally)


def product_of(brief: Brief, book: Rulebook, rng: np.random.Generator) -> Item:
    """A product drawn from the range of a brief; what it leaves open is drawn, or unstated."""
    levels: dict[str, float] = {}
    wants = {want.attribute: want for want in brief.wants}
    for name, definition in book.attributes.items():
        if not name.startswith(f"{brief.kind}."):
            continue
        top = len(definition.scale) - 1 if definition.scale else definition.high
        low, high = (0.0 if definition.scale else definition.low), float(top or 0)
        if name in wants:
            low = low if wants[name].low is None else wants[name].low
            high = high if wants[name].high is None else wants[name].high
        elif rng.random() < 0.4:
            continue
        drawn = rng.choice([low, high, rng.uniform(low or 0.0, high)])
        levels[name] = float(round(drawn) if definition.scale else drawn)
    sizes = np.arange(brief.smallest, brief.largest + 1, 5)
    stock = {float(size): 1 for size in sizes}
    name, made = f"new-{rng.integers(10**9)}", {f"{size:g}": 1 for size in stock}
    product = Product(id=name, kind=brief.kind, title="drawn", attributes={}, stock=made)
    return Item(product, levels, stock)


def test_no_product_within_a_brief_adds_less_than_it_says(
    question: CoverageQuestion, few: Catalogue, book: Rulebook
) -> None:
    """Products drawn from the whole range of three briefs: on the customers counted none adds
    less; on other customers none adds less than the lower end of the interval allows.
    """
    fine = question.assessor(more=[whole_sizes(5)])
    counted = question.crowd.tally(book, fine.classes)
    others = replace(question.crowd, seed=77, count=4000).tally(book, fine.classes)
    gaps = find_gaps(fine, few, fine.kinds(counted), counted.customers, most=3)
    rng, rest = np.random.default_rng(6), few
    assert gaps.briefs[0].adds.value > 0.01
    for brief in gaps.briefs:
        before, away = (fine.headline(rest, some).value for some in (counted, others))
        for _ in range(12):
            more = replace(rest, items=(*rest.items, product_of(brief, book, rng)))
            assert fine.headline(more, counted).value - before >= brief.adds.value - 1e-9
            gain = fine.headline(more, others).value - away
            noise = 2 * (brief.adds.value * (1 - brief.adds.value) / 4000) ** 0.5
            assert gain >= brief.adds.low - noise
        rest = more


def test_no_pair_within_a_joint_brief_adds_less_than_it_says(
    question: CoverageQuestion, catalogue: Catalogue, book: Rulebook
) -> None:
    """Shoes and insoles drawn from the whole range of both wordings of two joint briefs: on the
    customers counted no pair adds less; on others none less than the lower end allows; either
    of the two alone adds less than both.
    """
    running = tuple(i for i in catalogue.shoes if i.levels.get("shoe.for-running"))
    soft = tuple(i for i in catalogue.insoles if i.levels.get("insole.arch-medial") == 0)
    here = replace(catalogue, items=tuple(sorted((*running, *soft[:1]), key=lambda i: i.id)))
    fine = replace(question, catalogue=here).assessor(more=[whole_sizes(5)])
    counted = question.crowd.tally(book, fine.classes)
    others = replace(question.crowd, seed=78, count=4000).tally(book, fine.classes)
    gaps = find_gaps(fine, here, fine.kinds(counted), counted.customers, most=2)
    assert gaps.joint[0].adds.value > 0.02
    rng, rest = np.random.default_rng(7), here
    for brief in gaps.briefs:
        rest = replace(rest, items=(*rest.items, product_of(brief, book, rng)))
    for joint in gaps.joint:
        before, away = (fine.headline(rest, some).value for some in (counted, others))
        for _ in range(8):
            two = [product_of(half, book, rng) for half in (joint.shoe, joint.insole)]
            more = replace(rest, items=(*rest.items, *two))
            assert fine.headline(more, counted).value - before >= joint.adds.value - 1e-9
            noise = 2 * (joint.adds.value * (1 - joint.adds.value) / 4000) ** 0.5
            assert fine.headline(more, others).value - away >= joint.adds.low - noise
        rest = more


def test_briefs_are_counted_one_after_the_other(
    shop: Assessor, few: Catalogue, kinds: Kinds
) -> None:
    """Gains fall, and with what is left they make up everybody who was missed."""
    gaps = find_gaps(shop, few, kinds, 1500, most=20)
    gains = [brief.adds.value for brief in gaps.briefs]
    assert len(gains) >= 2
    gains += [joint.adds.value for joint in gaps.joint]
    assert sum(gains) + gaps.left == pytest.approx(gaps.missed)
    assert 0 <= gaps.opposed <= gaps.left


def test_a_brief_reads_like_an_order(shop: Assessor, few: Catalogue, kinds: Kinds) -> None:
    """It names the kind, what it must be, the sizes and the gain."""
    brief = find_gaps(shop, few, kinds, 1500, most=1).briefs[0]
    words = brief_words(brief, shop.book)
    assert words.startswith(("a shoe", "an insole"))
    assert "Mondopoint " in words
    assert words.endswith(" of customers")


def test_a_brief_says_how_many_pieces_in_which_sizes(
    shop: Assessor, few: Catalogue, kinds: Kinds
) -> None:
    """Sizes lie within the range, their shares make up the gain, and pieces are Poisson's."""
    stats = pytest.importorskip("scipy.stats")
    brief = find_gaps(shop, few, kinds, 1500, most=1).briefs[0]
    assert sum(share for _, share in brief.by_size) == pytest.approx(brief.adds.value)
    assert all(brief.smallest <= size <= brief.largest for size, _ in brief.by_size)
    words = pieces_words(brief, shop.book, 5000)
    size, share = max(brief.by_size, key=lambda one: one[1])
    asked = share * 5000 * shop.book.parameters.orders.buys
    assert f"{size:g}: {stats.poisson(asked).ppf(0.9):.0f}" in words
    assert pieces_words(brief, shop.book, None) == ""


def test_a_brief_for_a_shoe_is_for_one_purpose(
    shop: Assessor, few: Catalogue, kinds: Kinds
) -> None:
    """No shoe made for walking, running and standing at once is asked for."""
    for brief in find_gaps(shop, few, kinds, 1500, most=6).briefs:
        purposes = [w for w in brief.wants if w.attribute.startswith("shoe.for-") and w.low]
        assert len(purposes) == (1 if brief.kind == "shoe" else 0)


def test_candidates_add_exactly_what_is_said_and_no_other_two_add_more(
    shop: Assessor,
    few: Catalogue,
    candidates: tuple[Item, ...],
    kinds: Kinds,
    tally: Tally,
) -> None:
    """The two lines chosen, put into the catalogue; and every other two."""
    stocking = choose(shop, few, candidates, kinds, 1500, lines=2, budget=None)
    served = {
        pair: shop.headline(replace(few, items=(*few.items, *pair_items)), tally).value
        for pair, pair_items in (
            (frozenset(i.id for i in some), some)
            for size in (1, 2)  # a second line may add nothing, and then is not taken
            for some in combinations(candidates, size)
        )
    }
    assert stocking.selection.method == "exact"
    assert stocking.before == pytest.approx(shop.headline(few, tally).value)
    assert stocking.after == pytest.approx(served[frozenset(line.id for line in stocking.lines)])
    # What is gained in choice may outweigh at most what choice is worth.
    assert stocking.after >= max(served.values()) - shop.book.parameters.coverage.choice_worth
    assert sum(line.share for line in stocking.lines) == pytest.approx(
        stocking.after - stocking.before
    )


def test_equal_and_worse_candidates_change_no_choice(
    shop: Assessor, few: Catalogue, candidates: tuple[Item, ...], kinds: Kinds
) -> None:
    """Every candidate twice more, once with fewer sizes: no more are judged than can be chosen,
    and the best choice serves as many, as trying every two of them shows.
    """
    some = candidates[:5]
    twins = [_called(item, f"{item.id}-twin", item.stock) for item in some]
    fewer = [_called(item, f"{item.id}-few", dict(list(item.stock.items())[1:])) for item in some]
    many = (*some, *twins, *fewer)
    judged = {item.id for item in worth_judging(shop, many, kinds, 1)}
    assert judged <= {item.id for item in some}
    assert len(worth_judging(shop, many, kinds, 2)) <= 2 * len(some)
    assert len(worth_judging(shop, many, kinds, 20)) == len(many)
    chosen = choose(shop, few, many, kinds, 1500, lines=2, budget=None)
    best = choose(shop, few, some, kinds, 1500, lines=2, budget=None)
    assert chosen.after == pytest.approx(best.after)


def _called(item: Item, name: str, stock: dict[float, int]) -> Item:
    made = {f"{size:g}": count for size, count in stock.items()}
    product = item.product.model_copy(update={"id": name, "stock": made})
    return Item(product, item.levels, dict(stock))


def test_letting_go_one_by_one_judges_only_those_concerned_and_loses_the_same(
    question: CoverageQuestion, catalogue: Catalogue, book: Rulebook
) -> None:
    """After lines went one by one, what is kept of every line is what counting anew gives."""
    assessor = replace(question, catalogue=catalogue).assessor()
    kinds = assessor.kinds(question.crowd.tally(book, assessor.classes))
    shelf = _Shelf(assessor.evaluator(catalogue.items, kinds))
    names = [item.id for item in shelf.evaluator.items]
    for n in np.argsort(-shelf.reach)[:3]:
        shelf.let_go(int(n))
    left = tuple(item for item in catalogue.items if not shelf.gone[names.index(item.id)])
    anew = assessor.evaluator(left, kinds).evaluate()
    assert np.array_equal(shelf.well, anew.well)
    assert np.array_equal(shelf.choices, anew.choices)
    assert shelf.reach[~shelf.gone] == pytest.approx(anew.reach)
    assert shelf.sole[~shelf.gone] == pytest.approx(anew.sole)


def test_a_budget_is_kept(
    shop: Assessor, few: Catalogue, candidates: tuple[Item, ...], kinds: Kinds
) -> None:
    """A line costs its price times the pieces listed; together they stay within the budget."""
    by_id = {item.id: item for item in candidates}
    assert cost_of(by_id["cu-20"]) == pytest.approx(44.0 * 20)
    stocking = choose(shop, few, candidates, kinds, 1500, lines=None, budget=2000.0)
    assert sum(cost_of(by_id[line.id]) for line in stocking.lines) <= 2000
    assert stocking.lines
    poor = choose(shop, few, candidates, kinds, 1500, lines=None, budget=10.0)
    assert poor.lines == ()
    assert poor.after == poor.before
    useful = [by_id[name] for name in by_id if name == poor.cheapest.id]
    assert cost_of(useful[0]) == poor.cheapest.cost > 10
    assert poor.cheapest.suits > 0


def test_a_candidate_that_is_there_already_is_refused(
    shop: Assessor, few: Catalogue, kinds: Kinds
) -> None:
    """Candidates are new products."""
    with pytest.raises(RecommendError, match="in the catalogue already"):
        choose(shop, few, few.items[:1], kinds, 1500, lines=1, budget=None)


def test_a_budget_needs_a_price(candidates: tuple[Item, ...]) -> None:
    """Without a price a line has no cost."""
    free = replace(candidates[0], product=candidates[0].product.model_copy(update={"price": None}))
    with pytest.raises(RecommendError, match="no price"):
        cost_of(free)


@pytest.mark.parametrize("count", [1, 4])
def test_lines_that_go_lose_what_is_said(
    shop: Assessor, few: Catalogue, kinds: Kinds, tally: Tally, count: int
) -> None:
    """The catalogue without them serves the share named; the losses add up to it."""
    dropping = drop(shop, few, kinds, tally, count)
    gone = {line.id for line in dropping.lines}
    rest = replace(few, items=tuple(item for item in few.items if item.id not in gone))
    assert len(gone) == count
    assert dropping.after == pytest.approx(shop.headline(rest, tally).value)
    assert dropping.before - sum(line.share for line in dropping.lines) == pytest.approx(
        dropping.after
    )


def test_few_lines_are_let_go_exactly(
    question: CoverageQuestion, few: Catalogue, tally: Tally
) -> None:
    """Insoles alone, small enough for the program: no other three lose less."""
    alone = replace(question, sold="insole", catalogue=replace(few, items=few.insoles[:6]))
    assessor = alone.assessor()
    counted = alone.crowd.tally(alone.book, assessor.classes)
    dropping = drop(assessor, alone.catalogue, assessor.kinds(counted), counted, 3)
    best = max(
        assessor.headline(replace(alone.catalogue, items=three), counted).value
        for three in combinations(alone.catalogue.items, 3)
    )
    assert dropping.exact
    assert dropping.after == pytest.approx(best)


def test_what_no_foot_can_be_sold_goes_before_what_serves(
    question: CoverageQuestion, catalogue: Catalogue, book: Rulebook
) -> None:
    """Of a whole catalogue the lines that go first serve nobody; a line that serves many stays."""
    whole = replace(question, catalogue=catalogue)
    assessor = whole.assessor()
    counted = whole.crowd.tally(book, assessor.classes)
    dropping = drop(assessor, catalogue, assessor.kinds(counted), counted, 6)
    assert [line.suits for line in dropping.lines] == [0.0] * 6
    assert dropping.choice_after == dropping.choice_before
    assert all(line.whom == ("", "") for line in dropping.lines)


def test_what_a_list_does_not_state_is_told_with_what_that_costs(
    candidates: tuple[Item, ...], book: Rulebook
) -> None:
    """Insoles without a stated wedge are ruled out for everybody; a whole list says nothing."""
    silent = [
        replace(i, levels={n: v for n, v in i.levels.items() if n != "insole.wedge"})
        for i in candidates
    ]
    insoles = sum(item.product.kind == "insole" for item in candidates)
    lines = list(unstated_lines(silent, book))
    mine = next(line for line in lines if "`wedge`" in line)
    assert mine.startswith(f"{insoles} of {insoles} insoles do not state `wedge`")
    assert mine.endswith("ruled out for 100 % of expected customers")
    assert not any("`wedge`" in line for line in unstated_lines(candidates, book))
