"""What a visit tells of each foot: nothing of one foot is told of the other."""

from __future__ import annotations

import numpy as np

from recommend.infer.assess import assess
from recommend.infer.facts import facts_of, number_facts
from recommend.infer.variations import Variations
from recommend.measure.model import SIDES
from recommend.rulebook.vocabulary import Fact, about
from tests import shipped

FOOT = {"foot-length-mm": 265}


def test_pain_of_one_side_is_not_told_of_the_other() -> None:
    """Pain at the left heel is `yes` of the left foot and `no` of the right one."""
    visit = shipped.visit_of(FOOT, pain=[{"site": "heel", "side": "left", "score": 4}])
    told = {side: facts_of(visit, side, {}, shipped.book())["pain_heel"] for side in SIDES}
    assert told == {"left": "yes", "right": "no"}


def test_a_reading_is_told_with_both_ends_of_its_error() -> None:
    """By hand: 5.00004 with an error of 0.5, taken once, lies from 4.5 to 5.5; rounded to four."""
    parameters = shipped.book().parameters.changed({"noise.clearly": 1})
    found = number_facts("peak-angle", np.array([5.00004, -2.0]), 0.5, parameters)
    assert {name: one.tolist() for name, one in found.items()} == {
        "peak-angle": [5.0, -2.0], "peak-angle_low": [4.5, -2.5], "peak-angle_high": [5.5, -1.5],
    }  # fmt: skip
    wider = number_facts("x", np.array([5.0]), 0.5, parameters.changed({"noise.clearly": 2}))
    assert {name: one.tolist() for name, one in wider.items()} == {
        "x": [5.0], "x_low": [4.0], "x_high": [6.0],
    }  # fmt: skip


def test_body_weight_changes_for_both_feet() -> None:
    """One reading of the person is named once, and moved it is moved for the left and the right."""
    seen = assess(shipped.visit_of(FOOT, body_mass_kg=80), shipped.book())
    varied = Variations(seen, shipped.book())
    named = [side for side, name in varied.readings() if name == "body-mass"]
    assert named == ["left"]
    heavier = varied.changed({("left", "body-mass"): np.array([130.0])})
    assert {side: v.tolist() for side, name, v in heavier} == {key: [130.0] for key in SIDES}


def test_a_measure_that_follows_is_reckoned_again() -> None:
    """Length moved by 10 mm moves width over length by its definition: 100 / 250, 100 / 260."""
    foot = {"foot-length-mm": 250, "forefoot-width-mm": 100}
    varied = Variations(assess(shipped.visit_of(foot), shipped.book()), shipped.book())
    assert ("left", "width-ratio") not in varied.readings()
    longer = {("left", "foot-length"): np.array([250.0, 260.0])}
    changed = {(side, name): v.tolist() for side, name, v in varied.changed(longer)}
    assert changed["left", "width-ratio"] == [100 / 250, 100 / 260]
    assert changed["left", "length-difference"] == [0.0, 10.0]


def test_the_name_of_a_fact_is_taken_apart_as_it_was_put_together() -> None:
    """Every fact of the vocabulary, read by `about`, has the name that it was read from."""
    known = shipped.book().vocabulary
    names = [*known.numbers, *known.words]
    assert {name: about(name).name for name in names} == {name: name for name in names}
    assert about("peak-angle_low") == Fact("measure", "peak-angle", "low")
    assert about("decided_foot-type") == Fact("decided", "foot-type")
