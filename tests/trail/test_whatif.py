"""What-ifs over columns come to what the one-by-one path comes to."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from recommend.catalogue import Catalogue
from recommend.extras import shipped_folder
from recommend.infer.assess import Assessment, FootAssessment, assess
from recommend.infer.engine import Engine
from recommend.infer.facts import facts_of
from recommend.infer.variations import Key, Variations
from recommend.match.shortlist import shortlist
from recommend.measure.model import SIDES, Measure, Side
from recommend.rulebook import Rulebook
from recommend.visit import Visit, read_visit
from tests import shipped
from tests.trail.conftest import whatif_of
from tests.trail.random_visits import random_visit

DEMO = shipped_folder("catalogue_demo")


def changed(was: Assessment, readings: dict[Key, float], engine: Engine) -> Assessment:
    """The assessment with other readings, through the reference engine, one foot at a time."""
    measures = {side: dict(was.feet[side].measures) for side in SIDES}
    for (of, name), value in readings.items():
        sides = SIDES if measures[of][name].shared else (of,)  # of the person: on both feet
        for side in sides:
            measures[side][name] = replace(measures[side][name], value=value)
    for side in SIDES:
        follow(measures, side)
    feet = {side: _foot(was, side, measures[side], engine) for side in SIDES}
    visit = was.visit
    for side in SIDES:
        if "foot-length" in measures[side]:
            length = float(measures[side]["foot-length"].value)
            foot = getattr(visit.feet, side).model_copy(update={"foot_length_mm": length})
            visit = visit.model_copy(update={"feet": visit.feet.model_copy(update={side: foot})})
    return replace(was, visit=visit, feet=feet, notes=(), to_ask=())


# Differences of the feet by their definition: the size of left less right.
FOLLOW = (
    ("fpi-difference", "fpi"),
    ("peak-difference", "peak-angle"),
    ("length-difference", "foot-length"),
)


def follow(measures: dict[Side, dict[str, Measure]], side: Side) -> None:
    """Reckon anew what follows from other readings, by its definition."""
    own = measures[side]
    for name, base in FOLLOW:
        if name in own:
            left, right = (float(measures[s][base].value) for s in SIDES)
            own[name] = replace(own[name], value=abs(left - right))
    for name, low in (("rearfoot-range", "touchdown"), ("rearfoot-return", "propulsion")):
        if name in own:
            peak, other = (float(own[n].value) for n in ("peak-angle", f"{low}-angle"))
            own[name] = replace(own[name], value=peak - other)
    if "pain-change" in own:
        now, then = (float(own[n].value) for n in ("pain-score", "pain-before"))
        own["pain-change"] = replace(own["pain-change"], value=now - then)
    if "width-ratio" in own:
        width, length = (float(own[n].value) for n in ("forefoot-width", "foot-length"))
        own["width-ratio"] = replace(own["width-ratio"], value=width / length)


def _foot(
    was: Assessment, side: Side, measures: dict[str, Measure], engine: Engine
) -> FootAssessment:
    foot = was.feet[side]
    facts = facts_of(was.visit, side, measures, engine.book)
    return replace(foot, measures=measures, conclusions=engine.conclude(facts))


@pytest.mark.parametrize("seed", range(12))
def test_what_ifs_agree_with_the_reference_engine(
    book: Rulebook, catalogue: Catalogue, engine: Engine, seed: int
) -> None:
    """Types, notes and first products of redrawn readings are those of the reference engine."""
    was = assess(random_visit(book, seed, calm=True), book, engine)
    whatif = whatif_of(was, book, catalogue)
    stream = np.random.RandomState(seed)
    drawn = {
        key: np.round(
            float(whatif.variations.measure(key).value)
            + 2 * (whatif.variations.measure(key).error or 0.0) * stream.standard_normal(6),
            4,
        )
        for key in whatif.variations.readings()
    }
    outcomes = whatif.outcomes(drawn, 6)
    types = [*book.types, None]
    for row in range(6):
        one = changed(was, {key: float(values[row]) for key, values in drawn.items()}, engine)
        for side in SIDES:
            assert types[outcomes.types[side][row]] == one.feet[side].foot_type
        for rule, due in outcomes.notes.items():
            assert due[row] == any(one.feet[s].conclusions.truth[rule] is True for s in SIDES)
        groups = shortlist(one, book, catalogue).groups
        firsts = {
            group: tuple(sorted(c.id for c in equals[0].members))
            for group, equals in groups.items()
            if equals
        }
        if not outcomes.stopped[row]:
            assert outcomes.firsts_of(row) == firsts


@pytest.mark.parametrize(
    ("more", "one_answer"),
    [
        ({}, True),
        ({"pain-sites-before": [{"site": "heel", "side": "left", "score": 4}]}, True),
        ({"pain-sites-before": [{"site": "knee-inner", "side": "left", "score": 4}]}, False),
    ],
)
def test_how_pain_changed_follows_from_the_pain_now(more: dict[str, Any], one_answer: bool) -> None:
    """By hand: heel pain of 4 then and of 5 now; were it 7 or 9, it had grown by 3 or 5.

    Where another site hurt then, what hurts now is another answer, and the change stays.
    """
    told = {
        "reference": "A-1", "feet": {}, "pain": [{"site": "heel", "side": "left", "score": 5}],
        "follow-up": {"of": "x", "shoe": "own", "pain-before": {"left": 4}, **more},
    }  # fmt: skip
    book = shipped.book()
    variations = Variations(assess(Visit.model_validate(told), book), book)
    assert (("left", "pain-again") not in variations.readings()) is one_answer
    worse = variations.changed({("left", "pain-score"): np.array([7.0, 9.0])})
    found = {name: values.tolist() for side, name, values in worse if side == "left"}
    assert found["pain-score"] == [7, 9]
    assert found.get("pain-change") == ([3, 5] if one_answer else None)
    limit = book.limits["pain-unchanged"].values[0].value
    error = variations.measure(("left", "pain-change")).error or 0
    clearly = 4 + limit + book.parameters.noise.clearly * error
    places = set(variations.breakpoints(("left", "pain-score")))
    assert not one_answer or any(abs(place - clearly) < 1e-9 for place in places)


def test_what_is_of_the_person_changes_on_both_feet(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """Another body weight is another weight on either foot: there is one reading of it."""
    was = assess(read_visit(DEMO / "visits" / "pronated.yaml"), book, engine)
    variations = whatif_of(was, book, catalogue).variations
    heavier = np.array([95.0, 120.0])
    changed = {(s, n): v for s, n, v in variations.changed({("left", "body-mass"): heavier})}
    for side in SIDES:
        assert changed[side, "body-mass"].tolist() == [95.0, 120.0]
