"""What the buyer is told holds together, and moves the way it must."""

from dataclasses import replace
from itertools import combinations

import pytest

from recommend.catalogue import Catalogue, Item
from recommend.coverage.report import Assessor
from recommend.coverage.run import CoverageQuestion, answer, compare_catalogues, compare_rules
from recommend.coverage.split import WAYS
from recommend.coverage.tally import Tally


def without(catalogue: Catalogue, *ids: str) -> Catalogue:
    """The catalogue less some products."""
    return replace(catalogue, items=tuple(i for i in catalogue.items if i.id not in ids))


def with_stock(item: Item, stock: dict[float, int]) -> Item:
    """The product with other sizes."""
    return replace(item, stock=stock)


def test_shares_add_up(assessor: Assessor, few: Catalogue, counted: Tally) -> None:
    """All shares are of all customers: outcomes, reasons, and every way to split make everybody."""
    found = assessor.cover(few, counted)
    out = {name: share.value for name, share in found.outcomes.items()}
    assert sum(out.values()) == pytest.approx(1)
    assert found.served.value == pytest.approx(out["well"] + out["plain"])
    lost = out["harmless"] + out["nothing"]
    assert sum(share for _, share in found.reasons) == pytest.approx(lost)
    assert lost > 0.01
    for row, column in [*combinations(WAYS, 2), *((way, "") for way in WAYS)]:
        cells = found.split.cells(row, column)
        assert sum(cell.share for cell in cells) == pytest.approx(1)
        served = sum(cell.share * cell.served for cell in cells)
        assert served == pytest.approx(found.served.value)
    assert found.choice.value <= found.served.value


def test_a_purpose_that_nothing_is_made_for_is_the_first_gap(
    question: CoverageQuestion, catalogue: Catalogue
) -> None:
    """A shop without running shoes: runners lead the gaps, are served 0 %, and are told why."""
    items = tuple(
        replace(i, levels={**i.levels, "shoe.for-running": 0.0}) if i.product.kind == "shoe" else i
        for i in catalogue.items
    )
    by = ("purpose", "size")
    run = answer(replace(question, catalogue=replace(catalogue, items=items), by=by), quiet)
    first = run.coverage.gaps[0]
    assert first.names == (("purpose", "running"),)
    assert first.lost == pytest.approx(first.share)
    assert (first.reason.why, first.reason.what) == ("needs", ("shoe.for-running",))
    assert all(cell.served == 0 for cell in run.coverage.cells if cell.row == "running")


def test_an_attribute_that_is_not_stated_is_named(
    question: CoverageQuestion, catalogue: Catalogue
) -> None:
    """Shoes whose wedge nobody states cannot be shown to be safe, and that is the reason told."""
    items = tuple(
        replace(i, levels={n: v for n, v in i.levels.items() if n != "shoe.wedge"})
        for i in catalogue.items
    )
    run = answer(replace(question, catalogue=replace(catalogue, items=items)), quiet)
    reason, share = run.coverage.reasons[0]
    assert (reason.why, reason.what) == ("not-stated", ("shoe.wedge",))
    assert share > 0.9


def test_a_cell_says_what_can_be_sold_in_it(
    assessor: Assessor, few: Catalogue, counted: Tally
) -> None:
    """Where somebody is served there are products, pieces and prices; elsewhere there are none."""
    found = assessor.cover(few, counted)
    for cell, shown in zip(found.cells, found.shown, strict=True):
        if cell.served == 0:
            assert (shown.products, shown.stock) == (0, 0)
            continue
        assert shown.products >= 1
        assert shown.stock >= 1
        band = shown.shoe_prices
        assert band.low is not None
        assert band.low <= (band.high or 0)


@pytest.mark.parametrize("sold", ["pair", "any"])
def test_a_product_is_missed_by_exactly_those_who_depend_on_it(
    question: CoverageQuestion, few: Catalogue, sold: str
) -> None:
    """Taking any one product away lowers the share served by what was said it would.

    Where parts are sold alone too, who can take an insole alone does not depend on a shoe.
    """
    if sold == "any":  # one insole alone, which nobody depends on whom a shoe serves
        few = replace(few, items=(*few.shoes, few.insoles[0]))
    assessor = replace(question, sold=sold).assessor()
    counted = question.crowd.tally(question.book, assessor.classes)
    found = assessor.cover(few, counted)
    losses = []
    for product in found.products:
        rest = assessor.headline(without(few, product.id), counted)
        assert found.served.value - rest.value == pytest.approx(product.sole), product.id
        losses.append(product.sole)
    assert min(losses) == 0
    assert sold == "any" or max(losses) > 0.01


def test_more_products_or_looser_terms_never_serve_fewer(
    question: CoverageQuestion, catalogue: Catalogue, counted: Tally, few: Catalogue
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


def test_an_emptied_size_is_named(question: CoverageQuestion, few: Catalogue) -> None:
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


def test_what_blocks_everybody_is_named(question: CoverageQuestion, catalogue: Catalogue) -> None:
    """A shop of narrow shoes alone: width is what most are not served for."""
    narrow = tuple(
        replace(i, levels={**i.levels, "shoe.width": 0.0}) if i.product.kind == "shoe" else i
        for i in catalogue.items
    )
    run = answer(replace(question, catalogue=replace(catalogue, items=narrow)), quiet)
    reason, share = run.coverage.reasons[0]
    assert (reason.level, reason.why, reason.what) == ("harmless", "needs", ("shoe.width",))
    assert share > 0.5


def test_a_product_that_can_never_be_listed_is_told_from_one_for_others(
    question: CoverageQuestion, catalogue: Catalogue
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


def test_against_rules_that_mark_no_wish_fewer_are_served(
    question: CoverageQuestion, assessor: Assessor, few: Catalogue, counted: Tally
) -> None:
    """Where the musts alone decide more are served; the difference is what is lost against them."""
    texts = {name: text for name, text in question.book.texts.items() if name != "serving.yaml"}
    other = replace(question.book, texts=replace(question.book.texts, files=texts))
    there = question.assessor(other)
    change = compare_rules(assessor, there, few, question.crowd).overall
    expected = there.headline(few, counted).value - assessor.headline(few, counted).value
    assert expected > 0.01
    assert (change.won, change.lost) == (0, pytest.approx(expected))


def test_every_assumption_that_decides_has_its_scenario(question: CoverageQuestion) -> None:
    """Marked wishes, shares of purposes, ages and sexes, and correlations move the headline."""
    run = answer(replace(question, sensitivity=True), quiet)
    found = {one.name: one for one in run.scenarios}
    served = run.coverage.served.value
    assert set(found) == {
        "half-wishes", "no-wishes", "purpose", "age-band", "sex", "correlations"
    }  # fmt: skip
    assert served <= found["half-wishes"].low <= found["no-wishes"].low
    assert found["no-wishes"].low > served
    for name in ("purpose", "age-band", "sex"):
        assert found[name].low - 1e-9 <= served <= found[name].high + 1e-9
