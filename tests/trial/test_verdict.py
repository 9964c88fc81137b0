from __future__ import annotations

import numpy as np
import pytest

from recommend.parameters import Parameters
from recommend.trial.change import Sample
from recommend.trial.verdict import Band, Verdict, judge, judge_load

BAND = Band(0.0, 4.0)


def strides(mean: float, sd: float = 1.0, n: int = 40) -> Sample:
    """A step of `n` strides with exactly this mean and spread, no two neighbours alike."""
    noise = np.random.default_rng(n).normal(0, 1, n)
    noise = (noise - noise.mean()) / noise.std(ddof=1) if n > 1 else noise * 0
    return Sample(tuple(mean + sd * noise), 1.5, 0.6)


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [
        (9.8, 6.0, Verdict.TOWARDS),
        (9.8, 9.5, Verdict.UNCLEAR),
        (6.5, 3.0, Verdict.WITHIN),
        (3.0, 2.8, Verdict.WITHIN),
        (3.0, 6.0, Verdict.AWAY),
        (6.5, -1.5, Verdict.OVER_CORRECTED),
        (3.0, -2.0, Verdict.OVER_CORRECTED),
        (-3.0, -5.0, Verdict.OVER_CORRECTED),
        (-3.0, -3.1, Verdict.UNCLEAR),
        (-5.0, -2.0, Verdict.TOWARDS),
        (-3.0, 2.0, Verdict.WITHIN),
        (-6.0, 5.0, Verdict.AWAY),
        (4.3, 3.9, Verdict.UNCLEAR),
        (6.5, -0.1, Verdict.NEAR_LOWER),
        (0.1, -0.1, Verdict.NEAR_LOWER),
    ],
)
def test_each_way_a_foot_can_move_has_its_verdict(
    parameters: Parameters, before: float, after: float, verdict: Verdict
) -> None:
    """From above, inside and below the band, in each direction, told and not told."""
    assert judge(strides(before), strides(after), BAND, parameters).verdict is verdict


def test_below_the_band_is_over_corrected_though_the_change_is_not_told(
    parameters: Parameters,
) -> None:
    """A noisy barefoot step does not hide a foot that is now wholly below the band."""
    noisy, now = strides(0.5, sd=3.0, n=4), strides(-1.5, sd=0.3, n=30)
    judged = judge(noisy, now, BAND, parameters)
    assert not judged.change.told
    assert judged.verdict is Verdict.OVER_CORRECTED


def test_within_but_not_clear_of_the_edge_is_said(parameters: Parameters) -> None:
    """A mean just inside the band whose interval crosses its edge is not clear."""
    near = judge(strides(7.0), strides(3.8), BAND, parameters)
    deep = judge(strides(7.0), strides(2.0), BAND, parameters)
    assert near.verdict is deep.verdict is Verdict.WITHIN
    assert not near.clear
    assert deep.clear


@pytest.mark.parametrize(("after", "doubtful"), [(14.0, True), (6.9, False), (-8.0, True)])
def test_more_than_footwear_brings_about_is_doubtful(
    parameters: Parameters, after: float, doubtful: bool
) -> None:
    """A change of 11 degrees in either direction is doubted, one of 3.9 is not, band or none."""
    # Cheung and others 2011, Br J Sports Med 45:743-751: orthoses 2.24 and motion-control shoes
    # 2.52 degrees on average, the upper ends of their 95 % intervals 3.07 and 3.33.
    for band in (BAND, None):
        assert judge(strides(3.0), strides(after), band, parameters).doubtful is doubtful


def test_over_correction_never_gives_way_to_a_better_residual(parameters: Parameters) -> None:
    """However far above the band the foot began, below it beyond noise is over-corrected."""
    rng = np.random.default_rng(5)
    for _ in range(300):
        before, after = rng.uniform(0, 20), rng.uniform(-15, -2)
        judged = judge(strides(before), strides(after), BAND, parameters)
        assert judged.verdict is Verdict.OVER_CORRECTED


def test_an_open_end_of_the_band_never_over_corrects(parameters: Parameters) -> None:
    """Where no rule names a lower end, no foot is below it."""
    judged = judge(strides(6.0), strides(-9.0), Band(high=4.0), parameters)
    assert judged.verdict is Verdict.WITHIN
    assert judged.residual == 0


def test_over_corrected_means_beyond_the_edge_by_more_than_noise(parameters: Parameters) -> None:
    """Over a fine grid: over-corrected where the whole interval lies below, near where it does not.

    No verdict says both: what is over-corrected is always clear of the edge.
    """
    seen = set()
    for tenth in range(-20, 1):
        judged = judge(strides(6.0), strides(tenth / 10 - 0.01), BAND, parameters)
        seen.add(judged.verdict)
        assert (judged.verdict is Verdict.OVER_CORRECTED) == (judged.level.high < BAND.low)
        assert judged.clear or judged.verdict is Verdict.NEAR_LOWER
    assert seen == {Verdict.OVER_CORRECTED, Verdict.NEAR_LOWER}


def test_only_an_angle_can_be_over_corrected(parameters: Parameters) -> None:
    """A peak that comes earlier than its band is away from it; no device was too strong."""
    judged = judge(strides(30.0), strides(20.0), Band(26.0, 49.0), parameters, angle=False)
    assert judged.verdict is Verdict.AWAY
    assert not judged.doubtful


LOAD = Band(45.0, 55.0)


def test_load_is_over_corrected_beyond_its_band_only(parameters: Parameters) -> None:
    """Outwards counts beyond the band by more than noise; inside it, near it or inwards never."""
    start = strides(50.0, sd=2.0)
    assert judge_load(start, strides(58.0, sd=2.0), LOAD, parameters).over
    assert not judge_load(start, strides(54.0, sd=2.0), LOAD, parameters).over
    assert not judge_load(start, strides(55.2, sd=2.0), LOAD, parameters).over
    assert not judge_load(start, strides(44.0, sd=2.0), LOAD, parameters).over


def test_load_that_was_outside_and_stayed_is_not_over_corrected(parameters: Parameters) -> None:
    """From 64.0 to 64.2 % is within noise: the step did not bring it there."""
    shift = judge_load(strides(64.0, sd=2.0), strides(64.2, sd=2.0), LOAD, parameters)
    assert shift.level.low > LOAD.high
    assert not shift.change.told
    assert not shift.over


def test_load_towards_the_middle_is_never_over_correction(parameters: Parameters) -> None:
    """From 70 to 60 % on the outer half is still outside the band, and a gain."""
    assert not judge_load(strides(70.0, sd=2.0), strides(60.0, sd=2.0), LOAD, parameters).over


def test_load_without_a_band_is_told_and_not_judged(parameters: Parameters) -> None:
    """Where the rulebook has no band no shift is called too much."""
    shift = judge_load(strides(50.0, sd=2.0), strides(70.0, sd=2.0), None, parameters)
    assert shift.change.told
    assert not shift.over
