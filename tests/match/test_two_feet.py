"""Two feet, one pair: what they want apart, the shorter one, and the width of forefoot and heel."""

from __future__ import annotations

from typing import Any

import pytest

from recommend.match.outcome import as_document
from recommend.match.shortlist import Shortlist
from recommend.show.answer import answer_lines
from recommend.visit import Visit
from recommend.way import outcome_of
from tests import shipped

LENGTH = {"foot-length-mm": 265}
PLAIN = {"reference": "F-1", "purpose": "walking", "age-band": "adult", "pain": []}


def _outcome(left: dict[str, Any], right: dict[str, Any], **more: Any) -> Any:
    told = {**PLAIN, "answers": shipped.calm(), "feet": {"left": left, "right": right}, **more}
    return outcome_of(Visit.model_validate(told), shipped.book(), shipped.shop())


def _listed(left: dict[str, Any], right: dict[str, Any], **more: Any) -> Shortlist:
    ranked: Shortlist | None = _outcome(left, right, **more).shortlist
    assert ranked is not None
    return ranked


def _film(peak: float, back: float) -> list[dict[str, Any]]:
    strides = {"touchdown": [0.0] * 5, "peak": [peak] * 5, "propulsion": [back] * 5}
    return [{"gait": "walking", "reference": "vertical", "peak-time": [38] * 5, **strides}]


def test_opposed_wishes_of_the_two_feet_are_told() -> None:
    """A left that rolls in far wants hold, a right on its outer side none, and what was done."""
    left = {**LENGTH, "fpi": {"total": 8}, "rearfoot": _film(13, 3)}
    right = {**LENGTH, "fpi": {"total": -3}, "rearfoot": _film(4, 0)}
    outcome = _outcome(left, right)
    told = [text for text in as_document(outcome)["conflicts"] if text.startswith("Stability")]
    assert len(told) == 1
    assert "the left foot wants mild or more" in told[0]
    assert "the right foot wants none" in told[0]
    assert "of the left foot, comes first" in told[0]  # strong before usual
    screen = "\n".join(line.plain for line in answer_lines(outcome, lambda: None, 80))
    assert "Unlike" in screen
    assert "stability" in screen.lower()
    same = _outcome(left, left)
    assert as_document(same)["conflicts"] == []


@pytest.mark.parametrize(
    ("shorter", "words"),
    [(265, ""), (263, ""), (262, "lace it firmer"), (258, "try both sizes"), (252, "two pairs")],
)
def test_what_can_be_done_for_the_shorter_foot(shorter: float, words: str) -> None:
    """By 3, 7 and 13 mm a filler, two sizes, a clinician (common practice, no source)."""
    told = _listed({"foot-length-mm": shorter}, LENGTH).wanted.smaller
    assert bool(told) == bool(words)
    assert words in told
    if words:
        assert f"the left foot is {265 - shorter} mm shorter" in told


def test_a_difference_within_its_error_is_told() -> None:
    """7 mm is more than a size by less than the error of two readings: the size says it."""
    ranked = _outcome({"foot-length-mm": 258}, LENGTH).shortlist
    assert ranked is not None
    assert "7 mm shorter" in ranked.wanted.smaller


def test_a_size_reckoned_from_a_shoe_is_whole() -> None:
    """EU 38 is a foot of 38 x 20/3 - 15 = 238.3 mm by definition, and is told as 238."""
    ranked = _listed({}, {}, **{"shoe-size": {"system": "eu", "value": 38}})
    assert ranked.wanted.length == 238


@pytest.mark.parametrize(
    ("heel", "seats"),
    [(60, lambda mm: mm <= 65), (83, lambda mm: mm >= 69), (71, lambda mm: 65 <= mm <= 69)],
)
def test_the_heel_seat_is_judged_by_the_measured_heel(heel: float, seats: Any) -> None:
    """60, 71 and 83 mm on 265 are .226, .268 and .313: narrow, usual and wide by ANSUR 2012.

    Of soldiers of 17 to 58 some 10 % lie below .248 and above .294.
    """
    foot = {**LENGTH, "heel-width-mm": heel}
    shoes = [c for c in _listed(foot, foot).ranked["shoe"] if c.parts[0].offered == "shop"]
    for one in shoes:
        (seat,) = {
            verdict.level for verdict in one.judgement.verdicts
            if verdict.need.attribute == "shoe.heel-width"
        }  # fmt: skip
        missed = one.fit - 2 * one.length_step
        assert seat is not None
        assert (missed == 0) == seats(seat), (one.id, seat, missed)
