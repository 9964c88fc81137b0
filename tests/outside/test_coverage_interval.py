"""The interval of a share against statsmodels and against a binomial simulation."""

import numpy as np
import pytest

from recommend.coverage.report import share_of

proportion = pytest.importorskip("statsmodels.stats.proportion")


@pytest.mark.parametrize(("count", "total"), [(0, 30), (1, 7), (913, 1000), (500, 500), (3, 4)])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_the_interval_is_wilsons(count: int, total: int, confidence: float) -> None:
    """Equal to statsmodels' Wilson interval to rounding."""
    low, high = proportion.proportion_confint(count, total, 1 - confidence, "wilson")
    share = share_of(count, total, confidence)
    assert (share.low, share.high) == pytest.approx((max(0, low), min(1, high)), abs=1e-12)


@pytest.mark.parametrize("truth", [0.5, 0.913, 0.99])
def test_the_interval_holds_the_truth_as_often_as_it_says(truth: float) -> None:
    """In 20,000 simulated shops of 2,000 customers the 95 % interval holds the truth.

    Nominal 95 %; the coverage of Wilson's interval swings by about a point around it because
    counts are whole (Brown LD, Cai TT, DasGupta A 2001, Stat Sci 16:101-133).
    """
    counts = np.random.default_rng(11).binomial(2000, truth, 20_000)
    shares = {c: share_of(c, 2000, 0.95) for c in set(counts.tolist())}
    held = np.mean([shares[c].low <= truth <= shares[c].high for c in counts.tolist()])
    assert 0.94 < held < 0.965
