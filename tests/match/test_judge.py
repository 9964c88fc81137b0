"""Products judged need by need, against a plain judge written again here."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recommend.catalogue.loading import Catalogue, Item
from recommend.match.judge import NeedVerdict, fit, judge, pair_levels
from recommend.match.needs import Need, PairNeeds, need_table
from recommend.match.shortlist import GROUPS, shortlist
from recommend.match.sizes import SizeClasses, Wanted, extra_length, longer_lengths, size_for
from recommend.match.weighing import BeyondAsked
from recommend.rulebook import Rulebook
from tests import shipped

MakeItem = Callable[..., Item]
FEET = {
    "fpi": {"total": 7},
    "foot-length-mm": 264,
    **shipped.angles("walking", contact=[6.0] * 10, midstance=[4.0] * 10, propulsion=[1.0] * 10),
}
PERSON = {"age_band": "adult", "purpose": "walking"}


def _need(attribute: str, comparison: str, target: float, strength: str, weight: float) -> Need:
    return Need(attribute, comparison, target, strength, weight, ("left",), ("r",), ("b",))  # type: ignore[arg-type]


ATTRIBUTES = st.sampled_from(
    ["insole.wedge", "insole.heel-cup", "shoe.wedge", "shoe.drop", "pair.wedge"]
)
NEEDS = st.lists(
    st.builds(
        lambda a, c, t, s, w: _need(a, c, t, s, w if s == "prefer" else 0.0),
        ATTRIBUTES,
        st.sampled_from(["at-least", "at-most", "above", "below"]),
        st.integers(-4, 14).map(float),
        st.sampled_from(["must", "prefer", "never"]),
        st.sampled_from([1.0, 2.0, 4.0]),
    ),
    max_size=12,
)
LEVEL = st.none() | st.integers(-3, 12).map(float)


def _plain_judge(levels: dict[str, float], needs: list[Need], book: Rulebook) -> tuple:
    """The judge written again, as plainly as can be: weight, gained, suitable."""
    weight = gained = 0.0
    suitable = True
    for need in needs:
        level = levels.get(need.attribute)
        if level is None:
            met, near = False, 0.0
        else:
            low, high = need.target, need.target
            met = {
                "at-least": level >= low, "above": level > low,
                "at-most": level <= high, "below": level < high,
            }[need.comparison]  # fmt: skip
            near = 1.0 if met else 1 - abs(level - need.target) / _tolerance(need, book)
        if need.strength == "prefer":
            weight += need.weight
            gained += need.weight * math.floor(4 * max(0.0, near)) / 4  # told in quarters
        elif level is None or met == (need.strength == "never"):
            suitable = False
    return weight, gained, suitable


def _tolerance(need: Need, book: Rulebook) -> float:
    return book.attributes[need.attribute].tolerance


@given(needs=NEEDS, wedge=LEVEL, cup=LEVEL, shoe_wedge=LEVEL, drop=LEVEL)
def test_a_pair_is_judged_as_a_plain_judge_would(
    book: Rulebook,
    item: MakeItem,
    needs: list[Need],
    wedge: float | None,
    cup: float | None,
    shoe_wedge: float | None,
    drop: float | None,
) -> None:
    """Weights, satisfaction and suitability of a shoe with an insole, attribute by attribute."""
    stated = {"insole.wedge": wedge, "insole.heel-cup": cup}
    worn = {"shoe.wedge": shoe_wedge, "shoe.drop": drop}
    insole = Item(item("i", insole_wedge=0).product, _known(stated), {})
    shoe = Item(item("s", shoe_wedge=0).product, _known(worn), {})
    levels = _known(stated) | _known(worn)
    if wedge is not None and shoe_wedge is not None:
        levels["pair.wedge"] = wedge + shoe_wedge
    judgement = judge((shoe, insole), PairNeeds(tuple(needs), ()), book)
    weight, gained, suitable = _plain_judge(levels, needs, book)
    assert (judgement.weight, judgement.suitable) == (weight, suitable)
    assert judgement.gained == pytest.approx(gained)


def _known(levels: dict[str, float | None]) -> dict[str, float]:
    return {name: level for name, level in levels.items() if level is not None}


def test_the_wedge_of_a_pair_is_that_of_both_parts(book: Rulebook, item: MakeItem) -> None:
    """A shoe alone counts its own wedge; with an insole both add up; unknown stays unknown."""
    shoe, insole = item("s", shoe_wedge=2.0), item("i", insole_wedge=3.0)
    assert pair_levels((shoe,), book) == {"pair.wedge": 2.0}
    assert pair_levels((insole,), book) == {"pair.wedge": 3.0}
    assert pair_levels((shoe, insole), book) == {"pair.wedge": 5.0}
    assert pair_levels((item("x", shoe_drop=8.0), insole), book) == {}


def _verdict(need: Need, level: float | None, book: Rulebook) -> NeedVerdict:
    """The one verdict of a product at `level`."""
    product = shipped.shop().insoles[0]
    levels = {} if level is None else {need.attribute: level}
    return judge((Item(product.product, levels, {}),), PairNeeds((need,), ()), book).verdicts[0]


@pytest.mark.parametrize(
    ("level", "shortfall", "satisfaction"),
    [
        (14.0, 0.0, 1.0),
        (20.0, 0.0, 1.0),
        (13.0, 1.0, 0.75),
        (12.0, 2.0, 0.75),
        (10.0, 4.0, 0.5),
        (6.0, 8.0, 0.0),
        (0.0, 14.0, 0.0),
    ],
)
def test_shortfall_is_in_the_unit_of_the_attribute(
    book: Rulebook, level: float, shortfall: float, satisfaction: float
) -> None:
    """A heel cup wanted 14 mm deep, tolerance 8 mm, told in quarters, worked by hand."""
    assert book.attributes["insole.heel-cup"].tolerance == 8
    verdict = _verdict(_need("insole.heel-cup", "at-least", 14.0, "prefer", 1.0), level, book)
    assert verdict.shortfall == shortfall
    assert verdict.satisfaction == pytest.approx(satisfaction)


def test_what_is_not_stated_cannot_be_shown_to_be_safe(book: Rulebook) -> None:
    """An unknown wedge breaks a never and a must; it only fails to satisfy a wish."""
    for strength, broken in (("never", True), ("must", True), ("prefer", False)):
        need = _need("insole.wedge", "above", 0.0, strength, 1.0)
        verdict = _verdict(need, None, book)
        assert verdict.broken is broken
        assert (verdict.shortfall, verdict.satisfaction) == (None, 0.0)


@pytest.mark.parametrize(
    ("wedge", "offered", "beyond"),
    [(0.0, "shop", 0), (0.5, "shop", 0.25), (2.0, "shop", 0.5), (-2.0, "shop", 0.5),
     (9.0, "shop", 1), (None, "shop", 1), (None, "own", 0)],
)  # fmt: skip
def test_what_goes_beyond_what_is_asked(
    book: Rulebook, item: MakeItem, wedge: float | None, offered: str, beyond: float
) -> None:
    """A wedge nobody asked for, in parts of its tolerance of 4, told in quarters, never less.

    By hand: half a degree is an eighth, told as a quarter. What is not stated of a product of the
    shop counts as far beyond; the customer's own is not held against them.
    """
    assert (book.attributes["insole.wedge"].tolerance, book.parameters.rank.met_steps) == (4, 4)
    levels = {} if wedge is None else {"insole_wedge": wedge}
    made = replace(item("i", insole_thickness=4.0, **levels), offered=offered)
    unasked = BeyondAsked(need_table(book), "insole", [made])
    nobody = need_table(book).active(np.zeros((1, len(need_table(book).rules)), np.bool_))
    found = unasked.beyond(nobody)[0, 0, unasked.attributes.index("insole.wedge")]
    assert found == beyond


# --- ranking ------------------------------------------------------------------------------------


@settings(max_examples=25)
@given(order=st.randoms(use_true_random=False))
def test_the_order_of_the_catalogue_does_not_matter(order: object) -> None:
    """Products in any order give the same lists in the same order."""
    assessment = shipped.assessed(FEET, **PERSON)
    items = list(shipped.shop().items[:12] + shipped.shop().items[-12:])
    mixed = list(items)
    order.shuffle(mixed)  # type: ignore[attr-defined]
    book, shop = shipped.book(), shipped.shop()
    lists = [
        shortlist(assessment, book, Catalogue(shop.folder, shop.digest, "EUR", tuple(one)))
        for one in (items, mixed)
    ]
    for group in GROUPS:
        for table in ("ranked", "missing", "excluded"):
            first, second = ([c.id for c in getattr(one, table)[group]] for one in lists)
            assert first == second


def test_ties_go_to_the_cheaper_then_to_the_name(item: MakeItem) -> None:
    """Four equals: the cheaper first, then by id; one without a price last; one group."""
    alike = [
        item("delta", 40.0, insole_wedge=0.0), item("bravo", 50.0, insole_wedge=0.0),
        item("alpha", 50.0, insole_wedge=0.0), item("echo", None, insole_wedge=0.0),
    ]  # fmt: skip
    feet = {"foot-length-mm": 265}
    catalogue = Catalogue("x", "x", "EUR", tuple(alike))
    listed = shortlist(shipped.assessed(feet), shipped.book(), catalogue)
    groups = [[c.id for c in equals.members] for equals in listed.groups["insole"]]
    assert groups[-1] == ["delta", "alpha", "bravo", "echo"]


def test_every_product_is_judged_once_and_placed_once() -> None:
    """Ranked, missing and excluded share no candidate and lose no product."""
    result = shipped.listed(FEET, **PERSON)
    for group, products in (("shoe", shipped.shop().shoes), ("insole", shipped.shop().insoles)):
        tables = (result.ranked, result.missing, result.excluded)
        told = [c for table in tables for c in table[group]]
        ids = [c.id for c in told if c.parts[0].offered == "shop"]
        assert sorted(ids) == sorted(p.id for p in products)


def test_a_must_and_a_never_come_before_any_score() -> None:
    """What is ranked breaks nothing and is in stock; what is excluded says what it breaks."""
    result = shipped.listed(FEET, **PERSON)
    for group in GROUPS:
        for candidate in result.ranked[group]:
            shop = all(part.offered == "shop" for part in candidate.parts)
            assert not shop or not any(v.broken for v in candidate.judgement.verdicts)
            assert all(one.there for one in candidate.sized)
        for candidate in result.excluded[group]:
            assert any(v.broken for v in candidate.judgement.verdicts)
        costs = [(c.back, c.fit, c.function) for c in result.ranked[group]]
        assert costs == sorted(costs)


# --- fitting together, sizes --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shoe", "insole", "fits"),
    [
        ({"shoe_removable_liner": 1, "shoe_volume": 1, "shoe_heel_width": 66},
         {"insole_thickness": 6, "insole_volume": 1, "insole_heel_width": 66}, True),
        ({"shoe_removable_liner": 0, "shoe_volume": 1, "shoe_heel_width": 66},
         {"insole_thickness": 6, "insole_volume": 1, "insole_heel_width": 66}, False),
        ({"shoe_removable_liner": 0, "shoe_volume": 1, "shoe_heel_width": 66},
         {"insole_thickness": 2, "insole_volume": 0, "insole_heel_width": 66}, True),
        ({"shoe_removable_liner": 1, "shoe_volume": 0, "shoe_heel_width": 66},
         {"insole_thickness": 6, "insole_volume": 2, "insole_heel_width": 66}, False),
        ({"shoe_removable_liner": 1, "shoe_volume": 1, "shoe_heel_width": 62},
         {"insole_thickness": 6, "insole_volume": 1, "insole_heel_width": 66}, False),
    ],
)  # fmt: skip
def test_an_insole_goes_in_when_liner_room_and_heel_allow(
    book: Rulebook, item: MakeItem, shoe: dict[str, float], insole: dict[str, float], fits: bool
) -> None:
    """A thick insole needs the liner out, room, and a heel seat as wide: common practice."""
    assert fit(item("s", **shoe), item("i", **insole), book.parameters).fits is fits


def test_what_is_not_stated_about_the_fit_is_said(book: Rulebook, item: MakeItem) -> None:
    """Unknown widths do not exclude a pair, and are named as unsure."""
    told = fit(item("s", shoe_removable_liner=1.0), item("i", insole_thickness=5.0),
               book.parameters)  # fmt: skip
    assert told.fits
    assert {"room inside is not stated", "width at the heel is not stated"} <= set(told.unsure)


@pytest.mark.parametrize(
    ("foot", "size", "smaller"),
    [(265, 265, None), (266, 265, None), (267, 270, 265), (262.4, 265, 260), (263, 265, 260),
     (263.1, 265, None), (264, 265, None), (270, 270, None), (300, None, None),
     (252, 260, None), (251.9, None, None), (271, 270, None), (271.1, None, None)],
)  # fmt: skip
def test_the_smallest_size_that_is_long_enough(
    book: Rulebook, item: MakeItem, foot: float, size: float | None, smaller: float | None
) -> None:
    """Mondopoint (ISO 9407) is foot length; a foot up to 1 mm longer still takes the size, and
    one 2 mm or more below its size is between two; a size 8 mm longer than the foot will do
    (our assumptions, worked by hand).
    """
    made = Item(item("s", shoe_drop=8.0).product, {}, {260.0: 1, 265.0: 2, 270.0: 1})
    sized = size_for(made, Wanted(foot, "x"), book.parameters)
    assert (sized.size, sized.smaller) == (size, smaller)
    assert (sized.availability == "not-made") == (size is None)


def test_lengths_of_one_class_take_the_size_that_each_takes(book: Rulebook, item: MakeItem) -> None:
    """In tenths of a millimetre, against the smallest size in reach by whole numbers, by hand."""
    sizes = (260, 265, 275)
    made = Item(item("s", shoe_drop=8.0).product, {}, {float(one): 1 for one in sizes})
    classes = SizeClasses([made], book.parameters)
    for tenths in range(2500, 2800):
        reach = [one for one in sizes if 10 * one - 80 <= tenths <= 10 * one + 10]
        (index,) = classes.of_lengths(np.array([tenths / 10]))
        assert classes.sized(made, int(index)).size == min(reach, default=None), tenths


def test_what_is_added_to_a_length_is_the_larger_of_two(book: Rulebook) -> None:
    """By hand: running adds 4 mm and growing 5, together 5; the longer foot, or the known one."""
    feet = [np.array([200.0, 200.0, 200.0, 200.0]), np.array([198.0, 204.0, np.nan, 200.0])]
    purposes, ages = ["running", "", "running", ""], ["child", "child", "adult", ""]
    found = longer_lengths(feet, purposes, ages, book.parameters)
    assert found.tolist() == [205.0, 209.0, 204.0, 200.0]
    told = zip(purposes, ages, strict=True)
    one = [extra_length(p or None, a or None, book.parameters) for p, a in told]
    assert one == [5.0, 5.0, 4.0, 0.0]


def test_a_size_that_is_sold_out_is_not_offered(book: Rulebook, item: MakeItem) -> None:
    """Made but out of stock is missing, not excluded; without a length nothing is said of it."""
    made = Item(item("s", shoe_drop=8.0).product, {}, {265.0: 0})
    assert size_for(made, Wanted(265.0, "x"), book.parameters).availability == "out-of-stock"
    assert size_for(made, Wanted(None, "x"), book.parameters).availability == "size-unknown"
