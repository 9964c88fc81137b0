"""Agreement between static measures, against statsmodels and the published figure."""

from collections.abc import Callable

import numpy as np
import pytest

from recommend.coverage.crowd import fleiss_kappa, ratings
from recommend.coverage.population import load_population
from recommend.coverage.sampling import Sampler
from recommend.coverage.tally import FactColumns
from recommend.extras import shipped_folder
from recommend.infer.many import conclude_many
from recommend.rulebook.opened import load_rulebook

inter_rater = pytest.importorskip("statsmodels.stats.inter_rater")


@pytest.mark.parametrize("seed", range(4))
def test_fleiss_kappa_equals_statsmodels(seed: int) -> None:
    """On random tables of three to six raters, equal to rounding."""
    rng = np.random.default_rng(seed)
    table = rng.multinomial(seed + 3, [0.2, 0.5, 0.3], size=200)
    assert fleiss_kappa(table) == pytest.approx(inter_rater.fleiss_kappa(table))


def test_fleiss_kappa_of_the_textbook_table() -> None:
    """Ten subjects, fourteen raters, five classes: 0.210.

    Source: the worked example of Fleiss's kappa that statistics handbooks print.
    """
    table = np.array(
        [
            [0, 0, 0, 0, 14],
            [0, 2, 6, 4, 2],
            [0, 0, 3, 5, 6],
            [0, 3, 9, 2, 0],
            [2, 2, 8, 1, 1],
            [7, 7, 0, 0, 0],
            [3, 2, 6, 3, 0],
            [2, 5, 3, 2, 2],
            [6, 5, 2, 1, 0],
            [0, 2, 2, 3, 7],
        ]
    )
    assert fleiss_kappa(table) == pytest.approx(0.210, abs=5e-4)


def test_static_axes_agree_less_than_perfectly_and_more_than_by_chance(
    record_property: Callable[[str, str], None],
) -> None:
    """Kappa of posture, arch and heel on drawn feet, reported beside the published 0.58.

    Source: Langley B, Cramp M, Morrison SC 2016, J Foot Ankle Res 9:45: 0.58 for four static
    measures of 30 people. Nothing is fitted to it: the axes here use wider bands and leave
    navicular drop out, so only the sign and being short of perfect are asserted.
    """
    rules = shipped_folder("rules")
    book, population = load_rulebook(rules), load_population(rules / "population.yaml")
    feet = Sampler(population).block(1, 0, 20_000)
    facts = FactColumns(book, population).of_foot(feet, "left")
    assert population.agreement is not None
    axes = conclude_many(book, facts, feet.count).axes
    kappa = fleiss_kappa(ratings(book, axes, population.agreement))
    record_property("fleiss_kappa", f"{kappa:.3f} (published {0.58})")
    print(f"Fleiss kappa of drawn feet {kappa:.3f}, published 0.58")
    assert 0 < kappa < 1
