"""The drawn population against published figures and against scipy and statsmodels."""

from pathlib import Path

import numpy as np
import pytest

from recommend.coverage.population import Population, load_population
from recommend.coverage.sampling import BLOCK, Customers, Sampler, numbers_of

stats = pytest.importorskip("scipy.stats")


@pytest.fixture(scope="module")
def population() -> Population:
    """The population that ships."""
    return load_population(Path(__file__).parents[2] / "rules" / "population.yaml")


@pytest.fixture(scope="module")
def drawn(population: Population) -> Customers:
    """One block of customers."""
    return Sampler(population).block(20260101, 0)


def test_fpi_classes_come_in_the_published_shares(drawn: Customers) -> None:
    """FPI classes of 1854 feet within sampling error of that study and rounding of the scale.

    Source: Nielsen RO et al. 2014, Br J Sports Med 48:440-447: 53, 369, 1292, 122 and 18
    feet. Cut points (adult norm of Redmond 2008, from memory): below -3, -3 to 0, 1 to 7,
    8 to 10, above 10. Four standard errors of a share in 1854 feet of which two are of one
    person (design effect 1.8 for a left-right correlation of 0.8), plus half a percent for
    the rounding of the fitted normal to 2.9 and 3.2.
    """
    fpi = np.concatenate([drawn.feet[s]["fpi"] for s in ("left", "right")])
    edges = [-12.5, -3.5, 0.5, 7.5, 10.5, 12.5]
    share = np.histogram(fpi, edges)[0] / len(fpi)
    published = np.array([53, 369, 1292, 122, 18]) / 1854
    error = np.sqrt(published * (1 - published) / 1854 * 1.8)
    assert np.all(np.abs(share - published) <= 4 * error + 0.005)


def test_left_and_right_differ_as_published(drawn: Customers) -> None:
    """Right minus left FPI within -2 to 2 is the ordinary case, beyond 4 is rare.

    Source: Rokkedal-Lausch T et al. 2013, Gait Posture 38:843-846: of 930 healthy adults,
    -2 to 2 is normal and more than 4 severe asymmetry, that is about one and two standard
    deviations: 68 to 80 % (whole scores: the half steps beyond 2 belong to it) and below 5 %.
    """
    difference = drawn.feet["right"]["fpi"] - drawn.feet["left"]["fpi"]
    assert difference.mean() == pytest.approx(0, abs=0.05)
    assert difference.std() == pytest.approx(2.0, abs=0.15)
    assert stats.norm.cdf(1) - stats.norm.cdf(-1) < np.mean(np.abs(difference) <= 2) < 0.80
    assert np.mean(np.abs(difference) > 4) < 0.05


def test_marginals_are_the_normals_they_are_meant_to_be(
    population: Population, drawn: Customers
) -> None:
    """Kolmogorov-Smirnov against scipy's normal, for measures without rounding and sex."""
    for name in ("peak-time", "standing-angle", "cpei", "arch-height-ratio", "arch-index"):
        spread = population.quantities[name].norm["everyone"]
        normal = stats.norm(spread.mean.value, spread.sd.value)
        for side in ("left", "right"):
            assert stats.kstest(drawn.feet[side][name], normal.cdf).pvalue > 1e-4


def test_body_mass_is_the_lognormal_it_is_meant_to_be(
    population: Population, drawn: Customers
) -> None:
    """Body mass of women against scipy's lognormal of the same mean and SD, clipped at 40 kg."""
    spread = population.quantities["body-mass"].spread("female")
    s2 = np.log1p((spread.sd.value / spread.mean.value) ** 2)
    scale = spread.mean.value * np.exp(-s2 / 2)
    women = drawn.own["body-mass"][drawn.own["sex"].texts() == "female"]
    assert stats.kstest(women[women > 40], lambda x: _above_40(x, s2, scale)).pvalue > 1e-4


def _above_40(x: np.ndarray, s2: float, scale: float) -> np.ndarray:
    whole = stats.lognorm(s2**0.5, scale=scale)
    return (whole.cdf(x) - whole.cdf(40)) / whole.sf(40)


def test_correlations_are_reproduced_within_sampling_error(
    population: Population, drawn: Customers
) -> None:
    """Every correlation in a foot within five standard errors (Fisher z) of the one written.

    Rounding the FPI to whole scores weakens its correlations by less than 1 % (Sheppard).
    """
    numbers = numbers_of(population)
    measured = [n for n in numbers.names if n in drawn.feet["left"] and "foot" not in n]
    for side in ("left", "right"):
        seen = np.corrcoef([drawn.feet[side][n] for n in measured])
        where = [numbers.names.index(n) for n in measured]
        expected = numbers.matrix[np.ix_(where, where)]
        z = np.arctanh(np.where(np.eye(len(where)), 0, seen)) - np.arctanh(
            np.where(np.eye(len(where)), 0, expected)
        )
        assert np.abs(z).max() < 5 / np.sqrt(BLOCK - 3) + 0.005


def test_left_right_correlations_are_reproduced(population: Population, drawn: Customers) -> None:
    """Correlation of the two feet within five standard errors of the one written."""
    for name in ("rearfoot-return", "standing-angle", "cpei", "arch-index"):
        expected = population.quantities[name].left_right
        seen = np.corrcoef(drawn.feet["left"][name], drawn.feet["right"][name])[0, 1]
        assert expected is not None
        assert np.arctanh(seen) == pytest.approx(
            np.arctanh(expected.value), abs=5 / np.sqrt(BLOCK - 3)
        )


