from __future__ import annotations

import numpy as np
import pytest

from recommend.rulebook.parameters import Parameters
from recommend.trial.change import change, mean_interval, sample, strides_to_tell


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
    """Half the change wants about four times the strides; no change is beyond practice."""
    whole = strides_to_tell(1.0, 1.2, 1.2, parameters)
    half = strides_to_tell(0.5, 1.2, 1.2, parameters)
    assert whole is not None
    assert half is not None
    assert 3.7 < half / whole < 4.1
    assert strides_to_tell(0.0, 1.2, 1.2, parameters) is None
    assert strides_to_tell(-1.0, 1.2, 1.2, parameters) == whole


def test_more_counts_from_the_step_with_fewest_strides(parameters: Parameters) -> None:
    """What is still to be filmed is counted from the shorter of the two steps."""
    rng = np.random.default_rng(3)
    moved = change(
        sample(rng.normal(9.8, 1.2, 30), parameters, 1.5),
        sample(rng.normal(9.3, 1.2, 10), parameters, 1.5),
        parameters,
    )
    assert moved.needed is not None
    assert moved.more == moved.needed - 10


def test_no_strides_are_refused(parameters: Parameters) -> None:
    """An empty list has no mean, and zero is not one."""
    with pytest.raises(ValueError, match="at least one stride"):
        sample([], parameters, 1.5)


def test_the_interval_of_a_mean_shrinks_with_strides(parameters: Parameters) -> None:
    """Four times the strides at the same spread give less than half the width."""
    few, many = sample([4.0, 6.0], parameters, 1.5), sample([4.0, 6.0] * 4, parameters, 1.5)
    wide, narrow = mean_interval(few, 0.95), mean_interval(many, 0.95)
    assert narrow.high - narrow.low < (wide.high - wide.low) / 2
