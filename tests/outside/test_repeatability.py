"""Repeatability against a published worked example and a reference library.

Shrout PE, Fleiss JL 1979, Psychol Bull 86:420-428: six targets by four judges. The data and the
three coefficients (0.17, 0.29, 0.71) were from memory; a reference library of intraclass
correlations gives 0.1657, 0.2898 and 0.7148 on these very data, which confirms both.
"""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from recommend.measure.repeated import icc_one_way, icc_two_way, mean_squares

SHROUT_FLEISS = [
    [9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7],
]  # fmt: skip


def test_intraclass_correlations_are_those_of_the_published_example() -> None:
    """ICC(1,1), ICC(2,1) and ICC(3,1) as printed there, to two decimals."""
    agreement, consistency = icc_two_way(SHROUT_FLEISS)
    assert agreement is not None
    assert consistency is not None
    assert round(icc_one_way(SHROUT_FLEISS), 2) == 0.17
    assert round(agreement, 2) == 0.29
    assert round(consistency, 2) == 0.71


def _anova(table: list[list[float]], formula: str) -> dict[str, float]:
    """Mean squares by statsmodels."""
    ols = pytest.importorskip("statsmodels.formula.api").ols
    lm = pytest.importorskip("statsmodels.stats.anova")
    pandas = pytest.importorskip("pandas")
    rows = [(i, j, x) for i, row in enumerate(table) for j, x in enumerate(row)]
    frame = pandas.DataFrame(rows, columns=["target", "judge", "score"])
    squares = lm.anova_lm(ols(formula, frame).fit())
    return {name: float(value) for name, value in squares["mean_sq"].items()}


@pytest.mark.parametrize("seed", range(5))
def test_mean_squares_are_those_of_statsmodels(seed: int) -> None:
    """One-way mean squares, with unequal numbers of repeats."""
    dice = random.Random(seed)
    table = [
        [dice.gauss(target, 1.5) for _ in range(dice.randint(2, 5))] for target in range(3 + seed)
    ]
    expected = _anova(table, "score ~ C(target)")
    found = mean_squares(table)
    assert found.between == pytest.approx(expected["C(target)"])
    assert found.within == pytest.approx(expected["Residual"])


@pytest.mark.parametrize("seed", range(5))
def test_two_way_correlations_follow_from_the_mean_squares_of_statsmodels(seed: int) -> None:
    """ICC(2,1) and ICC(3,1) by the formulas of Shrout and Fleiss on statsmodels' mean squares."""
    dice = np.random.default_rng(seed)
    n, k = 5 + seed, 2 + seed
    table = dice.normal(size=(n, 1)) * 3 + dice.normal(size=(1, k)) + dice.normal(size=(n, k))
    squares = _anova(table.tolist(), "score ~ C(target) + C(judge)")
    b, j, e = squares["C(target)"], squares["C(judge)"], squares["Residual"]
    agreement, consistency = icc_two_way(table.tolist())
    assert agreement == pytest.approx((b - e) / (b + (k - 1) * e + k * (j - e) / n))
    assert consistency == pytest.approx((b - e) / (b + (k - 1) * e))


@pytest.mark.parametrize("freedom", [1, 2, 3, 10, 24, 60, 400])
def test_the_interval_of_a_standard_error_is_that_of_chi_square(freedom: int) -> None:
    """The 95 % interval agrees with scipy's chi-square quantiles to six digits."""
    from recommend.measure.repeated import _interval

    chi2 = pytest.importorskip("scipy.stats").chi2
    low, high = _interval(freedom)
    assert low == pytest.approx(math.sqrt(freedom / chi2.ppf(0.975, freedom)), rel=1e-6)
    assert high == pytest.approx(math.sqrt(freedom / chi2.ppf(0.025, freedom)), rel=1e-6)