def test_rank_correlation_is_that_of_a_gaussian_copula(
    population: Population, drawn: Customers
) -> None:
    """Spearman and Kendall against the closed forms 6/pi asin(r/2) and 2/pi asin(r).

    Source: Kruskal WH 1958, J Am Stat Assoc 53:814-861.
    """
    numbers = numbers_of(population)
    i, j = (numbers.names.index(n) for n in ("peak-time", "rearfoot-return"))
    r = numbers.matrix[i, j]
    a, b = (drawn.feet["left"][n][:20000] for n in ("peak-time", "rearfoot-return"))
    assert stats.spearmanr(a, b)[0] == pytest.approx(6 / np.pi * np.arcsin(r / 2), abs=0.03)
    assert stats.kendalltau(a, b)[0] == pytest.approx(2 / np.pi * np.arcsin(r), abs=0.025)


# --- measured people ----------------------------------------------------------------------------

# Gordon CC et al. 2014, 2012 Anthropometric Survey of U.S. Army Personnel, Natick TR-15/007
# (4,082 men, 1,986 women); figures computed from the released rows. By sex: 10, 50, 90 and 97.5 %
# of the ratio, its SD, and correlations of length-width, length-heel, length-mass, width-heel,
# width-mass and heel-mass.
WIDTH = {
    "female": (0.3541, 0.3766, 0.4000, 0.4128, 0.0182),
    "male": (0.3542, 0.3755, 0.3978, 0.4098, 0.0171),
}
HEEL = {
    "female": (0.2505, 0.2717, 0.2967, 0.3110, 0.0182),
    "male": (0.2454, 0.2674, 0.2902, 0.3043, 0.0179),
}
TOGETHER = {
    "female": (0.555, 0.514, 0.536, 0.542, 0.524, 0.488),
    "male": (0.589, 0.483, 0.484, 0.521, 0.567, 0.512),
}


@pytest.mark.parametrize("sex", ["female", "male"])
@pytest.mark.parametrize(("part", "people"), [("forefoot-width", WIDTH), ("heel-width", HEEL)])
def test_ratios_of_drawn_feet_are_those_of_measured_people(
    drawn: Customers, sex: str, part: str, people: dict[str, tuple[float, ...]]
) -> None:
    """Quantiles of width over length within 0.004 and its SD within 0.001, by sex.

    0.004 is a third of a millimetre in 90: rounding of both to whole millimetres, and one matrix
    for both sexes.
    """
    rows = drawn.own["sex"].texts() == sex
    ratio = (drawn.feet["left"][part] / drawn.feet["left"]["foot-length"])[rows]
    *quantiles, sd = people[sex]
    assert np.quantile(ratio, [0.1, 0.5, 0.9, 0.975]) == pytest.approx(quantiles, abs=0.004)
    assert ratio.std() == pytest.approx(sd, abs=0.001)


@pytest.mark.parametrize("sex", ["female", "male"])
def test_sizes_go_together_as_in_measured_people(drawn: Customers, sex: str) -> None:
    """Six correlations of length, width, heel and mass within 0.05; one matrix serves both."""
    rows = drawn.own["sex"].texts() == sex
    foot = drawn.feet["left"]
    columns = [foot[n][rows] for n in ("foot-length", "forefoot-width", "heel-width")]
    seen = np.corrcoef([*columns, np.log(drawn.own["body-mass"][rows])])
    assert seen[np.triu_indices(4, 1)] == pytest.approx(TOGETHER[sex], abs=0.05)


def test_feet_of_a_pair_differ_in_length_as_measured(drawn: Customers) -> None:
    """Up to 19 % of 2,890 people differ by more than 4 mm (trade bulletin 2018, second-hand)."""
    gap = np.abs(drawn.feet["left"]["foot-length"] - drawn.feet["right"]["foot-length"])
    assert 0.12 < np.mean(gap > 4) < 0.22


def test_standing_and_what_motion_adds_to_it_are_nearly_independent(drawn: Customers) -> None:
    """Everted and inverted standing feet moved alike: Cornwall and McPoil 2004, 164 feet."""
    foot = drawn.feet["left"]
    added = foot["peak-angle"] - foot["standing-angle"]
    assert abs(np.corrcoef(added, foot["standing-angle"])[0, 1]) < 0.03


def test_posture_says_a_disputed_middle_of_the_peak(drawn: Customers) -> None:
    """From 0 (164 feet) to 0.64 (the posture index explains 41 % in one study); the middle half."""
    foot = drawn.feet["left"]
    assert 0.16 < np.corrcoef(foot["fpi"], foot["peak-angle"])[0, 1] < 0.48


def test_childrens_postures_lie_beyond_the_published_boundaries_as_often_as_published(
    population: Population,
) -> None:
    """Children drawn from a published mean and spread lie beyond two scores as often as counted.

    Source: Gijon-Nogueron G et al. 2019, BMJ Open 9:e023341: of 3,217 children 29.8 % scored 6 or
    more and 3.9 % 10 or more (a normal of mean 4 and SD 3 is not fitted to either). Four standard
    errors of a share in that many children, and half a percent for the rounding of the scale.
    """
    children = Sampler(population, numbers_of(population, children=True)).block(20260102, 0)
    child = np.array(children.texts("age-band")) == "child"
    fpi = np.concatenate([children.feet[s]["fpi"][child] for s in ("left", "right")])
    for least, published in ((6, 0.298), (10, 0.039)):
        error = (published * (1 - published) / 3217) ** 0.5
        assert (fpi >= least).mean() == pytest.approx(published, abs=4 * error + 0.005)
