"""What the buyer is told holds together, and moves the way it must."""

from dataclasses import replace

import pytest

from recommend.catalogue import Catalogue, Item
from recommend.coverage.compare import compare_catalogues, compare_rules
from recommend.coverage.report import Assessor, by_type
from recommend.coverage.run import Question, answer
from recommend.coverage.tally import Tally


def without(catalogue: Catalogue, *ids: str) -> Catalogue:
    """The catalogue less some products."""
    return replace(catalogue, items=tuple(i for i in catalogue.items if i.id not in ids))


def with_stock(item: Item, stock: dict[float, int]) -> Item:
    """The product with other sizes."""
    return replace(item, stock=stock)


def test_shares_add_up(assessor: Assessor, few: Catalogue, counted: Tally) -> None:
    """Served and the reasons for not being served make everybody; cells make all feet."""
    found = assessor.cover(few, counted)
    why = found.unserved
    assert found.served.value + why.size + why.score + why.needs == pytest.approx(1)
    assert why.size > 0
    assert sum(cell.share for cell in found.cells) == pytest.approx(1)
    served = sum(cell.share * (cell.served or 0) for cell in found.cells)
    assert served == pytest.approx(found.served.value)
    types = by_type(found.cells)
    assert sum(share * part for share, part in types.values()) == pytest.approx(served)
    assert found.choice.value <= found.served.value


def test_a_cell_says_what_can_be_sold_in_it(
    assessor: Assessor, few: Catalogue, counted: Tally
) -> None:
    """Where somebody is served there are products, pieces, prices and a score that suffices."""
    for cell in assessor.cover(few, counted).cells:
        assert cell.served is not None
        if cell.served == 0:
            assert (cell.products, cell.best, cell.stock) == (0, None, 0)
            continue
        assert cell.products >= 2
        assert cell.stock >= 2
        assert cell.best is not None
        assert 60 <= cell.best <= 100
        for band in (cell.shoe_prices, cell.insole_prices):
            assert band.low is not None
            assert band.low <= (band.high or 0)


def test_a_product_is_missed_by_exactly_those_who_depend_on_it(
    assessor: Assessor, few: Catalogue, counted: Tally
) -> None:
    """Taking any one product away lowers the share served by what was said it would."""
    found = assessor.cover(few, counted)
    losses = []
    for product in found.products:
        rest = assessor.headline(without(few, product.id), counted)
        assert found.served.value - rest.value == pytest.approx(product.sole), product.id
        losses.append(product.sole)
    assert max(losses) > 0.01
    assert min(losses) == 0


def test_more_products_or_looser_terms_never_serve_fewer(
    question: Question, catalogue: Catalogue, counted: Tally, few: Catalogue
) -> None:
    """Adding products, counting sold-out sizes, or selling parts alone serves at least as many."""
    crowd = question.crowd
    base = question.assessor().headline(few, counted).value
    whole = replace(question, catalogue=catalogue)
    assert answer(whole, quiet).coverage.served.value > base
    for change in ({"sold_out_counts": True}, {"sold": "any"}):
        looser = replace(question, **change)
        assessor = looser.assessor()
        tally = crowd.tally(question.book, assessor.classes)
        assert assessor.headline(few, tally).value >= base


def quiet(_name: str):
    """A stage that shows nothing."""
    return lambda _done, _total: None


def test_an_emptied_size_is_named(question: Question, few: Catalogue) -> None:
    """With no shoe left in 260, size 260 leads the sizes missing, for want of shoes."""
    emptied = tuple(
        with_stock(item, {s: n for s, n in item.stock.items() if not 258 <= s <= 266})
        if item.product.kind == "shoe"
        else item
        for item in few.items
    )
    run = answer(replace(question, catalogue=replace(few, items=emptied)), quiet)
    worst = run.coverage.missing_sizes[0]
    assert worst.size == 260
    assert worst.shoes > 0.9 * worst.share
    assert worst.insoles == 0


