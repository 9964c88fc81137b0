"""The trial against things from outside: scipy.stats, statsmodels, and the trade's numbers."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from recommend.rulebook.parameters import Parameters
from recommend.trial.change import Sample, change, sample, strides_to_tell
from recommend.trial.effects import Item, Observed, Prior, learn
from recommend.trial.judge import Band, Verdict, judge
from recommend.trial.student import t_cdf, t_quantile


@pytest.fixture(scope="module")
def parameters() -> Parameters:
    """The numbers that ship."""
    return Parameters.load(Path(__file__).parents[2] / "rules" / "parameters")


def test_the_t_quantile_is_scipys() -> None:
    """Quantile and distribution function agree with scipy.stats.t over 1 to 1e5 degrees."""
    rng = np.random.default_rng(7)
    for _ in range(500):
        p, df = rng.uniform(0.001, 0.999), 10 ** rng.uniform(0, 5)
        assert t_quantile(p, df) == pytest.approx(stats.t.ppf(p, df), rel=1e-8, abs=1e-8)
        assert t_cdf(p * 4 - 2, df) == pytest.approx(stats.t.cdf(p * 4 - 2, df), abs=1e-8)


def test_the_change_is_scipys_welch_interval(parameters: Parameters) -> None:
    """Change and interval are those of scipy.stats.ttest_ind(equal_var=False)."""
    rng = np.random.default_rng(11)
    for _ in range(100):
        before = rng.normal(6.5, rng.uniform(0.5, 2), rng.integers(2, 30))
        after = rng.normal(5.1, rng.uniform(0.5, 2), rng.integers(2, 30))
        moved = change(sample(before, parameters, 1.5), sample(after, parameters, 1.5), parameters)
        welch = stats.ttest_ind(after, before, equal_var=False)
        peer = welch.confidence_interval(0.95)
        assert moved.interval.low == pytest.approx(peer.low, rel=1e-7, abs=1e-9)
        assert moved.interval.high == pytest.approx(peer.high, rel=1e-7, abs=1e-9)
        assert moved.told == (welch.pvalue < 0.05)


def test_the_interval_holds_the_truth_19_times_in_20(parameters: Parameters) -> None:
    """2,000 simulated trials: between 94 and 96 % of the intervals hold the true change.

    The benchmark (tests/bench/trial_coverage.py) does 10,000 in each of several designs.
    """
    rng = np.random.default_rng(2026)
    held = 0
    for _ in range(2000):
        before, after = rng.normal(9.8, 1.3, 12), rng.normal(8.4, 0.9, 9)
        moved = change(sample(before, parameters, 1.5), sample(after, parameters, 1.5), parameters)
        held += moved.interval.holds(-1.4)
    assert 0.94 <= held / 2000 <= 0.96


@pytest.mark.parametrize("size", [0.3, 0.5, 0.7, 1.4])
def test_the_strides_to_tell_are_those_of_the_noncentral_t(
    parameters: Parameters, size: float
) -> None:
    """Within one stride of the exact two-sample power calculation in statsmodels."""
    power = pytest.importorskip("statsmodels.stats.power", reason="statsmodels is not installed")
    exact = power.TTestIndPower().solve_power(effect_size=size / 1.2, power=0.8, alpha=0.05)
    needed = strides_to_tell(size, 1.2, 1.2, parameters)
    assert needed is not None
    assert abs(needed - exact) <= 1.01


def test_the_strides_to_tell_do_tell(parameters: Parameters) -> None:
    """Simulated with the strides asked for, about 80 % of the trials tell the change.

    A binomial with 1,000 trials: 0.80 plus or minus three standard errors (0.038).
    """
    needed = strides_to_tell(0.7, 1.2, 1.0, parameters)
    assert needed is not None
    rng = np.random.default_rng(4)
    told = [
        change(
            sample(rng.normal(9.8, 1.2, needed), parameters, 1.5),
            sample(rng.normal(9.1, 1.0, needed), parameters, 1.5),
            parameters,
        ).told
        for _ in range(1000)
    ]
    assert np.mean(told) == pytest.approx(0.8, abs=0.038)


def _strides(mean: float, n: int, parameters: Parameters) -> Sample:
    """`n` strides with just this mean and an ordinary spread of 1.2 degrees."""
    noise = np.random.default_rng(n).normal(0, 1, n)
    return sample(mean + 1.2 * (noise - noise.mean()) / noise.std(ddof=1), parameters, 1.5)


def test_a_well_fitted_shoe_then_a_zero_wedge_insole(parameters: Parameters) -> None:
    """6.5 barefoot, 5.1 in the shoe, 4.4 with the insole: reductions of 1.4 and 0.7.

    Common practice, no source. With 20 strides the shoe's part is told from noise, both
    together bring the foot towards the ordinary 4, and 0.7 alone wants more strides.
    """
    barefoot, shoe, insole = (_strides(m, 20, parameters) for m in (6.5, 5.1, 4.4))
    band = Band(0.0, 4.0)
    first = judge(barefoot, shoe, band, parameters)
    second = judge(shoe, insole, band, parameters)
    whole = judge(barefoot, insole, band, parameters)
    assert first.change.value == pytest.approx(-1.4)
    assert second.change.value == pytest.approx(-0.7)
    assert first.verdict is Verdict.TOWARDS
    assert whole.verdict is Verdict.TOWARDS
    assert second.verdict is Verdict.UNCLEAR
    assert second.change.more
    assert whole.residual == pytest.approx(0.4)


def test_a_foot_that_a_shoe_hardly_moves(parameters: Parameters) -> None:
    """9.8 running, moved by 0.3: not told from ordinary stride noise with 12 strides.

    Common practice, no source. Some 250 strides a step would be needed (spread 1.2 degrees),
    and with that many it is told.
    """
    few = judge(
        _strides(9.8, 12, parameters), _strides(9.5, 12, parameters), Band(0, 4), parameters
    )
    assert few.verdict is Verdict.UNCLEAR
    assert strides_to_tell(0.3, 1.2, 1.2, parameters) == pytest.approx(252, abs=2)
    many = judge(
        _strides(9.8, 300, parameters), _strides(9.5, 300, parameters), Band(0, 4), parameters
    )
    assert many.verdict is Verdict.TOWARDS


def test_partial_pooling_agrees_with_a_mixed_model() -> None:
    """Product effects are statsmodels' best linear unbiased predictions on the same numbers.

    A balanced shop: 8 profiles of 5 insoles, 12 visits each. The variances that statsmodels
    estimates by restricted likelihood are handed to the pooling, with a flat kind.
    """
    formula = pytest.importorskip("statsmodels.formula.api", reason="statsmodels is not installed")
    pandas = pytest.importorskip("pandas", reason="pandas is not installed")
    rng = np.random.default_rng(21)
    rows = []
    for profile in range(8):
        middle = rng.normal(-1.5, 0.9)
        for product in range(5):
            effect = rng.normal(middle, 0.6)
            name = f"{profile}-{product}"
            rows += [(str(profile), name, change) for change in rng.normal(effect, 1.2, 12)]
    table = pandas.DataFrame(rows, columns=["profile", "item", "change"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = formula.mixedlm(
            "change ~ 1", table, groups="profile", re_formula="1", vc_formula={"i": "0 + C(item)"}
        ).fit(reml=True)
    prior = Prior(
        {"insole": 0.0},
        1e4,
        float(np.sqrt(fit.cov_re.iloc[0, 0])),
        float(np.sqrt(fit.vcomp[0])),
        float(np.sqrt(fit.scale)),
        1e15,
    )
    items = [Item(name, "insole", name[0]) for name in table["item"].unique()]
    seen = [Observed(str(i), (row[1],), row[2], 0.0) for i, row in enumerate(rows)]
    learned = learn(items, seen, prior)
    for item in items:
        effects = fit.random_effects[item.profile]
        peer = fit.params["Intercept"] + effects.iloc[0] + effects[f"i[C(item)[{item.id}]]"]
        assert learned.effect(item, 0.95).value == pytest.approx(peer, abs=1e-4)


def test_partial_pooling_holds_the_truth() -> None:
    """Shops drawn from the model: 93.5 to 96.5 % of the products' intervals hold the truth.

    3,200 products; the bound is three and a half standard errors wide because products of one
    shop share their kind.
    """
    rng = np.random.default_rng(8)
    prior = Prior({"insole": -2.24}, 1.5, 0.7, 0.5, 1.5, 4)
    held = []
    for shop in range(200):
        kind = rng.normal(-2.24, 1.5)
        truth, seen, items = {}, [], []
        for profile in range(4):
            middle = rng.normal(kind, 0.7)
            for product in range(4):
                item = Item(f"{profile}{product}", "insole", str(profile))
                truth[item.id] = rng.normal(middle, 0.5)
                items.append(item)
                for visit in range(rng.integers(0, 8)):
                    error = rng.uniform(0.2, 0.6)
                    moved = rng.normal(truth[item.id], np.hypot(error, 1.5))
                    seen.append(Observed(f"{shop}-{visit}", (item.id,), moved, error**2))
        learned = learn(items, seen, prior)
        held += [learned.effect(item, 0.95).holds(truth[item.id]) for item in items]
    assert 0.935 <= np.mean(held) <= 0.965
