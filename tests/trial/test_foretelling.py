from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from recommend.trial.effects import Check, ObservedChange, PooledProduct, Prior, check_of, learn
from tests.bench import shop_learning

PRIOR = Prior({"insole": -2.24, "shoe": 0.0}, 1.5, 0.7, 0.5, 1.5, 4)


def shop(
    rng: np.random.Generator, visits: int, kind: float
) -> tuple[list[PooledProduct], list[ObservedChange]]:
    """A shop of four insoles whose average effect is `kind`, people spread by 1.0 degrees."""
    items = [PooledProduct(f"i-{n}", "insole", f"{n % 2}") for n in range(4)]
    seen = []
    for visit in range(visits):
        item = items[visit % 4]
        change = rng.normal(kind + 0.3 * (visit % 4), np.hypot(1.0, 0.4))
        seen.append(ObservedChange(f"v-{visit}", (item.id,), float(change), 0.16))
    return items, seen


def checked(visits: int, kind: float, seed: int = 1) -> Check:
    """The check of one simulated shop."""
    items, seen = shop(np.random.default_rng(seed), visits, kind)
    return check_of(items, seen, PRIOR, 0.95, 10)


def test_a_visit_is_foretold_from_the_others_only() -> None:
    """The error of each is that of a model fitted without it (by hand, one by one)."""
    items, seen = shop(np.random.default_rng(2), 12, -1.0)
    errors = []
    for left_out in seen:
        model = learn(items, [one for one in seen if one is not left_out], PRIOR)
        item = next(item for item in items if item.id == left_out.products[0])
        errors.append(model.effect(item, 0.95).value - left_out.change)
    assert check_of(items, seen, PRIOR, 0.95, 10).error == pytest.approx(
        np.sqrt(np.mean(np.square(errors)))
    )


def test_a_shop_that_differs_from_the_published_foretells_better() -> None:
    """An average of +1 where -2.24 is published: learned errors are smaller, and are used."""
    check = checked(40, 1.0)
    assert check.better
    assert check.error < check.published / 1.5


def test_few_visits_are_never_called_better() -> None:
    """Nine visits, however well they are foretold, move nothing."""
    assert not checked(9, 1.0).better
    assert checked(9, 1.0).error < checked(9, 1.0).published


def test_the_intervals_of_what_is_foretold_hold() -> None:
    """Over 40 shops of 30 visits 93 to 98 % of the visits lie in the interval foretold for them."""
    checks = [checked(30, -1.0, seed) for seed in range(40)]
    held = sum(check.held for check in checks) / sum(check.predictions for check in checks)
    assert 0.93 <= held <= 0.985


def test_better_by_chance_is_seldom_called_better() -> None:
    """Where products do on average what is published, no more often than a normal tail of one
    standard error (16 %, scipy; 99 % bound over 120 shops), and less often than errors alone say.
    """
    rng, truths, called, smaller = np.random.default_rng(5), shop_learning.TRUTHS, 0, 0
    for _ in range(120):
        seen = shop_learning.trials(rng, truths["as published"], 12)
        check = check_of(shop_learning.wares(), seen, shop_learning.PRIOR, 0.95, 10)
        called += check.better
        smaller += check.error < check.published
    assert called <= stats.binom.ppf(0.99, 120, stats.norm.sf(1))
    assert called < smaller
