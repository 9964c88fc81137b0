from __future__ import annotations

import numpy as np
import pytest

from recommend.rulebook.parameters import Parameters
from recommend.trial.change import Sample
from recommend.trial.judge import Band, Verdict, judge, judge_load

BAND = Band(0.0, 4.0)


def strides(mean: float, sd: float = 1.0, n: int = 10) -> Sample:
    """A step of `n` strides with exactly this mean and spread."""
    return Sample(mean, sd, n)


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
    noisy, now = strides(0.5, sd=3.0, n=4), strides(-1.5, sd=0.3, n=20)
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


def test_load_moved_outwards_beyond_noise_is_over_correction(parameters: Parameters) -> None:
    """Lateral share up beyond noise counts; up within noise or down does not."""
    start = strides(50.0, sd=2.0)
    assert judge_load(start, strides(56.0, sd=2.0), Band(), parameters).over
    assert not judge_load(start, strides(50.8, sd=2.0), Band(), parameters).over
    assert not judge_load(start, strides(44.0, sd=2.0), Band(), parameters).over


def test_load_brought_back_from_the_inside_is_what_the_device_is_for(
    parameters: Parameters,
) -> None:
    """From the medial side into the band is not over-correction; beyond the band it is."""
    band, start = Band(45.0, 55.0), strides(40.0, sd=2.0)
    assert not judge_load(start, strides(50.0, sd=2.0), band, parameters).over
    assert judge_load(start, strides(58.0, sd=2.0), band, parameters).over
