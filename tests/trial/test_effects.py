from __future__ import annotations

import math

import numpy as np
import pytest

from recommend.trial.effects import ObservedChange, PooledProduct, Prior, learn
from tests.bench import shop_learning

Z = 1.959963984540054
PRIOR = Prior({"insole": -2.0, "shoe": 0.0}, 1.5, 0.7, 0.5, 1.5, 1e12)
ONE = PooledProduct("a", "insole", "flat")


def visits(product: str, changes: list[float], variance: float = 0.25) -> list[ObservedChange]:
    """One observation a visit."""
    return [
        ObservedChange(f"{product}{i}", (product,), value, variance)
        for i, value in enumerate(changes)
    ]


def test_one_product_agrees_with_the_conjugate_sum_by_hand() -> None:
    """One product, two visits: prior N(-2, 1.5^2 + .7^2 + .5^2) times a normal likelihood.

    Prior variance 2.99; each visit has variance 0.25 + 2.25 = 2.5, their mean -1.0 has 1.25.
    Posterior variance 1 / (1/2.99 + 1/1.25), posterior mean the precision-weighted mean.
    """
    learned = learn([ONE], visits("a", [-0.5, -1.5]), PRIOR)
    variance = 1 / (1 / 2.99 + 1 / 1.25)
    mean = variance * (-2.0 / 2.99 - 1.0 / 1.25)
    effect = learned.effect(ONE, 0.95)
    assert effect.value == pytest.approx(mean, abs=1e-9)
    assert effect.high - effect.value == pytest.approx(Z * math.sqrt(variance), abs=1e-9)
    person = learned.expected([ONE], 0.95)
    assert person.high - person.value == pytest.approx(Z * math.sqrt(variance + 2.25), abs=1e-9)


def test_a_product_never_tried_takes_profile_then_kind_then_publication() -> None:
    """The nearer relatives it has among the trials, the narrower its interval; none: the prior."""
    learned = learn([ONE], visits("a", [-1.0] * 12), PRIOR)
    width = []
    for item in (ONE, PooledProduct("b", "insole", "flat"), PooledProduct("c", "insole", "wedge")):
        effect = learned.effect(item, 0.95)
        width.append(effect.high - effect.low)
    assert width == sorted(width)
    shoe = learned.effect(PooledProduct("s", "shoe", "neutral"), 0.95)
    assert shoe.value == 0.0
    assert shoe.high == pytest.approx(Z * math.sqrt(2.99))


def test_an_offset_moves_a_profile_that_was_never_tried() -> None:
    """Two untried profiles that differ by an offset differ by just that."""
    learned = learn([ONE], visits("a", [-1.0] * 5), PRIOR)
    plain = learned.effect(PooledProduct("p", "insole", "p"), 0.95).value
    wedge = learned.effect(PooledProduct("w", "insole", "w", offset=-0.66), 0.95).value
    assert wedge - plain == pytest.approx(-0.66)


def test_two_products_tried_only_together_share_what_was_seen() -> None:
    """A shoe and insole tried only as a pair: their sum is learned, each alone stays wide."""
    shoe = PooledProduct("s", "shoe", "neutral")
    both = [ObservedChange(str(i), ("s", "a"), -3.0, 0.25) for i in range(60)]
    learned = learn([ONE, shoe], both, PRIOR)
    total = learned.effect(ONE, 0.95).value + learned.effect(shoe, 0.95).value
    assert total == pytest.approx(-3.0, abs=0.05)
    alone = learned.effect(shoe, 0.95)
    assert alone.high - alone.low > 3.5


def test_few_trials_are_drawn_towards_the_profile_more_than_many() -> None:
    """The pull towards the profile weakens as a product's own trials add up."""
    others = [o for k in range(6) for o in visits(f"o{k}", [-2.0] * 10)]
    items = [ONE, *(PooledProduct(f"o{k}", "insole", "flat") for k in range(6))]
    few = learn(items, [*others, *visits("a", [0.0] * 2)], PRIOR).effect(ONE, 0.95).value
    many = learn(items, [*others, *visits("a", [0.0] * 80)], PRIOR).effect(ONE, 0.95).value
    assert -2.0 < few < many < 0.0
    assert many > -0.4


def test_order_of_observations_does_not_matter() -> None:
    """Shuffled visits give the same effects."""
    rng = np.random.default_rng(1)
    items = [PooledProduct(p, "insole", p[0]) for p in ("ax", "ay", "bx")]
    seen = [o for item in items for o in visits(item.id, list(rng.normal(-1, 1, 5)))]
    first = learn(items, seen, PRIOR)
    second = learn(list(reversed(items)), list(reversed(seen)), PRIOR)
    for item in items:
        assert first.effect(item, 0.9).low == pytest.approx(second.effect(item, 0.9).low)


def test_the_spread_of_people_is_learned_from_many_visits() -> None:
    """With hundreds of visits the spread of responses is the trials', not the prior's."""
    rng = np.random.default_rng(2)
    loose = Prior(PRIOR.mean, 1.5, 0.7, 0.5, 1.5, 4)
    changes = list(-1.0 + rng.normal(0, math.hypot(0.6, 0.5), 600))
    assert learn([ONE], visits("a", changes), loose).person_sd == pytest.approx(0.6, abs=0.1)
    assert learn([ONE], visits("a", changes[:1]), loose).person_sd == 1.5


@pytest.mark.parametrize("truths", shop_learning.TRUTHS.values(), ids=shop_learning.TRUTHS)
def test_known_effects_of_simulated_shops_are_recovered(truths: tuple[float, ...]) -> None:
    """150 shops of 40 visits: bias below 0.1 degrees on average, and 92 to 98 % of intervals hold.

    The truths are drawn into the trials by numpy alone; 600 intervals hold to about 1 %.
    """
    rng = np.random.default_rng(11)
    items, off, held = shop_learning.wares(), [], []
    for _ in range(150):
        learned = learn(items, shop_learning.trials(rng, truths, 40), shop_learning.PRIOR)
        for item, truth in zip(items, truths, strict=True):
            effect = learned.effect(item, 0.95)
            off.append(effect.value - truth)
            held.append(effect.holds(truth))
    assert abs(float(np.mean(off))) < 0.1
    assert 0.92 <= np.mean(held) <= 0.98


def test_an_observation_of_an_unknown_product_is_refused() -> None:
    """A trial of something that is not described cannot be pooled."""
    with pytest.raises(ValueError, match="among the items"):
        learn([ONE], visits("z", [1.0]), PRIOR)
    with pytest.raises(ValueError, match="among the items"):
        learn([ONE], [ObservedChange("v", (), 1.0, 0.1)], PRIOR)
