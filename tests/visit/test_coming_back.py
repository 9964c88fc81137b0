"""The customer who comes back."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from recommend.infer.adviser import Adviser
from recommend.trial.came_back import came_back
from recommend.visit import read_visit
from recommend.visit.coming_back import begun_again, steps_again
from recommend.visit.entry import Entry, visit_of
from recommend.visit.models import Visit
from recommend.visit.shelf import Draft


def _again(**told: Any) -> Visit:
    """A visit after four weeks, with pain 4 before."""
    now = told.pop("now", 4)
    base: dict[str, Any] = {
        "reference": "T-1",
        "pain": [{"site": "heel", "side": "left", "score": now}] if now else [],
        "answers": told.pop("answers", {}),
        "follow-up": {"of": "T-1_2026-02-05", "weeks-of-wear": 4, "pain-before": {"left": 4}},
    }
    base["follow-up"] |= told
    return Visit.model_validate(base)


def _notes(counter: Adviser, visit: Visit) -> set[str]:
    return {note.rule for note in counter.assess(visit).notes}


@pytest.mark.parametrize(
    ("now", "rule"),
    [
        (4, "see-pain-persisting"),
        (3, "see-pain-persisting"),  # one point less is within the error of asking
        (5, "caution-pain-a-little-more"),
        (6, "see-pain-grown"),
    ],
)
def test_pain_is_judged_with_its_error(counter: Adviser, now: int, rule: str) -> None:
    """Pain counts as less, or as more, only beyond the error of asking twice."""
    assert rule in _notes(counter, _again(now=now))


@pytest.mark.parametrize("now", [0, 1, 2])
def test_pain_that_has_clearly_become_less_brings_no_note(counter: Adviser, now: int) -> None:
    """Two points less, or no pain at all, are no reason to send anyone."""
    assert _notes(counter, _again(now=now)) <= {"caution-heel-pain-first"}  # of any heel pain


def test_pain_in_the_first_days_of_wear_is_not_yet_persisting(counter: Adviser) -> None:
    """Before two weeks of wear the same pain is watched, not sent on."""
    assert "see-pain-persisting" not in _notes(counter, _again(**{"weeks-of-wear": 1}))


@pytest.mark.parametrize(
    ("question", "level"),
    [
        ("new-pain", "see-clinician"),
        ("skin-trouble", "see-clinician"),
        ("numbness-or-weakness", "stop"),
        ("open-wound", "stop"),
    ],
)
def test_new_trouble_brings_a_note_by_rule(counter: Adviser, question: str, level: str) -> None:
    """New pain and skin trouble send to a clinician, numbness and wounds stop."""
    notes = counter.assess(_again(now=0, answers={question: "yes"})).notes
    assert [note.level for note in notes] == [level]


def test_what_is_asked_after_wear_is_not_asked_before(counter: Adviser) -> None:
    """A first visit has no open question about the time since."""
    first = Visit(reference="T-1")
    assert "new-pain" not in counter.assess(first).to_ask
    assert "new-pain" in counter.assess(_again()).to_ask


def test_a_follow_up_begins_with_what_was_known() -> None:
    """Link and worst pain of each side; age band and purpose to be confirmed."""
    earlier = read_visit(Path("catalogue_demo/visits/pronated.yaml"))
    tree = begun_again(earlier, "QB-0102_2025-03-05", date(2025, 4, 16))
    assert tree["follow-up"] == {
        "of": "QB-0102_2025-03-05",
        "pain-before": {"left": 3, "right": 3},
        "pain-sites-before": [{"site": "arch", "side": "both", "score": 3, "weeks": 4.0}],
    }
    assert (tree["age-band"], tree["purpose"]) == ("adult", "walking")
    assert "answers" not in tree
    assert "pain" not in tree


def test_sizes_and_posture_count_until_taken_anew_each_with_its_day() -> None:
    """What was measured then stands with its day; what was filmed is filmed again."""
    earlier = read_visit(Path("catalogue_demo/visits/pronated.yaml"))
    tree = begun_again(earlier, "QB-0102_2025-03-05", date(2025, 4, 16))
    left = earlier.feet.left
    assert tree["feet"]["left"]["foot-length-mm"] == left.foot_length_mm
    assert "rearfoot" not in tree["feet"]["left"]
    assert tree["carried"]["foot-length"] == earlier.date
    assert "purpose" not in tree["carried"]  # asked again each time


@pytest.mark.parametrize(
    ("today", "carried"), [(date(2025, 5, 1), True), (date(2025, 9, 1), False)]
)
def test_a_growing_foot_is_measured_again_after_three_months(today: date, carried: bool) -> None:
    """Sizes and posture of a child count for three months at most (common practice, no source)."""
    earlier = read_visit(Path("catalogue_demo/visits/child.yaml"))
    tree = begun_again(earlier, "QB-0109_2025-03-16", today, child_days=92)
    assert ("feet" in tree) == carried


def test_what_is_carried_is_passed_over_until_it_is_opened(counter: Adviser) -> None:
    """Only screening, wear and motion are asked anew; a new answer takes the old day away."""
    earlier = read_visit(Path("catalogue_demo/visits/pronated.yaml"))
    tree = begun_again(earlier, "QB-0102_2025-03-05", date(2025, 4, 16))
    worn = {"shoe": {"mimberlow-walk": "a walking shoe"}}
    steps = steps_again(counter.book.questions, counter.book.purposes, "eu", "vertical", worn)
    entry = Entry(steps, Draft(tree), counter)
    passed = {step.stem for step in entry.passed_over}
    assert {"foot-length", "talar-head"} <= passed
    assert not {"open-wound", "weeks-of-wear", "pain"} & passed
    entry.draft.opened, entry.draft.at = True, "foot-length.left"
    entry.feed("266")
    assert "foot-length" not in entry.draft.tree["carried"]


def test_the_time_since_is_asked_after_screening_and_before_measures(counter: Adviser) -> None:
    """The order of a follow-up; comfort is rated for each foot, and what presses by region."""
    steps = steps_again(
        counter.book.questions,
        counter.book.purposes,
        "eu",
        "vertical",
        {"shoe": {"mimberlow-walk": "a walking shoe"}},
    )
    blocks = list(dict.fromkeys(step.block for step in steps))
    assert blocks[:3] == ["Screening", "Since the last visit", "Purpose and size"]
    told_before = {"of": "T-1_2026-02-05"}
    draft = Draft({"reference": "T-1", "date": "2026-03-20", "follow-up": told_before})
    entry = Entry(steps, draft, counter)
    weeks = next(step for step in steps if step.id == "weeks-of-wear")
    assert weeks.usual(draft.tree) == "6"  # offered: 43 days
    assert weeks.standing(draft.tree) is None  # and not taken unasked
    entry.draft.at = "worn-shoe"
    assert "did you mean `mimberlow-walk`" in entry.feed("mimbrlow-walk").say.lower()
    entry.draft.at = "weeks-of-wear"
    assert "43 days ago" in entry.feed("26").say  # half a year of wear in six weeks is asked about
    assert entry.feed("6").kind == "taken"
    entry.draft.at = "comfort-overall.left"
    assert entry.feed("12").kind == "refused"
    entry.feed("7.5")
    entry.feed("8")
    entry.feed("right arch 3")
    told = visit_of(draft.tree).follow_up
    assert told is not None
    assert told.comfort_of("left") == {"overall": 7.5}
    assert told.comfort_of("right") == {"overall": 8, "arch": 3}


def test_outcomes_are_counted_by_product_with_the_error_of_pain(counter: Adviser) -> None:
    """Less and more only beyond error; the customer's own shoe counts for nothing."""
    told = {"shoe": "own", "insole": "meskerholm-soft", "returned": "no", "comfort": {"overall": 8}}
    visits = [
        _again(now=0, **told),
        _again(now=3, **told),
        _again(now=9, **(told | {"returned": "yes", "comfort": {"overall": 2}})),
        Visit(reference="T-2"),
    ]
    (row,) = came_back(visits, counter.book.measures, counter.book.parameters)
    assert (row.product, row.customers, row.weeks) == ("meskerholm-soft", 3, 4)
    assert (row.comfort, row.rated, row.returned, row.told) == (6, 3, 1, 3)
    assert (row.less, row.same, row.more) == (1, 1, 1)
