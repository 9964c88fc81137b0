"""The nearest change is exact: it alters the outcome, and nothing nearer does."""

from __future__ import annotations

import numpy as np
import pytest

from recommend.infer.assess import assess
from recommend.infer.one import Engine
from recommend.rulebook import Rulebook
from recommend.show.sure import away
from recommend.trail.leaders import Leaders, firsts_of
from recommend.trail.nearest import STEP, nearest_changes
from recommend.trail.whatif import Key, Outcomes, WhatIf
from recommend.visit import read_visit
from tests.trail.conftest import TOP
from tests.trail.random_visits import random_visit

SCANNED = 200  # readings tried between the visit and its nearest change


def differs(before: Outcomes, after: Outcomes, alters: str) -> np.ndarray:
    """(n,) whether what-ifs differ in what a change is said to alter."""
    what, _, which = alters.partition(" ")
    if what == "foot-type":
        return after.types[which] != before.types[which][0]  # type: ignore[index]
    first = firsts_of(before.case_of(0))
    rows = range(len(after.case))
    return np.array([firsts_of(after.case_of(row)) != first for row in rows])


@pytest.mark.parametrize("seed", range(12))
def test_nothing_nearer_alters_the_outcome(
    book: Rulebook, engine: Engine, leaders: Leaders, seed: int
) -> None:
    """The change does what it says, and no reading between the visit's and it does.

    Readings are tried on both sides, one step of what rules compare short of the change, and
    at hundreds of places between, whichever limits there are.
    """
    whatif = WhatIf(assess(random_visit(book, seed, calm=True), book, engine), book, leaders)
    before = whatif.outcomes({}, 1)
    stream = np.random.RandomState(seed)
    for change in nearest_changes(whatif):
        key: Key = (change.side, change.measure)
        at = whatif.outcomes({key: np.array([change.value])}, 1)
        assert differs(before, at, change.alters)[0]
        step = 1.0 if change.unit == "score" else STEP
        reach = abs(change.by) - step
        if reach <= 0:
            continue
        shares = np.concatenate([[1.0, -1.0], stream.uniform(-1, 1, SCANNED)])
        tried = change.was + np.rint(shares * reach / step) * step
        tried = np.clip(tried, change.was - reach, change.was + reach)
        nearer = whatif.outcomes({key: tried}, len(tried))
        assert not differs(before, nearer, change.alters).any(), change


def test_every_reading_that_can_alter_the_outcome_is_listed(
    book: Rulebook, engine: Engine, leaders: Leaders
) -> None:
    """A reading that is not listed alters nothing, however far it is moved."""
    visit = read_visit(TOP / "catalogue_demo" / "visits" / "two-types.yaml")
    whatif = WhatIf(assess(visit, book, engine), book, leaders)
    before = whatif.outcomes({}, 1)
    listed = {(c.side, c.measure, c.alters) for c in nearest_changes(whatif)}
    for key in whatif.readings():
        was = float(whatif.measure(key).value)
        tried = was + np.linspace(-1, 1, 2001) * max(60.0, 0.9 * abs(was))
        after = whatif.outcomes({key: tried}, len(tried))
        for side in ("left", "right"):
            if differs(before, after, f"foot-type {side}").any():
                assert (*key, f"foot-type {side}") in listed


def test_a_change_reckoned_by_hand(book: Rulebook, engine: Engine, leaders: Leaders) -> None:
    """By hand: contact is clearly above 4 when the reading less its standard error exceeds 4.

    So the nearest reading that alters the type is the first one beyond 4 plus the error, on the
    grid of four decimals that rules compare.
    """
    visit = read_visit(TOP / "catalogue_demo" / "visits" / "high-arch-late-pronator.yaml")
    whatif = WhatIf(assess(visit, book, engine), book, leaders)
    error = whatif.measure(("right", "contact-angle")).error
    assert error is not None
    found = [
        c for c in nearest_changes(whatif)
        if (c.side, c.measure, c.alters) == ("right", "contact-angle", "foot-type right")
    ]  # fmt: skip
    assert len(found) == 1
    assert 0 < found[0].value - (4.0 + error) <= 2e-4
    assert found[0].errors == pytest.approx((found[0].value - found[0].was) / error)


def test_changes_are_in_order_of_what_noise_could_do(
    book: Rulebook, engine: Engine, leaders: Leaders
) -> None:
    """The smallest change in standard errors comes first."""
    whatif = WhatIf(
        assess(random_visit(book, 3, whole=True, calm=True), book, engine), book, leaders
    )
    errors = [abs(c.errors) for c in nearest_changes(whatif) if c.errors is not None]
    assert errors == sorted(errors)
    assert errors


@pytest.mark.parametrize(
    ("value", "up", "places", "shown"),
    [
        (4.8089, True, 2, 4.81),
        (4.8011, True, 2, 4.81),
        (-1.5011, False, 2, -1.51),
        (6.0, True, 0, 6),
    ],
)
def test_a_shown_value_is_rounded_away(value: float, up: bool, places: int, shown: float) -> None:
    """What is shown lies beyond the exact value, never short of it; worked by hand."""
    assert away(value, up, places) == shown
