"""The plan of a try-on: there and back, strides that suffice, and what comfort decides."""

from __future__ import annotations

from dataclasses import replace
from statistics import fmean

import numpy as np
import pytest
from scipy import stats
from scipy.linalg import toeplitz

from recommend.match.outcome import Outcome
from recommend.parameters import Parameters
from recommend.show.trial import plan_lines
from recommend.trial.plan import BAREFOOT, Plan, Worth, plan_of
from recommend.way import outcome_of
from tests import shipped
from tests.trial.test_hand_worked import NOISE

LENGTH = {"foot-length-mm": 270}
SD = float(np.std(NOISE, ddof=1))


def planned(spread: float, **changed: float) -> tuple[Plan, Outcome]:
    """The plan for a runner whose peak is 16 on average with this spread, on both feet."""
    peak = [16 + spread / SD * one for one in NOISE]
    foot = LENGTH | shipped.angles("running", peak=peak)
    book = shipped.book()
    named = {f"trial.{name.replace('_', '-')}": value for name, value in changed.items()}
    book = replace(book, parameters=book.parameters.changed(named)) if named else book
    outcome = outcome_of(shipped.visit_of(foot, purpose="running"), book, shipped.shop())
    plan = plan_of(outcome)
    assert plan is not None
    return plan, outcome


def peak_of(plan: Plan) -> Worth:
    """What the peak is worth in a plan."""
    return next(one for one in plan.readings if one.reading == "peak")


def power(n: int, size: float, sd: float, r: float) -> float:
    """Power of a two-sided t test on the means of two rows of n strides of resemblance r.

    Exact by the noncentral t (scipy.stats.nct); the variance of a mean is that of generalised
    least squares under first-order correlation, from scipy's toeplitz matrix.
    """
    share = 1 / np.linalg.solve(toeplitz(r ** np.arange(n)), np.ones(n)).sum()
    df, far = 2 * (n - 1), size / (sd * np.sqrt(2 * share))
    return float(stats.nct.sf(stats.t.ppf(0.975, df), df, far))


def test_the_plan_goes_there_and_back_so_that_an_even_drift_falls_on_all_alike() -> None:
    """Two or three are named, each worn twice, and the mean place in the order is one for all."""
    plan, outcome = planned(1.0)
    assert 2 <= len(plan.names) <= 3
    assert plan.order[0] == plan.order[-1] == BAREFOOT
    places = {
        name: [place for place, one in enumerate(plan.order) if one == name] for name in plan.order
    }
    assert set(places) == {BAREFOOT, *plan.names}
    assert all(len(found) == 2 for found in places.values())
    assert len({fmean(found) for found in places.values()}) == 1
    assert outcome.shortlist is not None


@pytest.mark.parametrize(("spread", "cohen"), [(1.0, 17), (1.25, 26)])
def test_strides_that_resemble_nothing_are_the_sample_sizes_of_the_textbook(
    spread: float, cohen: int
) -> None:
    """Cohen 1988, table 2.4.1 (from memory): d 1.0 takes 17 a group, d 0.8 takes 26; and scipy."""
    plan, _ = planned(spread, stride_resemblance=0.0)
    assert min(n for n in range(2, 61) if power(n, 1, spread, 0.0) >= 0.8) == cohen
    small = peak_of(plan).small
    assert small is not None
    assert abs(small - cohen) <= 1


@pytest.mark.parametrize("spread", [0.9, 1.3])
def test_the_strides_of_the_plan_suffice_for_one_and_two_degrees(spread: float) -> None:
    """Under the resemblance stated (0.6 while strides are few, half from 20 on): nct by scipy."""
    worth = peak_of(planned(spread)[0])
    assert worth.own
    assert worth.sd == pytest.approx(spread, abs=0.01)
    for size, count in ((1, worth.small), (2, worth.large)):
        first = next(
            n for n in range(2, 61) if power(n, size, spread, 0.6 if n < 20 else 0.3) >= 0.8
        )
        assert count is not None
        assert abs(count - first) <= 1


def test_what_nobody_walks_is_too_small_to_matter(parameters: Parameters) -> None:
    """A spread of 2.4 leaves one degree to comfort, one of 6 both; scipy says as much of 60."""
    most = round(parameters.trial.most_strides)
    plan, outcome = planned(2.4)
    assert power(most, 1, 2.4, 0.3) < 0.8 < power(most, 2, 2.4, 0.3)
    assert peak_of(plan).small is None
    assert plan.strides == peak_of(plan).large
    said = " ".join(one.plain for one in plan_lines(plan, outcome, 300))
    assert "1° is too small to matter" in said
    plan, outcome = planned(6.0)
    assert power(most, 2, 6.0, 0.3) < 0.8
    assert plan.strides is None
    said = " ".join(one.plain for one in plan_lines(plan, outcome, 300))
    assert "even 2° is too small to matter: let comfort decide" in said


def test_the_plan_stands_on_one_screen_and_takes_most_of_what_can_gain() -> None:
    """Strides are those of the reading outside its band that needs most; 24 lines of 80."""
    plan, outcome = planned(1.3)
    assert peak_of(plan).to_gain == ("left", "right")
    assert plan.strides == peak_of(plan).small
    lines = [one.plain for one in plan_lines(plan, outcome, 80)]
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
