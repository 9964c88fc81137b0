"""Redraws repeat, and their shares are what the normal distribution says."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy import stats

from recommend.catalogue import Catalogue
from recommend.infer.assess import Assessment, assess
from recommend.infer.engine import Engine
from recommend.infer.variations import Key, Readings
from recommend.match.sureness import Outcomes, WhatIf, how_sure
from recommend.measure.model import SIDES
from recommend.rulebook import Rulebook
from recommend.visit import read_visit
from tests.trail.conftest import DEMO, TOP, in_pain, whatif_of

SEED = "5e" * 32


def assessed(name: str, book: Rulebook, engine: Engine) -> Assessment:
    """A demo visit, assessed."""
    return assess(read_visit(TOP / "catalogue_demo" / "visits" / f"{name}.yaml"), book, engine)


def with_error_only_in(was: Assessment, side: str, name: str, value: float) -> Assessment:
    """The assessment with every error zero but that of one reading, which is set to `value`."""
    feet = {}
    for s in SIDES:
        measures = {n: replace(m, error=0.0) for n, m in was.feet[s].measures.items()}
        if s == side:
            measures[name] = replace(was.feet[s].measures[name], value=value)
        feet[s] = replace(was.feet[s], measures=measures)
    return replace(was, feet=feet)


def test_the_same_seed_gives_the_same_redraws(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """A seed repeats exactly; another seed does not."""
    whatif = whatif_of(assessed("two-types", book, engine), book, catalogue)
    assert how_sure(whatif, SEED, 300) == how_sure(whatif, SEED, 300)
    assert how_sure(whatif, SEED, 300) != how_sure(whatif, "00" * 32, 300)


@pytest.mark.parametrize("value", [7.4, 8.3, 8.8, 10.0])
def test_a_share_is_that_of_the_normal_distribution(
    book: Rulebook, engine: Engine, catalogue: Catalogue, value: float
) -> None:
    """One uncertain reading against one limit holds as often as scipy's normal law says.

    The right foot of this visit changes its type when the peak is clearly above its limit: when
    the reading less its error exceeds it.
    """
    was = assessed("high-arch-late-pronator", book, engine)
    one = with_error_only_in(was, "right", "peak-angle", value)
    error = one.feet["right"].measures["peak-angle"].error
    assert error is not None
    draws = 20_000
    sure = how_sure(whatif_of(one, book, catalogue), SEED, draws)
    limit = 8.8  # peak-upper, walking from vertical, in rules/limits.yaml
    expected = stats.norm.sf((limit + error - value) / error)
    spread = (expected * (1 - expected) / draws) ** 0.5
    found = sure.types["right"].get("high-arched-much", 0.0)
    assert abs(found - expected) < 4.5 * spread


def test_whole_number_scores_stay_whole(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """A redrawn posture score is rounded: 5 becomes 6 or more as often as 5.5 is exceeded."""
    was = assessed("plain-neutral", book, engine)
    one = with_error_only_in(was, "left", "fpi", 5.0)
    error = one.feet["left"].measures["fpi"].error
    assert error is not None
    draws = 20_000
    sure = how_sure(whatif_of(one, book, catalogue), SEED, draws)
    same = max(sure.types["left"].values())
    expected = stats.norm.cdf(0.5 / error) - stats.norm.cdf((-1 + 0.5 - 5) / error)
    assert abs(same - expected) < 4.5 * (expected * (1 - expected) / draws) ** 0.5


def test_without_error_everything_holds(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """When no reading has an error, every redraw is the visit itself."""
    was = assessed("pronated", book, engine)
    feet = {
        s: replace(f, measures={n: replace(m, error=0.0) for n, m in f.measures.items()})
        for s, f in was.feet.items()
    }
    sure = how_sure(whatif_of(replace(was, feet=feet), book, catalogue), SEED, 50)
    assert sure.holds == 1.0
    assert sure.repeat == ()
    assert all(share == 1.0 for shares in sure.top.values() for share in shares.values())


def test_a_stop_shows_no_product(book: Rulebook, engine: Engine, catalogue: Catalogue) -> None:
    """Where a stop withholds the shortlist, redraws name no product either."""
    sure = how_sure(whatif_of(assessed("red-flag-stop", book, engine), book, catalogue), SEED, 50)
    assert sure.first == {}
    assert sure.top == {}
    assert any(rule.startswith("stop") for rule in sure.notes)


@pytest.mark.parametrize("path", DEMO, ids=lambda path: path.stem)
def test_shares_add_up(book: Rulebook, engine: Engine, catalogue: Catalogue, path: object) -> None:
    """Foot types of a foot share out all redraws; repeating never makes the outcome less sure."""
    was = assess(read_visit(path), book, engine)  # type: ignore[arg-type]
    sure = how_sure(whatif_of(was, book, catalogue), SEED, 100)
    for shares in sure.types.values():
        assert abs(sum(shares.values()) - 1) < 1e-9
    assert all(repeat.held > sure.holds for repeat in sure.repeat)
    parts = (sure.types_hold, sure.notes_hold)
    assert sure.holds <= min(parts)


def test_an_answer_for_both_feet_is_drawn_once(
    book: Rulebook, engine: Engine, catalogue: Catalogue
) -> None:
    """Pain of 5, error 1, calls for a clinician when drawn as 6 or more: beyond 5.5.

    Asked once of both feet, that happens with the normal law's p; asked of each foot by itself,
    with 1 - (1 - p)^2.
    """
    error = book.measures["pain-score"].error
    assert error is not None
    p, draws = stats.norm.sf(0.5 / error.single), 20_000
    both = in_pain({"site": "heel", "side": "both", "score": 5, "weeks": 1})
    each = in_pain(*({"site": "heel", "side": s, "score": 5, "weeks": 1} for s in SIDES))
    for visit, expected in ((both, p), (each, 1 - (1 - p) ** 2)):
        sure = how_sure(whatif_of(assess(visit, book, engine), book, catalogue), SEED, draws)
        found = sure.notes["see-strong-pain"]
        assert abs(found - expected) < 4.5 * (expected * (1 - expected) / draws) ** 0.5


class Watched(WhatIf):
    """Looks at every value it is asked about, and notes of which reading it was."""

    asked: set[Key] = set()

    def outcomes(self, readings: Readings, count: int) -> Outcomes:
        """The same, after every reading was looked at."""
        self.asked.update(readings)
        for (_, name), values in readings.items():
            definition = self.outcome.book.measures[name]
            assert definition.lowest <= values.min() <= values.max() <= definition.highest
        return super().outcomes(readings, count)


def watched(assessment: Assessment, book: Rulebook, catalogue: Catalogue) -> Watched:
    """What-ifs about an assessed visit, watched."""
    return Watched(whatif_of(assessment, book, catalogue).outcome)


def test_no_redraw_leaves_what_can_be(book: Rulebook, engine: Engine, catalogue: Catalogue) -> None:
    """A pain of 9 with an error of 4 is never drawn as 11, nor a posture of 12 as 13."""
    was = assess(in_pain({"site": "heel", "side": "left", "score": 9}), book, engine)
    for name, value in (("pain-score", 9.0), ("fpi", 12.0)):
        left = was.feet["left"]
        wide = {**left.measures, name: replace(left.measures[name], value=value, error=4.0)}
        one = replace(was, feet={**was.feet, "left": replace(left, measures=wide)})
        whatif = watched(one, book, catalogue)
        how_sure(whatif, SEED, 500)
        assert ("left", name) in whatif.asked
