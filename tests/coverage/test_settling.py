"""What to take when minutes are short: within the minutes, and never less for more of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from recommend.coverage.population import load_population
from recommend.coverage.settling import ReadingPlan, plan
from recommend.visit.intake import READINGS, intake, measures_of
from tests.shipped import book

RULES = Path(__file__).parents[2] / "rules"


@pytest.fixture(scope="module")
def plans() -> dict[int, ReadingPlan]:
    """Plans of the shipped rulebook for few and many minutes."""
    rules = book()
    steps = intake(rules.questions, rules.purposes, "eu", "vertical")
    feeds = {one: found for one in READINGS if (found := measures_of(one, steps))}
    takes = {one: rules.parameters.entry[f"minutes-{one}"] for one in feeds}
    fixed = rules.parameters.entry.minutes_fixed
    population = load_population(RULES / "population.yaml")
    return {m: plan(rules, population, feeds, takes, fixed, m) for m in (1, 6, 12, 60)}


def test_the_minutes_are_kept(plans: dict[int, ReadingPlan]) -> None:
    """No plan takes longer than there is time, but for what is always taken."""
    for minutes, made in plans.items():
        assert made.minutes <= minutes or not made.readings


def test_more_minutes_never_settle_less(plans: dict[int, ReadingPlan]) -> None:
    """With an hour for it, everything that readings can decide is settled, nothing given up."""
    settled = [plans[minutes].settled for minutes in sorted(plans)]
    assert settled == sorted(settled)
    assert settled[-1] == 1.0
    assert not any(plans[60].given_up.values())


def test_what_is_given_up_is_said(plans: dict[int, ReadingPlan]) -> None:
    """Without any reading something is lost, and each loss is named with its size."""
    assert plans[1].settled < 1
    assert max(plans[1].given_up.values()) > 0
