"""Pain by site: a new pain is never taken for an old one of the same side."""

from __future__ import annotations

from typing import Any

import pytest

from recommend.infer.adviser import Adviser
from recommend.match.shortlist import GROUPS
from recommend.measure.repeated import history
from recommend.show.trial import plan_lines
from recommend.show.trial_answer import trial_lines
from recommend.trial.came_back import came_back
from recommend.trial.plan import plan_of
from recommend.trial.whole_trial import as_document, trial_outcome
from recommend.visit.models import Visit
from recommend.visit.pain import pain_since
from recommend.way import outcome_of
from tests import shipped


def _pain(site: str, score: int, side: str = "left") -> dict[str, Any]:
    return {"site": site, "side": side, "score": score}


def _again(then: list[dict[str, Any]], now: list[dict[str, Any]], **more: Any) -> Visit:
    since = {"of": "T-1_2026-02-05", "weeks-of-wear": 4, "pain-sites-before": then, **more}
    read = {"reference": "T-1", "age-band": "adult", "answers": shipped.calm()}
    return Visit.model_validate(read | {"pain": now, "follow-up": since})


NEW_BESIDE_OLD = ([_pain("heel", 6)], [_pain("heel", 2), _pain("forefoot", 5)])


def _notes(visit: Visit) -> set[str]:
    return {note.rule for note in Adviser(shipped.book()).assess(visit).notes}


def test_a_new_pain_is_told_beside_an_old_one_that_fell() -> None:
    """The heel fell from 6 to 2 and the forefoot is new: less pain there, a new pain here."""
    since = pain_since(_again(*NEW_BESIDE_OLD)) or ()
    assert {(one.site, one.change, one.new) for one in since} == {
        ("heel", -4, False), ("forefoot", None, True),
    }  # fmt: skip
    notes = _notes(_again(*NEW_BESIDE_OLD))
    assert "see-new-pain" in notes
    assert not notes & {"see-pain-grown", "see-pain-persisting", "caution-pain-a-little-more"}


@pytest.mark.parametrize(
    ("now", "note"), [(6, "see-pain-persisting"), (9, "see-pain-grown"), (0, None)]
)
def test_an_old_pain_is_judged_by_its_own_site(now: int, note: str | None) -> None:
    """The other foot and other sites leave the change of this site as it is; no pain is new."""
    then = [_pain("heel", 6), _pain("shin", 5, "right")]
    notes = _notes(_again(then, [_pain("heel", now), _pain("shin", 1, "right")]))
    assert "see-new-pain" not in notes
    assert note is None or note in notes


def test_a_new_pain_leaves_nothing_with_a_first_place() -> None:
    """What would suit stands by name, the pair that was worn is out, and the reason is told."""
    worn = {"shoe": "own", "insole": "ommerstead-firm"}
    feet = {"left": {"foot-length-mm": 270}, "right": {"foot-length-mm": 270}}
    made = _again(*NEW_BESIDE_OLD, **worn).model_dump(by_alias=True, exclude_unset=True)
    visit = Visit.model_validate(made | {"feet": feet, "purpose": "walking"})
    ranked = outcome_of(visit, shipped.book(), shipped.shop()).shortlist
    assert ranked is not None
    assert ranked.unplaced == ("pain-not-looked-at",)
    assert not any(ranked.ranked[group] for group in GROUPS)
    assert ranked.without_place["shoe"]
    harmed = {one.id: one.harm for one in ranked.excluded["insole"] if one.harm}
    assert "new pain (forefoot left)" in harmed["ommerstead-firm"]


def test_outcomes_count_a_new_pain_and_history_has_a_line_for_each_site() -> None:
    """Of one product: one site less, one new; the lines of history never join two sites."""
    book = shipped.book()
    visit = _again(*NEW_BESIDE_OLD, shoe="a-shoe")
    row = came_back([visit], book.measures, book.parameters)[0]
    assert (row.less, row.same, row.more, row.new) == (1, 0, 0, ("forefoot left",))
    first = Visit.model_validate({"reference": "T-1", "pain": NEW_BESIDE_OLD[0]})
    lines = history([first, visit], book.measures, book.parameters)
    told = {
        line.qualifiers["site"]: [float(one.value) for one in line.taken]
        for line in lines
        if line.measure == "pain-score"
    }
    assert told == {"heel": [6.0, 2.0], "forefoot": [0.0, 5.0]}
    assert not {"pain-before", "pain-change", "pain-again"} & {line.measure for line in lines}


def test_a_trial_and_its_plan_repeat_what_a_clinician_should_see() -> None:
    """The note is said again before anything is tried on; with a new pain nothing is."""
    made = _again(*NEW_BESIDE_OLD).model_dump(by_alias=True, exclude_unset=True)
    feet = {"left": {"foot-length-mm": 270}, "right": {"foot-length-mm": 270}}
    visit = Visit.model_validate(made | {"feet": feet, "purpose": "walking"})
    outcome = outcome_of(visit, shipped.book(), shipped.shop())
    tried = trial_outcome(outcome)
    screens = (trial_lines(tried, 400), plan_lines(plan_of(outcome), outcome, 400))
    for lines in screens:
        assert "take it out of use and go back to what was worn" in "\n".join(map(str, lines))
    assert "a new pain is to be looked at first" in "\n".join(map(str, screens[1]))
    assert any("A new pain" in say for say in as_document(tried)["clinician-first"])
