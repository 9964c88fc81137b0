"""What was worn or tried on and did harm is out, on every way to a ranking."""

from __future__ import annotations

from typing import Any

import pytest

from recommend.explain.explaining import Explanation
from recommend.extras import shipped_folder
from recommend.match.out import handed_on, harmful
from recommend.match.outcome import as_document
from recommend.match.shortlist import GROUPS
from recommend.match.sureness import WhatIf
from recommend.visit import Visit, read_visit
from recommend.way import outcome_of
from tests import shipped

VISIT = "pronated-high-arch-late-medial"


def _visit(**more: Any) -> Visit:
    file = shipped_folder("catalogue_demo") / "visits" / f"{VISIT}.yaml"
    read = read_visit(file, shipped.book().questions)
    seen = read.model_dump(mode="json", by_alias=True, exclude_unset=True)
    answers = seen.get("answers", {}) | more.pop("answers", {})
    return Visit.model_validate(seen | {"answers": answers} | more)


def _first() -> tuple[str, str]:
    """The shoe and the insole that stand first of all."""
    ranked = outcome_of(_visit(), shipped.book(), shipped.shop()).shortlist
    assert ranked is not None
    shoe, insole = ranked.ranked["pair"][0].parts
    return shoe.id, insole.id


HARM = {
    "new pain": {"answers": {"new-pain": "yes"}},
    "skin trouble": {"answers": {"skin-trouble": "yes"}},
    "low comfort": {"comfort": {"overall": 1}},
    "more pain": {
        "pain-before": {"left": 3}, "pain": [{"site": "heel", "side": "left", "score": 7}],
    },
}  # fmt: skip


@pytest.mark.parametrize("what", HARM)
def test_what_was_worn_and_hurt_is_out(what: str) -> None:
    """Neither the shoe nor the insole, nor a pair with one of them, is listed again."""
    shoe, insole = _first()
    harm = dict(HARM[what])
    top = {key: harm.pop(key) for key in ("answers", "pain") if key in harm}
    since = {"of": "earlier", "shoe": shoe, "insole": insole, "weeks-of-wear": 3, **harm}
    outcome = outcome_of(_visit(**top, **{"follow-up": since}), shipped.book(), shipped.shop())
    assert outcome.shortlist is not None
    for table in (outcome.shortlist.ranked, outcome.shortlist.missing):
        listed = {part.id for group in table.values() for one in group for part in one.parts}
        assert not listed & {shoe, insole}
    out = as_document(outcome)["shortlist"]["shoe"]["did-harm"]
    assert list(out) == [shoe]
    assert what.replace("low ", "") in out[shoe]
    why = Explanation(outcome).why_not(shoe)
    assert "ruled out (worn since the last visit" in why.text


def test_wear_without_harm_rules_nothing_out() -> None:
    """Comfort above the limit, no new pain, less pain than before: the list stays as it was."""
    shoe, insole = _first()
    since = {
        "of": "earlier", "shoe": shoe, "insole": insole, "weeks-of-wear": 3,
        "comfort": {"overall": 5}, "pain-before": {"left": 9, "right": 9},
    }  # fmt: skip
    answers = {"new-pain": "no", "skin-trouble": "no"}
    seen = _visit(answers=answers, **{"follow-up": since})
    ranked = outcome_of(seen, shipped.book(), shipped.shop()).shortlist
    assert ranked is not None
    assert ranked.ranked["pair"][0].id == f"{shoe}+{insole}"


@pytest.mark.parametrize(
    ("now", "out"), [(4, False), (5, False), (6, True), (None, False)]
)  # fmt: skip
def test_only_pain_that_grew_is_harm(now: int | None, out: bool) -> None:
    """Pain of 5 before: as much or less, or unsaid, is no harm; by site, and by side alone."""
    shoe, insole = _first()
    pain = {"site": "heel", "side": "left"}
    then = {"of": "earlier", "shoe": shoe, "insole": insole, "pain-before": {"left": 5}}
    by_site = {"pain-sites-before": [{**pain, "score": 5}]}
    here = [{**pain, "score": now} if now is not None else pain]
    for more in ({}, by_site):
        found = harmful(_visit(pain=here, **{"follow-up": then | more}), shipped.book().parameters)
        assert set(found) == ({shoe, insole} if out else set()), more


@pytest.mark.parametrize(("beside", "out"), [(0, True), (0.5, False), (-0.5, True)])
def test_comfort_at_the_limit_hurts(beside: float, out: bool) -> None:
    """`trial.comfort-poor` is the highest comfort that hurts, worn or tried on."""
    shoe, insole = _first()
    parameters = shipped.book().parameters
    comfort = {"heel": parameters.trial.comfort_poor + beside}
    step = {"shoe": shoe, "insole": insole, "feet": {"left": {"comfort": comfort}}}
    since = {"of": "earlier", "shoe": shoe, "insole": insole, "comfort": comfort}
    for told in ({"trials": [step]}, {"follow-up": since}):
        found = harmful(_visit(**told), parameters)
        assert set(found) == ({shoe, insole} if out else set())


