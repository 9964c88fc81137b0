"""The nearest change is exact: it alters the outcome, and nothing nearer does."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from recommend.catalogue import Catalogue
from recommend.infer.assess import assess
from recommend.infer.engine import Engine
from recommend.infer.variations import STEP, Key
from recommend.match.sureness import Outcomes
from recommend.measure.model import SIDES
from recommend.rulebook import Rulebook
from recommend.show.sure import away
from recommend.visit import read_visit
from recommend.whatif import candidates, nearest_changes
from tests.trail.conftest import TOP, in_pain, whatif_of
from tests.trail.random_visits import random_visit

SCANNED = 200  # readings tried between the visit and its nearest change


def differs(before: Outcomes, after: Outcomes, alters: str) -> np.ndarray:
    """(n,) whether what-ifs differ in what a change is said to alter."""
    what, _, which = alters.partition(" ")
    if what == "note":
        return after.notes[which] != before.notes[which][0]
    if what == "foot-type":
        return after.types[which] != before.types[which][0]  # type: ignore[index]
    first = before.firsts_of(0)
    return np.array([after.firsts_of(row) != first for row in range(len(after.case))])


@pytest.mark.parametrize("seed", range(12))
def test_nothing_nearer_alters_the_outcome(
    book: Rulebook, engine: Engine, catalogue: Catalogue, seed: int
) -> None:
    """The change does what it says, and no reading between the visit's and it does.

    Readings are tried on both sides, one step of what rules compare short of the change, and
    at hundreds of places between, whichever limits there are.
    """
    whatif = whatif_of(assess(random_visit(book, seed, calm=True), book, engine), book, catalogue)
    before = whatif.outcomes({}, 1)
    stream = np.random.RandomState(seed)
    for change in nearest_changes(whatif):
        key: Key = (change.side or "left", change.measure)
        at = whatif.outcomes({key: np.array([change.value])}, 1)
        assert all(differs(before, at, effect.alters)[0] for effect in change.effects)
        step = 1.0 if change.unit == "score" else STEP
        reach = abs(change.by) - step
        if reach <= 0:
            continue
        shares = np.concatenate([[1.0, -1.0], stream.uniform(-1, 1, SCANNED)])
        tried = change.was + np.rint(shares * reach / step) * step
        tried = np.clip(tried, change.was - reach, change.was + reach)
        tried = np.clip(tried, *whatif.variations.possible(key))  # a score of 17 is no reading
        nearer = whatif.outcomes({key: tried}, len(tried))
        for effect in change.effects:
            assert not differs(before, nearer, effect.alters).any(), change


def test_every_reading_that_can_alter_the_outcome_is_listed(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """A reading that is not listed alters nothing, however far it is moved."""
    visit = read_visit(TOP / "catalogue_demo" / "visits" / "two-types.yaml")
    whatif = whatif_of(assess(visit, book, engine), book, catalogue)
    before = whatif.outcomes({}, 1)
    changes = nearest_changes(whatif)
    listed = {(c.side or "left", c.measure, e.alters) for c in changes for e in c.effects}
    levels = {rule.id: getattr(rule.rule.then, "note", None) for rule in book.rules}
    for key in whatif.variations.readings():
        was = float(whatif.variations.measure(key).value)
        tried = was + np.linspace(-1, 1, 2001) * max(60.0, 0.9 * abs(was))
        tried = np.clip(tried, book.measures[key[1]].lowest, book.measures[key[1]].highest)
        after = whatif.outcomes({key: tried}, len(tried))
        for side in ("left", "right"):
            if differs(before, after, f"foot-type {side}").any():
                assert (*key, f"foot-type {side}") in listed
        of_key = {
            levels[what[5:]] for *of, what in listed if tuple(of) == key and what[:5] == "note "
        }
        turned = {levels[r] for r in after.notes if differs(before, after, f"note {r}").any()}
        assert turned <= of_key


def test_a_change_reckoned_by_hand(book: Rulebook, engine: Engine, catalogue: Catalogue) -> None:
    """By hand: the peak is clearly above 8.8 when the reading less its error exceeds 8.8.

    So the nearest reading that alters the type is the first one beyond 8.8 plus the error, on the
    grid of four decimals that rules compare.
    """
    visit = read_visit(TOP / "catalogue_demo" / "visits" / "high-arch-late-pronator.yaml")
    whatif = whatif_of(assess(visit, book, engine), book, catalogue)
    error = whatif.variations.measure(("right", "peak-angle")).error
    assert error is not None
    found = [
        c for c in nearest_changes(whatif)
        if (c.side, c.measure) == ("right", "peak-angle")
        and "foot-type right" in [effect.alters for effect in c.effects]
    ]  # fmt: skip
    above = [c for c in found if c.value > c.was]
    assert len(above) == 1
    assert 0 < above[0].value - (8.8 + error) <= 2e-4
    assert above[0].errors == pytest.approx((above[0].value - above[0].was) / error)


@pytest.mark.parametrize(
    ("place", "steps"), [(0.00037, (2, 3, 4, 5)), (-0.00037, (-5, -4, -3, -2))]
)
def test_readings_on_both_sides_of_a_place_are_tried(place: float, steps: tuple[int, ...]) -> None:
    """By hand: from the step below the place, one before it to two after; also below zero.

    A reading is compared rounded to four decimals, so that ``>=`` may turn half a step before the
    place and ``>`` half a step after it.
    """
    variations = SimpleNamespace(
        measure=lambda _: SimpleNamespace(unit="deg", value=1.0),
        possible=lambda _: (-90.0, 90.0),
    )
    whatif = SimpleNamespace(variations=variations, breakpoints=lambda _: [place])
    tried = candidates(whatif, ("left", "peak-angle"))  # type: ignore[arg-type]
    assert sorted(np.rint(tried / 1e-4)) == list(steps)


def test_changes_are_in_order_of_what_noise_could_do(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """The smallest change in standard errors comes first."""
    whatif = whatif_of(
        assess(random_visit(book, 3, whole=True, calm=True), book, engine), book, catalogue
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


def test_a_note_is_named_and_an_answer_for_both_feet_is_one_reading(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """By hand: pain above 5 calls for a clinician, so an answer of 5 is one step from it.

    The answer was given once, of both feet: it is named once, without a foot. Answers given of
    each foot by itself are two.
    """
    both = in_pain({"site": "heel", "side": "both", "score": 5, "weeks": 1})
    each = in_pain(*({"site": "heel", "side": s, "score": 5, "weeks": 1} for s in SIDES))
    for visit, feet in ((both, [None]), (each, ["left", "right"])):
        whatif = whatif_of(assess(visit, book, engine), book, catalogue)
        found = [c for c in nearest_changes(whatif) if c.measure == "pain-score"]
        nearest = [c for c in found if abs(c.by) == 1]
        assert [c.side for c in nearest] == feet
        for change in nearest:
            assert (change.was, change.value) == (5, 6)
            effects = [e for e in change.effects if e.alters == "note see-strong-pain"]
            assert [(e.before, e.after, e.level) for e in effects] == [
                ("not due", "due", "see-clinician")
            ]


def test_no_reading_is_moved_to_what_cannot_be(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """Every nearest change lies within the lowest and highest value of its measure."""
    for seed in range(6):
        whatif = whatif_of(assess(random_visit(book, seed), book, engine), book, catalogue)
        for change in nearest_changes(whatif):
            definition = book.measures[change.measure]
            assert definition.lowest <= change.value <= definition.highest


def test_what_one_reading_alters_at_one_value_is_one_entry(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """No two entries name the same reading at the same value."""
    for seed in range(6):
        whatif = whatif_of(assess(random_visit(book, seed), book, engine), book, catalogue)
        keys = [(c.side, c.measure, c.value) for c in nearest_changes(whatif)]
        assert len(keys) == len(set(keys))
