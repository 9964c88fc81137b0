"""Buying briefs, candidates and lines that can go: counted, not guessed."""

from dataclasses import replace
from itertools import combinations

import pytest

from recommend.catalogue import Catalogue, Item
from recommend.catalogue.importing import read_list
from recommend.coverage.briefs import NEW, Brief, find_gaps
from recommend.coverage.evaluate import Kinds, kinds_of
from recommend.coverage.report import Assessor
from recommend.coverage.run import Question
from recommend.coverage.stocking import choose, cost_of, drop
from recommend.coverage.tally import Tally
from recommend.errors import RecommendError
from recommend.rulebook import shipped_folder
from recommend.rulebook.book import Rulebook
from recommend.show.gaps import brief_words

SUPPLIER = shipped_folder("catalogue_demo") / "supplier"


@pytest.fixture(scope="module")
def candidates(book: Rulebook) -> tuple[Item, ...]:
    """The invented supplier's list."""
    files = SUPPLIER / "list.csv", SUPPLIER / "mapping.yaml"
    return read_list(*files, book.attributes, book.parameters).items


@pytest.fixture(scope="module")
def shop(question: Question, candidates: tuple[Item, ...]) -> Assessor:
    """What answers about the shop with the candidates' sizes told apart."""
    return question.assessor(more=candidates)


@pytest.fixture(scope="module")
def tally(question: Question, shop: Assessor) -> Tally:
    """The customers."""
    return question.crowd.tally(question.book, shop.classes)


@pytest.fixture(scope="module")
def kinds(shop: Assessor, tally: Tally) -> Kinds:
    """The customers by what they need."""
    return kinds_of(tally, shop.layout)


def product_of(brief: Brief, like: Item, levels: dict[str, float]) -> Item:
    """A product at the bounds of a brief, else like another, in every size."""
    for want in brief.wants:
        level = want.low if want.low is not None else want.high
        if level is not None:
            levels[want.attribute] = level
    stock = {float(size): 1 for size in range(180, 340, 5)}
    product = like.product.model_copy(update={"id": f"{NEW}-brief", "kind": brief.kind})
    return Item(product, levels, stock)


def test_a_brief_adds_what_it_says(
    shop: Assessor, few: Catalogue, kinds: Kinds, tally: Tally
) -> None:
    """A product at the bounds of the first brief lifts the share served by nearly its gain.

    Left-out attributes are taken from another product; each may cost the 2 % of the gain that
    loosening a brief allows, and no more than the gain itself can come.
    """
    gaps = find_gaps(shop, few, kinds, most=2)
    brief = gaps.briefs[0]
    pool = few.shoes if brief.kind == "shoe" else few.insoles
    before = shop.headline(few, tally).value
    assert gaps.missed == pytest.approx(1 - before)
    after = []
    for like in pool:
        new = product_of(brief, like, dict(like.levels))
        more = replace(few, items=(*few.items, new))
        after.append(shop.headline(more, tally).value)
    assert brief.adds > 0.01
    assert max(after) - before >= 0.9 * brief.adds


def test_briefs_are_counted_one_after_the_other(
    shop: Assessor, few: Catalogue, kinds: Kinds
) -> None:
    """Gains fall, and with what is left they make up everybody who was missed."""
    gaps = find_gaps(shop, few, kinds, most=20)
    gains = [brief.adds for brief in gaps.briefs]
    assert len(gains) >= 2
    assert sum(gains) + gaps.left == pytest.approx(gaps.missed)


def test_a_brief_reads_like_an_order(shop: Assessor, few: Catalogue, kinds: Kinds) -> None:
    """It names the kind, what it must be, the sizes and the gain."""
    brief = find_gaps(shop, few, kinds, most=1).briefs[0]
    words = brief_words(brief, shop.book)
    assert words.startswith(("a shoe", "an insole"))
    assert "for Mondopoint " in words
    assert words.endswith("% of customers")


def test_a_brief_for_a_shoe_is_for_one_purpose(
    shop: Assessor, few: Catalogue, kinds: Kinds
) -> None:
    """No shoe made for walking, running and standing at once is asked for."""
    for brief in find_gaps(shop, few, kinds, most=6).briefs:
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
    stocking = choose(shop, few, candidates, kinds, lines=2, budget=None)
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
    assert stocking.after == pytest.approx(max(served.values()))
    assert sum(line.share for line in stocking.lines) == pytest.approx(
        stocking.after - stocking.before
    )


def test_a_budget_is_kept(
    shop: Assessor, few: Catalogue, candidates: tuple[Item, ...], kinds: Kinds
) -> None:
    """A line costs its price times the pieces listed; together they stay within the budget."""
    by_id = {item.id: item for item in candidates}
    assert cost_of(by_id["cu-20"]) == pytest.approx(44.0 * 20)
    stocking = choose(shop, few, candidates, kinds, lines=None, budget=2000.0)
    assert sum(cost_of(by_id[line.id]) for line in stocking.lines) <= 2000
    assert stocking.lines
    poor = choose(shop, few, candidates, kinds, lines=None, budget=10.0)
    assert poor.lines == ()
    assert poor.after == poor.before


def test_a_candidate_that_is_there_already_is_refused(
    shop: Assessor, few: Catalogue, kinds: Kinds
) -> None:
    """Candidates are new products."""
    with pytest.raises(RecommendError, match="in the catalogue already"):
        choose(shop, few, few.items[:1], kinds, lines=1, budget=None)


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
    dropping = drop(shop, few, kinds, count)
    gone = {line.id for line in dropping.lines}
    rest = replace(few, items=tuple(item for item in few.items if item.id not in gone))
    assert len(gone) == count
    assert dropping.after == pytest.approx(shop.headline(rest, tally).value)
    assert dropping.before - sum(line.share for line in dropping.lines) == pytest.approx(
        dropping.after
    )


def test_few_lines_are_let_go_exactly(question: Question, few: Catalogue, tally: Tally) -> None:
    """Insoles alone, small enough for the program: no other three lose less."""
    alone = replace(question, sold="insole", catalogue=replace(few, items=few.insoles[:6]))
    assessor = alone.assessor()
    counted = alone.crowd.tally(alone.book, assessor.classes)
    dropping = drop(assessor, alone.catalogue, kinds_of(counted, assessor.layout), 3)
    best = max(
        assessor.headline(replace(alone.catalogue, items=three), counted).value
        for three in combinations(alone.catalogue.items, 3)
    )
    assert dropping.exact
    assert dropping.after == pytest.approx(best)