def test_what_blocks_everybody_is_named(question: Question, catalogue: Catalogue) -> None:
    """A shop of narrow shoes alone: width is the one attribute that keeps people out."""
    narrow = tuple(
        replace(i, levels={**i.levels, "shoe.width": 0.0}) if i.product.kind == "shoe" else i
        for i in catalogue.items
    )
    run = answer(replace(question, catalogue=replace(catalogue, items=narrow)), quiet)
    first = run.coverage.blocking[0]
    assert first.attribute == "shoe.width"
    assert first.alone > 0.5
    assert first.excluded > 0.5
    assert run.coverage.unserved.needs > 0.5


def test_a_product_that_can_never_be_listed_is_told_from_one_for_others(
    question: Question, catalogue: Catalogue
) -> None:
    """An insole too wide for every shoe can never be; a shoe made for nothing can, for a visit
    whose purpose was not asked.
    """
    flags = dict.fromkeys(("shoe.for-walking", "shoe.for-running", "shoe.for-standing-work"), 0.0)
    idle = renamed(catalogue.item("hasperlow-road"), "made-for-nothing", flags)
    block = renamed(catalogue.item("meskerholm-medium"), "block", {"insole.heel-width": 90.0})
    stated = [
        i for i in catalogue.items if i.product.kind == "insole" or "shoe.heel-width" in i.levels
    ]
    more = replace(catalogue, items=(*stated, idle, block))
    run = answer(replace(question, catalogue=more), quiet)
    known = {one.id: (one.suits_drawn, one.never) for one in run.coverage.products}
    assert known["hasperlow-road"] == (True, "")
    assert known["made-for-nothing"] == (False, "")
    assert known["block"] == (False, "no-partner")


def renamed(item: Item, name: str, levels: dict[str, float]) -> Item:
    """A product like another, with some other levels."""
    product = item.product.model_copy(update={"id": name})
    return replace(item, product=product, levels={**item.levels, **levels})


def test_against_itself_nothing_is_won_or_lost(
    assessor: Assessor, few: Catalogue, counted: Tally
) -> None:
    """The same catalogue twice."""
    change = compare_catalogues(assessor, few, few, counted).overall
    assert (change.won, change.lost) == (0, 0)
    assert change.share == pytest.approx(1)


def test_against_a_part_of_itself_only_wins(
    assessor: Assessor, few: Catalogue, counted: Tally
) -> None:
    """Won is the difference of the two headlines, type by type nothing is lost."""
    less = without(few, *(shoe.id for shoe in few.shoes[::2]))
    comparison = compare_catalogues(assessor, few, less, counted)
    expected = assessor.headline(few, counted).value - assessor.headline(less, counted).value
    assert expected > 0
    assert comparison.overall.won == pytest.approx(expected)
    assert all(change.lost == 0 for change in comparison.changes)
    back = compare_catalogues(assessor, less, few, counted).overall
    assert (back.won, back.lost) == (0, pytest.approx(expected))


def test_against_stricter_rules_only_wins(
    question: Question, assessor: Assessor, few: Catalogue, counted: Tally
) -> None:
    """Rules that ask 95 of 100 serve fewer; the difference is what is won against them."""
    parameters = question.book.parameters
    other = replace(question.book, parameters=parameters.changed({"rank.served": 95}))
    there = question.assessor(other)
    change = compare_rules(assessor, there, few, question.crowd).overall
    expected = assessor.headline(few, counted).value - there.headline(few, counted).value
    assert expected > 0.05
    assert (change.won, change.lost) == (pytest.approx(expected), 0)


def test_scenarios_bracket_what_is_assumed(question: Question) -> None:
    """Three further headlines, drawn with other correlations, each with its interval."""
    run = answer(replace(question, sensitivity=True), quiet)
    assert [one.name for one in run.scenarios] == ["none", "half", "strong"]
    for one in run.scenarios:
        assert one.served.low < one.served.value < one.served.high
    assert len({one.served.value for one in run.scenarios}) > 1
