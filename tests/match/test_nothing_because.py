"""Where nothing suits, the reason is said; where one product is out, it stands first."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from recommend.catalogue import Catalogue
from recommend.explain.explaining import Explanation
from recommend.match.outcome import Outcome, as_document
from recommend.visit import Visit
from recommend.way import outcome_of
from tests import shipped

FOOT = {"foot-length-mm": 265}


def _outcome(shop: Catalogue, feet: dict[str, Any] = FOOT, **more: Any) -> Outcome:
    told = {"reference": "N-1", "purpose": "walking", "age-band": "adult", "pain": [], **more}
    told = {"answers": shipped.calm(), "feet": {"left": feet, "right": feet}, **told}
    return outcome_of(Visit.model_validate(told), shipped.book(), shop)


def _without(attribute: str) -> Catalogue:
    """The demo shop, of whose insoles nobody states an attribute."""
    shop = shipped.shop()
    items = tuple(
        replace(one, levels={k: v for k, v in one.levels.items() if k != attribute})
        if one.product.kind == "insole"
        else one
        for one in shop.items
    )
    return replace(shop, items=items)


def test_what_is_not_stated_is_named() -> None:
    """No insole states its wedge: none suits where an insole is asked for, and that is why."""
    hurts = [{"site": "heel", "side": "both", "score": 2, "weeks": 1}]
    lists = as_document(_outcome(_without("insole.wedge"), pain=hurts))["shortlist"]
    assert lists["insole"]["groups"] == []
    assert any("insole wedge" in why and "does not state" in why
               for why in lists["insole"]["nothing-because"])  # fmt: skip
    assert lists["pair"]["nothing-because"][0] == "no insole suits"
    assert lists["shoe"]["nothing-because"] == []


def test_what_the_customer_refuses_is_a_reason_as_well() -> None:
    """Their shoes are worn out and every other is above the limit of 5: that is said."""
    outcome = _outcome(
        shipped.shop(), wishes={"price-limit": 5}, **{"own-shoes": {"wear": "worn-out"}}
    )
    shoes = as_document(outcome)["shortlist"]["shoe"]
    assert shoes["groups"] == []
    assert any("price limit of 5" in why for why in shoes["nothing-because"])


def test_what_ruled_it_out_stands_first() -> None:
    """Of a wedge of 8 degrees the first line below the name is the need that it breaks."""
    tree = Explanation(_outcome(shipped.shop())).why_not("pottlescar-8")
    first = tree.children[0].text
    assert first.startswith("ruled out by: ")
    assert "insole.wedge" in first
    assert "because" in first
    whole = Explanation(_outcome(shipped.shop())).product("pottlescar-8")
    assert whole.children[0].text.startswith("ruled out by: ")


def test_no_product_of_the_shop_is_unknown() -> None:
    """Every product, the customer's own and none can be looked up, with a length and without."""
    for feet in (FOOT, {}):
        explained = Explanation(_outcome(shipped.shop(), feet))
        names = [one.id for one in shipped.shop().items]
        for name in (*names, "own-shoes", "no-insole"):
            assert explained.why_not(name).text
