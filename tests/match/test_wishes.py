"""What the customer wants and has: a price limit, what they refuse, their own shoes."""

from __future__ import annotations

from typing import Any

import pytest

from recommend.catalogue.loading import attribute_of
from recommend.errors import InputError, Place
from recommend.match.shortlist import Shortlist
from recommend.match.telling import fit_lines
from recommend.visit import Visit
from recommend.way import outcome_of
from tests import shipped

FOOT = {"foot-length-mm": 265}
PLAIN = {"purpose": "walking", "age-band": "adult", "pain": []}


def _listed(**more: Any) -> Shortlist:
    calm = {name: one.calm for name, one in shipped.book().questions.items()}
    feet = {"left": FOOT, "right": FOOT}
    told = {"reference": "W-1", "answers": calm, "feet": feet, **PLAIN, **more}
    ranked = outcome_of(Visit.model_validate(told), shipped.book(), shipped.shop()).shortlist
    assert ranked is not None
    return ranked


def test_nothing_dearer_than_the_limit_is_listed() -> None:
    """A pair costs at most the limit, and what is dearer says so."""
    dear = _listed()
    limit = 150.0
    listed = _listed(wishes={"price-limit": limit})
    assert all(one.price <= limit for one in listed.ranked["pair"])  # type: ignore[operator]
    assert {one.id for one in listed.ranked["pair"]} < {one.id for one in dear.ranked["pair"]}
    refused = [one for one in listed.excluded["pair"] if one.refused]
    assert refused
    assert all("price limit of 150" in one.refused for one in refused)


