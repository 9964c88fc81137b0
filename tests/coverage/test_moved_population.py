"""A shop's own visits move the modelled population."""

from dataclasses import replace

import numpy as np
import pytest

from recommend.coverage.population import Population
from recommend.coverage.sampling import Customers, Numbers, Sampler, Words, numbers_of
from recommend.coverage.visits import shrink

PRIOR = 100


def shop_of(population: Population, visits: int, mean: float) -> tuple[Numbers, Customers]:
    """Visits of a shop whose feet have an FPI mean of `mean`, and the shop's true numbers."""
    numbers = numbers_of(population)
    where = numbers.names.index("fpi")
    shifted = numbers.mean.copy()
    shifted[:, where] = mean
    true = replace(numbers, mean=shifted)
    return true, Sampler(population, true).block(5, 0, visits)


def fpi_mean(numbers: Numbers) -> float:
    """FPI mean of `numbers`."""
    return float(numbers.mean[0, numbers.names.index("fpi")])


def test_few_visits_move_little_and_many_move_all(population: Population) -> None:
    """Ten visits leave the publication nearly alone; fifty thousand replace it."""
    numbers = numbers_of(population)
    few, many = (
        fpi_mean(shrink(population, numbers, shop_of(population, n, 6.0)[1], PRIOR))
        for n in (10, 50_000)
    )
    assert 2.9 < few < 3.6
    assert many == pytest.approx(6.0, abs=0.05)


def test_at_the_prior_count_both_weigh_the_same(population: Population) -> None:
    """With as many visits as the publication counts for, the mean is half way."""
    numbers = numbers_of(population)
    _, shop = shop_of(population, PRIOR, 6.0)
    seen = np.mean([shop.feet[s]["fpi"].mean() for s in ("left", "right")])
    assert fpi_mean(shrink(population, numbers, shop, PRIOR)) == pytest.approx((2.9 + seen) / 2)


def test_its_own_population_is_found_again(population: Population) -> None:
    """Fed with very many visits drawn from the publication, nothing moves beyond noise."""
    numbers = numbers_of(population)
    shop = Sampler(population).block(6, 0)
    after = shrink(population, numbers, shop, PRIOR)
    assert np.abs((after.mean - numbers.mean) / numbers.sd).max() < 0.03
    assert np.abs(after.sd / numbers.sd - 1).max() < 0.02
    assert np.abs(after.matrix - numbers.matrix).max() < 0.05
    assert after.classes["cop-pattern"][0] == pytest.approx(
        numbers.classes["cop-pattern"][0], abs=0.01
    )


def test_what_was_not_measured_stays_published(population: Population) -> None:
    """A measure the shop never took, or took once, keeps its published numbers."""
    numbers = numbers_of(population)
    nothing = np.full(40, np.nan)
    feet = {
        side: {"fpi": np.full(40, 9.0) + np.arange(40) % 2, "cpei": nothing}
        for side in ("left", "right")
    }
    shop = Customers(40, {"purpose": Words(np.full(40, -1, np.int8), ("walking",))}, feet)
    after = shrink(population, numbers, shop, PRIOR)
    k = numbers.names.index("cpei")
    assert after.mean[0, k] == numbers.mean[0, k]
    assert dict(after.words["purpose"]) == pytest.approx(dict(numbers.words["purpose"]))
    moved = (after.mean != numbers.mean).any(axis=0)
    assert [name for name, one in zip(numbers.names, moved, strict=True) if one] == ["fpi"]