def test_redraws_keep_out_what_hurt() -> None:
    """How sure, and the nearest change, never count a product in that did harm."""
    shoe, insole = _first()
    foot = {"comfort": {"heel": 2}}
    step = {"shoe": shoe, "insole": insole, "feet": {"left": foot}}
    outcome = outcome_of(_visit(trials=[step]), shipped.book(), shipped.shop())
    cases = WhatIf(outcome).outcomes({}, 1).cases
    assert outcome.shortlist is not None
    for group in GROUPS:
        listed, _ = cases.within(group)
        ids = [one for one, is_in in zip(cases.ranking.ids(group), listed[0], strict=True) if is_in]
        assert sorted(ids) == sorted(one.id for one in outcome.shortlist.ranked[group])
        assert not {shoe, insole} & {part for one in ids for part in one.split("+")}


def test_the_own_shoe_is_no_product() -> None:
    """An insole worn in the customer's own shoe is out; no product is called `own`."""
    _, insole = _first()
    since = {"of": "earlier", "shoe": "own", "insole": insole, "comfort": {"overall": 0}}
    outcome = outcome_of(_visit(**{"follow-up": since}), shipped.book(), shipped.shop())
    assert outcome.shortlist is not None
    harmed = {one.id for one in outcome.shortlist.excluded["insole"] if one.harm}
    assert harmed == {insole}


def test_what_did_harm_stays_out_until_a_fitter_lifts_it_with_a_reason() -> None:
    """It is handed on from visit to visit; lifted, it stands again, until it does harm anew."""
    shoe, insole = _first()
    since = {"of": "earlier", "shoe": shoe, "insole": insole, "comfort": {"overall": 1}}
    parameters = shipped.book().parameters
    out = handed_on(_visit(**{"follow-up": since}), parameters)
    assert [one["product"] for one in out] == sorted([shoe, insole])
    later = _visit(out=out)
    assert set(harmful(later, parameters)) == {shoe, insole}
    assert handed_on(later, parameters) == out
    lifted = [one | {"lifted": "the liner was torn, a new one does not rub"} for one in out]
    assert not harmful(_visit(out=lifted), parameters)
    assert not handed_on(_visit(out=lifted), parameters)
    with pytest.raises(ValueError, match="lifted"):
        _visit(out=[out[0] | {"lifted": "ok"}])


def test_what_does_as_much_as_what_hurt_steps_back_with_the_reason() -> None:
    """After a firm insole hurt, insoles as firm come after all others, and each says why."""
    firm = shipped.shop().by_id["ommerstead-firm"]  # firm, no wedge
    since = {"of": "earlier", "shoe": "own", "insole": firm.id, "comfort": {"overall": 1}}
    ranked = outcome_of(_visit(**{"follow-up": since}), shipped.book(), shipped.shop()).shortlist
    assert ranked is not None
    close = [bool(one.close) for one in ranked.ranked["insole"]]
    assert any(close)
    assert not all(close)
    assert close == sorted(close)
    assert all(firm.product.title in c.close for c in ranked.ranked["insole"] if c.close)


@pytest.mark.parametrize(("mass", "out"), [(110.0, False), (110.5, True)])
def test_nothing_is_offered_to_a_person_heavier_than_its_maker_says(mass: float, out: bool) -> None:
    """A product made for 110 kg serves one of 110 kg and none of 110.5; the reason is told."""
    made = [i.id for i in shipped.shop().shoes if i.levels.get("shoe.load-limit") == 110]
    assert made
    told = outcome_of(_visit(**{"body-mass-kg": mass}), shipped.book(), shipped.shop()).shortlist
    assert told is not None
    words = [one.refused for one in told.excluded["shoe"] if one.id in made and one.refused]
    assert bool(words) is out
    assert all("made for people of up to 110 kg" in text for text in words)


def test_a_child_has_room_to_grow_and_a_posture_of_its_own() -> None:
    """A child's size is 5 mm longer (common practice); a score of 6 is pronated in adults alone.

    Posture: the 85th percentile at 6 to 11 years is 6 (Gijon-Nogueron 2016), seen second-hand.
    """
    feet = {"fpi": {"total": 6}, "foot-length-mm": 200}
    ages = ("child", "adult")
    told = {age: shipped.listed(feet, age_band=age, purpose="walking") for age in ages}
    assert {age: one.wanted.length for age, one in told.items()} == {"child": 205, "adult": 200}
    seen = {age: shipped.assessed(feet, age_band=age).feet["left"] for age in ages}
    axes = {age: one.conclusions.axes["posture"] for age, one in seen.items()}
    assert axes == {"child": "neutral", "adult": "pronated"}
