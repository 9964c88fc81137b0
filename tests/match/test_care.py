"""Every see-a-clinician answer takes something off the shelf that stood among the first."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from typing import Any, get_args

import pytest

from recommend.extras import shipped_folder
from recommend.match.outcome import as_document
from recommend.match.shortlist import GROUPS
from recommend.rulebook.compiling import leaves
from recommend.rulebook.conditions import OfAnswer, OfPain
from recommend.visit import Visit, read_visit
from recommend.visit.models import Pain, PainSite
from recommend.way import outcome_of
from tests import shipped

FIRST = 5  # how many of each kind the demo shows


def _demo() -> Iterator[Visit]:
    for file in sorted((shipped_folder("catalogue_demo") / "visits").glob("*.yaml")):
        visit = read_visit(file, shipped.book().questions)
        if visit.age_band in ("adult", "older") and "half" not in file.name:
            yield visit.model_copy(update={"answers": {**shipped.calm()}, "pain": []})
            tendon = Pain(site="achilles", side="both", score=2, weeks=1)  # a lift comes first
            yield visit.model_copy(update={"answers": {**shipped.calm()}, "pain": [tendon]})


@functools.cache
def _calm() -> list[tuple[Visit, dict[str, list[str]]]]:
    """The demo visits with every answer harmless, and the first products of each kind."""
    found = []
    for visit in _demo():
        ranked = outcome_of(visit, shipped.book(), shipped.shop()).shortlist
        assert ranked is not None
        found.append((visit, {g: [c.id for c in ranked.ranked[g][:FIRST]] for g in GROUPS}))
    return found


def _told(rule: str) -> tuple[dict[str, str], list[Any]]:
    """Answers and painful sites that make a rule of care fire."""
    answers: dict[str, str] = {}
    pain: list[Any] = []
    for leaf, _ in leaves(shipped.book().by_id[rule].rule.when, ()):
        if isinstance(leaf, OfAnswer):
            answers.setdefault(leaf.answer, str(leaf.is_))
        elif isinstance(leaf, OfPain):
            pain.append({"site": leaf.pain, "side": "both", "score": 3, "weeks": 1})
    return answers, pain


ASKED = sorted(
    rule.id
    for rule in shipped.book().rules
    if rule.id.startswith("care-")
    and any(isinstance(leaf, OfAnswer) for leaf, _ in leaves(rule.rule.when, ()))
)


@pytest.mark.parametrize("rule", ASKED)
def test_each_answer_removes_a_product_that_stood_among_the_first(rule: str) -> None:
    """With the answer, at least one product of the first five is ruled out, and why-not says so."""
    answers, pain = _told(rule)
    answers.pop("sudden-arch-collapse", None) if len(answers) > 1 else None
    for visit, first in _calm():
        after = {"lost-sensation": "no", "ulcer-amputation-kidneys": "no"} | answers
        band = "teen" if rule == "care-sudden-arch-collapse" else visit.age_band
        more = {"answers": {**visit.answers, **after}, "age_band": band}
        seen = Visit.model_validate(
            visit.model_copy(update=more).model_dump(by_alias=True, exclude_unset=True)
            | ({"pain": pain} if pain else {})
        )
        outcome = outcome_of(seen, shipped.book(), shipped.shop())
        assert outcome.shortlist is not None, [n.rule for n in outcome.assessment.notes]
        assert as_document(outcome)["clinician-first"]
        for group in ("shoe", "insole"):
            for one in outcome.shortlist.excluded[group]:  # type: ignore[index]
                broken = [v for v in one.judgement.verdicts if v.broken and rule in v.need.rules]
                if one.id in first[group] and broken:
                    return
    pytest.fail(f"{rule} removes nothing")


def test_nothing_has_a_place_while_a_question_that_can_stop_is_open() -> None:
    """Without one answer the products that would suit stand by name, and a field says so."""
    visit, first = _calm()[0]
    assert first["pair"]
    answers = {q: a for q, a in visit.answers.items() if q != "foot-newly-cold"}
    seen = visit.model_copy(update={"answers": answers})
    outcome = outcome_of(seen, shipped.book(), shipped.shop())
    assert outcome.shortlist is not None
    assert not any(outcome.shortlist.ranked.values())
    assert outcome.shortlist.unplaced == ("not-screened",)
    assert as_document(outcome)["not-screened"] == ["foot-newly-cold"]


def test_every_question_of_the_shipped_rulebook_names_its_alarming_answer() -> None:
    """What alarms is written down beside each question, and the old ones are read and not asked."""
    text = (shipped_folder("rules") / "questions.yaml").read_text(encoding="utf-8")
    questions = shipped.book().questions
    assert text.count("alarming:") == len(questions)
    assert [name for name, one in questions.items() if one.retired] == ["cannot-bear-weight"]
    old = shipped.assessed({}, answers={**shipped.calm(), "cannot-bear-weight": "yes"})
    assert old.stopped


def test_pain_of_zero_is_no_pain() -> None:
    """A site that is said to hurt 0 of 10 for years brings no note, and asks for nothing."""
    seen = shipped.assessed({}, pain=[{"site": "heel", "side": "left", "score": 0, "weeks": 90}])
    assert not seen.notes


READINGS: dict[str, dict[str, Any]] = {
    "care-far-posture": {"fpi": {"total": 11}},
    "care-two-lengths": {},
    "care-far-motion": {"rearfoot": [{"gait": "walking", "reference": "vertical", "peak": [15.0]}]},
    "care-pain": {},
}


@pytest.mark.parametrize("rule", READINGS)
def test_each_reading_removes_a_product_that_stood_among_the_first(rule: str) -> None:
    """A reading that a clinician should see rules out a product of the first five, by its rule."""
    for visit, first in _calm():
        told = visit.model_dump(mode="json", by_alias=True, exclude_unset=True)
        for side in ("left", "right"):
            told["feet"][side] |= READINGS[rule]
        if rule == "care-two-lengths":
            told["feet"]["left"]["foot-length-mm"] = told["feet"]["right"]["foot-length-mm"] - 15
            told["feet"]["left"].pop("truncated-foot-length-mm", None)
        if rule == "care-pain":
            told["pain"] = [{"site": "heel", "side": "both", "score": 7, "weeks": 1}]
        ranked = outcome_of(Visit.model_validate(told), shipped.book(), shipped.shop()).shortlist
        assert ranked is not None
        for group in ("shoe", "insole"):
            for one in ranked.excluded[group]:  # type: ignore[index]
                broken = [v for v in one.judgement.verdicts if v.broken and rule in v.need.rules]
                if one.id in first[group] and broken:
                    return
    pytest.fail(f"{rule} removes nothing")


@pytest.mark.parametrize("site", get_args(PainSite))
def test_each_painful_site_asks_for_something_or_says_that_it_chooses_nothing(site: str) -> None:
    """No site is passed over: it brings a need, a note, or the sentence that nothing is chosen."""
    feet = {"foot-length-mm": 265}
    pain = [{"site": site, "side": "both", "score": 3, "weeks": 2}]
    without, with_it = (shipped.assessed(feet, age_band="adult", pain=p) for p in ([], pain))
    new = {r for r, true in with_it.feet["left"].conclusions.truth.items() if true}
    new -= {r for r, true in without.feet["left"].conclusions.truth.items() if true}
    assert [r for r in new if r.startswith("need-") or r.startswith("caution-")]
