from __future__ import annotations

import numpy as np
import pytest

from recommend.parameters import Parameters
from recommend.trial.change import (
    Told,
    change,
    drift,
    mean_interval,
    sample,
    strides_to_tell,
)


def test_equal_strides_are_rounded_strides(parameters: Parameters) -> None:
    """Strides that all read the same keep the noise of their rounding; no interval is a point."""
    moved = change(
        sample([5.0] * 6, parameters, 1.5), sample([4.0] * 6, parameters, 1.5), parameters
    )
    assert moved.interval.high - moved.interval.low > 0.03
    assert moved.told


def test_one_stride_takes_the_rulebook_spread(parameters: Parameters) -> None:
    """One stride has no spread: the rulebook's stands in, marked, and 1 degree is not told."""
    one = sample([5.0], parameters, 1.5)
    assert one.assumed
    assert one.sd == 1.5
    moved = change(one, sample([4.0], parameters, 1.5), parameters)
    assert not moved.told
    assert moved.interval.value == -1.0


@pytest.mark.parametrize(
    ("resemblance", "half"),
    # by hand: 1.96 x 1.5 / 3; 1.96 x sqrt(2.25 x 1.6 / (9 - 7 x 0.6)) = 1.96 x sqrt(0.75)
    [(0.0, 0.980), (0.6, 1.697)],
)
def test_a_typed_mean_of_nine_strides_is_as_sure_as_nine(
    parameters: Parameters, resemblance: float, half: float
) -> None:
    """The error of one stride over the root of nine; more where neighbours are alike."""
    typed = sample([6.0], parameters, 1.5, resemblance, mean_of=9)
    interval = mean_interval(typed, parameters)
    assert (typed.n, typed.sd, interval.value) == (9, 1.5, 6.0)
    assert (interval.high - interval.low) / 2 == pytest.approx(half, abs=0.002)
    moved = change(typed, sample([4.0], parameters, 1.5, resemblance, mean_of=9), parameters)
    assert moved.smallest == pytest.approx(half * 2**0.5, abs=0.003)


def test_the_smallest_change_is_the_edge_of_told(parameters: Parameters) -> None:
    """A shift of just over the smallest change is told, one of just under it is not."""
    before = np.array([5.1, 6.3, 4.4, 5.8, 5.0, 5.6, 4.9])
    edge = change(
        sample(before, parameters, 1.5), sample(before, parameters, 1.5), parameters
    ).smallest
    over = change(
        sample(before, parameters, 1.5), sample(before - edge * 1.01, parameters, 1.5), parameters
    )
    under = change(
        sample(before, parameters, 1.5), sample(before - edge * 0.99, parameters, 1.5), parameters
    )
    assert over.told
    assert not under.told


def test_more_strides_are_needed_for_less_and_none_for_nothing(parameters: Parameters) -> None:
    """Half the change wants about four times the strides; no change is never worth walking for."""
    far = parameters.changed({"trial.most-strides": 1000})
    whole = strides_to_tell(1.0, 1.2, 1.2, 0.0, far)
    half = strides_to_tell(0.5, 1.2, 1.2, 0.0, far)
    assert whole is not None
    assert half is not None
    assert 3.7 < half / whole < 4.1
    assert strides_to_tell(0.0, 1.2, 1.2, 0.0, far) is None
    assert strides_to_tell(-1.0, 1.2, 1.2, 0.0, far) == whole


def test_what_nobody_walks_is_too_small_to_matter(parameters: Parameters) -> None:
    """A change that takes more strides than anyone walks is left to comfort."""
    strides = np.array([5.1, 6.3, 4.4, 5.8, 5.0, 5.6, 4.9] * 3)
    moved = change(
        sample(strides, parameters, 1.5), sample(strides - 0.1, parameters, 1.5), parameters
    )
    assert moved.state is Told.SMALL
    assert moved.needed is None
    assert moved.more is None