def test_a_pair_at_the_limit_is_listed() -> None:
    """The limit is the most that may be paid: a pair that costs just as much is listed."""
    priced = [one for one in _listed().ranked["pair"] if one.price]
    some = priced[len(priced) // 2]
    kept = {one.id for one in _listed(wishes={"price-limit": some.price}).ranked["pair"]}
    less = {one.id for one in _listed(wishes={"price-limit": some.price - 0.01}).ranked["pair"]}
    assert some.id in kept
    assert some.id not in less


def test_what_would_not_be_worn_is_out() -> None:
    """A product by its name, and every product with a level that is refused."""
    first = next(c for c in _listed().ranked["shoe"] if c.parts[0].offered == "shop")
    unwanted = {"products": [first.id], "attributes": {"shoe.width": ["wide", "extra-wide"]}}
    listed = _listed(wishes={"would-not-wear": unwanted})
    for table in (listed.ranked, listed.missing):
        for one in table["shoe"]:
            assert one.id != first.id
            assert one.parts[0].levels.get("shoe.width") not in (2.0, 3.0)


@pytest.mark.parametrize(
    ("unwanted", "words"),
    [
        ({"products": ["ebbenholt-wlak"]}, "Did you mean `ebbenholt-walk`"),
        ({"attributes": {"shoe.widht": ["wide"]}}, "Did you mean `shoe.width`"),
        ({"attributes": {"shoe.width": ["wiide"]}}, "`shoe.width` is `wiide`"),
    ],
)
def test_a_misspelt_wish_is_one_sentence(unwanted: dict[str, Any], words: str) -> None:
    """An unknown product, attribute or level is told with the nearest spelling."""
    with pytest.raises(InputError, match=r"wishes\.would-not-wear") as raised:
        _listed(wishes={"would-not-wear": unwanted})
    assert words in str(raised.value)


def test_own_shoes_come_first_where_nothing_asks_for_more() -> None:
    """With nothing measured or told, no other shoe and no insole precede; a pain alters that."""
    plain = _listed()
    assert [plain.groups[g][0].first.id for g in ("shoe", "insole")] == ["own-shoes", "no-insole"]
    hurts = _listed(pain=[{"site": "heel", "side": "left", "score": 3}])
    assert "no-insole" not in [one.id for one in hurts.ranked["insole"]]


@pytest.mark.parametrize(
    "own", [{"wear": "worn-out"}, {"months": 60}, {"months": 1, "wear": "worn-out"}]
)
def test_worn_out_or_old_shoes_will_not_do(own: dict[str, Any]) -> None:
    """Shoes of one's own that are worn out, or worn for years, are no candidate."""
    assert "own-shoes" not in [one.id for one in _listed(**{"own-shoes": own}).ranked["shoe"]]


def test_own_shoes_two_sizes_off_will_not_do() -> None:
    """A shoe worn now that is made for a foot 25 mm shorter is no candidate (EU 37 for 265 mm)."""
    listed = _listed(**{"shoe-size": {"system": "mondopoint", "value": 240}})
    assert "own-shoes" not in [one.id for one in listed.ranked["shoe"]]


def test_described_own_shoes_are_judged_like_any_product() -> None:
    """The same attributes as a shoe of the shop: the same fit with wishes, but nothing to buy."""
    hurts = [{"site": "achilles", "side": "left", "score": 3}]
    shop = next(c for c in _listed(pain=hurts).ranked["shoe"] if c.parts[0].offered == "shop")
    stated = shop.parts[0].product.attributes
    listed = _listed(pain=hurts, **{"own-shoes": {"attributes": dict(stated), "months": 3}})
    own = next(c for c in listed.ranked["shoe"] if c.id == "own-shoes")
    met = [v.satisfaction for v in own.judgement.verdicts]
    assert met == [v.satisfaction for v in shop.judgement.verdicts]
    assert own.function <= shop.function
    alike = [one.id for g in listed.groups["shoe"] for one in g.members if own in g.members]
    assert alike == ["own-shoes"]  # what is to be bought is no equal of what is there


def _insole(**attributes: Any) -> dict[str, Any]:
    plain = {
        "wedge": 0, "arch-medial": "full", "arch-lateral": "none", "arch-transverse": "none",
        "arch-firmness": "soft", "arch-height": "low", "heel-cup": 14, "cushion-heel": "soft",
        "cushion-forefoot": "soft", "thickness": 5, "volume": "medium", "shell": "none",
    }  # fmt: skip
    return {"title": "their insole", "attributes": plain | attributes}


def test_a_kept_insole_is_judged_and_another_counts_against() -> None:
    """It stays where it serves, takes room in the shoe, and stays out where rules forbid it."""
    hurts = [{"site": "heel", "side": "both", "score": 2, "weeks": 1}]
    kept = _listed(pain=hurts, keeps={"insole": _insole()})
    assert kept.ranked["insole"][0].id == "own-insole"
    others = [one for one in kept.ranked["insole"] if one.parts[0].offered == "shop"]
    assert all(one.instead == "their insole would come out" for one in others)
    weight = shipped.book().parameters.rank.weight_kept
    bare = {one.id: one.function for one in _listed(pain=hurts).ranked["insole"]}
    assert all(one.function == bare[one.id] + weight for one in others)
    thick = _listed(pain=hurts, keeps={"insole": _insole(volume="high")})
    with_it = [one for one in thick.ranked["pair"] if one.id.endswith("+own-insole")]
    assert with_it
    assert all(one.parts[0].levels.get("shoe.volume") == 2 for one in with_it)
    wedged = _listed(pain=hurts, keeps={"insole": _insole(wedge=8)})
    assert [one.id for one in wedged.will_not_do["insole"] if one.id != "no-insole"] == [
        "own-insole"
    ]
    assert not any(one.instead for one in wedged.ranked["insole"])


def test_thick_socks_ask_for_room() -> None:
    """The first shoe of the shop has more room inside than without them, or as much."""
    wanted = {need.attribute for need in _listed(keeps={"socks": "thick"}).needs.needs}
    assert "shoe.volume" in wanted
    assert "shoe.volume" not in {need.attribute for need in _listed().needs.needs}


def test_a_seat_that_is_missed_is_never_said_to_fit() -> None:
    """Two wishes bound the heel seat: what one of them misses is told once, and not as fitting."""
    narrow = {"left": FOOT | {"heel-width-mm": 58}, "right": FOOT | {"heel-width-mm": 58}}
    told = [
        [line for line in fit_lines(one, shipped.book()) if line.startswith("heel seat")]
        for one in _listed(feet=narrow).ranked["shoe"]
        if one.parts[0].offered == "shop"
    ]
    assert all(len(lines) == 1 for lines in told)
    assert {line for [line] in told} > {"heel seat fits"}


def test_an_insole_that_is_described_by_what_it_has_not_is_told_so_in_english() -> None:
    """A product in a file and an insole of the customer's are refused in the same sentence."""
    with pytest.raises(InputError, match="`stability` is not an attribute of an insole"):
        attribute_of("insole", "stability", shipped.book().attributes, Place("a visit"))
