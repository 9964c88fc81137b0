from __future__ import annotations

import math

import pytest

from recommend.measure.spread import incomplete_beta, t_cdf, t_quantile


@pytest.mark.parametrize(("df", "angle"), [(1, 0.975), (1, 0.75)])
def test_one_degree_of_freedom_is_the_cauchy_distribution(df: float, angle: float) -> None:
    """With one degree of freedom the quantile is tan(pi (p - 1/2)), in closed form."""
    assert t_quantile(angle, df) == pytest.approx(math.tan(math.pi * (angle - 0.5)), rel=1e-10)


def test_two_degrees_of_freedom_in_closed_form() -> None:
    """With two degrees of freedom t = (2p - 1) / sqrt(2 p (1 - p))."""
    for p in (0.6, 0.9, 0.975, 0.999):
        assert t_quantile(p, 2) == pytest.approx((2 * p - 1) / math.sqrt(2 * p * (1 - p)))


def test_the_quantile_is_symmetric_and_undone_by_the_distribution() -> None:
    """t(1 - p) = -t(p), and the distribution function of the quantile is p again."""
    for df in (1.5, 7.3, 200.0, 1e8):
        assert t_quantile(0.1, df) == pytest.approx(-t_quantile(0.9, df))
        assert t_cdf(t_quantile(0.9, df), df) == pytest.approx(0.9, abs=1e-9)
        assert t_quantile(0.5, df) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("p", "df"), [(0.0, 3), (1.0, 3), (-1, 3), (0.9, 0), (0.9, -2)])
def test_values_without_a_quantile_are_refused(p: float, df: float) -> None:
    """Nothing out of range gives a number."""
    with pytest.raises(ValueError, match="must be"):
        t_quantile(p, df)


def test_the_incomplete_beta_function_ends_at_zero_and_one() -> None:
    """I(0) = 0, I(1) = 1, and I(x; 1, 1) = x."""
    assert incomplete_beta(0, 2, 3) == 0
    assert incomplete_beta(1, 2, 3) == 1
    assert incomplete_beta(0.37, 1, 1) == pytest.approx(0.37)