def test_resemblance_wants_more_strides(parameters: Parameters) -> None:
    """Strides that resemble each other by r are worth (1 - r) / (1 + r) of as many (by hand).

    The large-sample share of Bartlett 1935 (J R Stat Soc 98:536-543; from memory): a third at
    r = 0.5, so that three times the strides are needed.
    """
    far = parameters.changed({"trial.most-strides": 2000})
    alone, alike = (strides_to_tell(0.5, 1.2, 1.2, r, far) for r in (0.0, 0.5))
    assert alone is not None
    assert alike is not None
    assert alike / alone == pytest.approx(3, rel=0.05)


def test_more_counts_from_the_step_with_fewest_strides(parameters: Parameters) -> None:
    """What is still to be filmed is counted from the shorter of the two steps."""
    rng = np.random.default_rng(3)
    moved = change(
        sample(rng.normal(9.8, 1.2, 30), parameters, 1.5),
        sample(rng.normal(8.8, 1.2, 10), parameters, 1.5),
        parameters,
    )
    assert moved.state is Told.FEW
    assert moved.needed is not None
    assert moved.more == moved.needed - 10


def test_no_strides_are_refused(parameters: Parameters) -> None:
    """An empty list has no mean, and zero is not one."""
    with pytest.raises(ValueError, match="at least one stride"):
        sample([], parameters, 1.5)


def test_the_interval_of_a_mean_shrinks_with_strides(parameters: Parameters) -> None:
    """Four times the strides at the same spread give less than half the width."""
    few, many = sample([4.0, 6.0], parameters, 1.5), sample([4.0, 6.0] * 4, parameters, 1.5)
    wide, narrow = mean_interval(few, parameters), mean_interval(many, parameters)
    assert narrow.high - narrow.low < (wide.high - wide.low) / 2


def test_few_strides_take_the_stated_resemblance(parameters: Parameters) -> None:
    """Below 20 strides in either step the stated one counts; with a smaller one, less width."""
    strides = np.random.default_rng(5).normal(6.0, 1.0, 19)
    one, other = sample(strides, parameters, 1.5), sample(strides - 1, parameters, 1.5)
    moved = change(one, other, parameters)
    assert moved.stated
    assert moved.resemblance == pytest.approx(parameters.trial.stride_resemblance)
    own = [sample(s, parameters, 1.5, stated=0.1) for s in (strides, strides - 1)]
    assert change(*own, parameters).smallest < moved.smallest
    longer = sample(np.append(strides, 6.0), parameters, 1.5)
    assert not change(longer, longer, parameters).stated


def test_a_floor_that_the_lab_knows_widens_the_interval(parameters: Parameters) -> None:
    """Marks taken anew in both steps add twice their squared error (sum of variances, by hand)."""
    strides = np.random.default_rng(6).normal(6.0, 0.1, 60)
    plain, floored = (
        change(*(sample(s, parameters, 1.5, floor=f) for s in (strides, strides - 1)), parameters)
        for f in (0.0, 0.5)
    )
    assert plain.smallest < 0.15
    assert floored.smallest == pytest.approx(1.96 * np.sqrt(2 * 0.5**2), rel=0.05)


def test_a_drift_is_noticed_and_level_strides_have_none(parameters: Parameters) -> None:
    """Two degrees over 40 strides are told with their size; strides about one level are not."""
    noise = np.random.default_rng(7).normal(0, 0.8, 40)
    drifting = drift(sample(6 + noise + np.linspace(0, 2.5, 40), parameters, 1.5), parameters)
    assert drifting is not None
    assert drifting.holds(2.5)
    assert drift(sample(6 + noise, parameters, 1.5), parameters) is None
    assert drift(sample([6.0, 7.0, 8.0], parameters, 1.5), parameters) is None


def test_a_drift_is_seldom_seen_where_there_is_none(parameters: Parameters) -> None:
    """At r = 0.6 at most 2 of 100 level runs of 40 strides are called drifting (1 is meant)."""
    rng = np.random.default_rng(8)
    seen = 0
    for _ in range(400):
        noise = rng.normal(0, 0.8, 40)
        for index in range(1, 40):
            noise[index] += 0.6 * noise[index - 1]
        seen += drift(sample(6 + noise, parameters, 1.5), parameters) is not None
    assert seen <= 8
