"""Reading and drawing a population."""

from pathlib import Path

import numpy as np
import pytest

from recommend.catalogue import Catalogue
from recommend.coverage.crowd import Crowd, has_children
from recommend.coverage.population import Population, load_population
from recommend.coverage.sampling import BLOCK, Sampler, Words, nearest_correlation, numbers_of
from recommend.errors import InputError
from recommend.rulebook.book import Rulebook

SHIPPED = Path(__file__).parents[2] / "rules" / "population.yaml"


def broken(tmp_path: Path, old: str, new: str) -> Path:
    """The shipped file with one thing replaced."""
    text = SHIPPED.read_text()
    assert old in text
    path = tmp_path / "population.yaml"
    path.write_text(text.replace(old, new, 1))
    return path


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("female: {value: 0.5,", "female: {value: 0.6,", ["add up to 1", "1.1"]),
        ("between: [fpi, arch-index]", "between: [fpi, arch-indx]", ["`arch-indx`"]),
        ("between: [fpi, arch-index]", "between: [fpi, fpi]", ["stands twice"]),
        ("value: 0.57, kind", "value: -5.5, kind", ["-5.5", "from -1 to 1"]),
        ("value: 0.57, kind", "value: -0.95, kind", ["cannot hold together"]),
        ("along: cop-drift", "along: cop-shift", ["`cop-shift`"]),
        ("kind: published, source: sobel-1999", "kind: published", ["names its `source`"]),
        ("    hiking: {value: 0.05,", "    hiking: {value: 0.06,", ["add up to 1", "1.01"]),
        (
            "    standing-angle:\n      mean: {value: 5.6",
            "    standing-angel:\n      mean: {value: 5.6",
            ["`standing-angel`"],
        ),
        ("    left-right: {value: 0.97,", "    left-write: {value: 0.97,", ["left-write"]),
        ("of: customer", "of: foot", ["`left-right` goes with"]),
    ],
)
def test_a_defect_is_refused_where_it_stands(
    tmp_path: Path, old: str, new: str, words: list[str]
) -> None:
    """Each defect of a population file names its file and line and what is wrong."""
    path = broken(tmp_path, old, new)
    with pytest.raises(InputError) as caught:
        load_population(path)
    assert caught.value.place.file == str(path)
    assert caught.value.place.line > 1
    for word in words:
        assert word in str(caught.value)


def test_the_same_seed_draws_the_same_feet(population: Population) -> None:
    """A block depends on seed and number only, and a shorter block is its beginning."""
    sampler = Sampler(population)
    once, again = sampler.block(7, 3, 500), sampler.block(7, 3, 900)
    other = sampler.block(8, 3, 500)
    assert np.array_equal(once.feet["left"]["fpi"], again.feet["left"]["fpi"][:500])
    assert not np.array_equal(once.feet["left"]["fpi"], other.feet["left"]["fpi"])


def test_blocks_add_up_to_the_count(population: Population) -> None:
    """Drawing in blocks gives exactly the number asked for, each block its own feet."""
    blocks = list(Sampler(population).blocks(BLOCK + 10, 1))
    assert [b.count for b in blocks] == [BLOCK, 10]
    first, second = (b.feet["left"]["peak-angle"][:10] for b in blocks)
    assert not np.allclose(first, second)


def test_hidden_quantities_stay_hidden(population: Population) -> None:
    """Only measures and facts of the customer come out, no helper quantity."""
    one = Sampler(population).block(1, 0, 10)
    assert {"cop-drift", "cop-lateness", "walking-beyond-standing", "body-mass"}.isdisjoint(
        one.feet["left"]
    )
    assert set(one.own) == {"sex", "age-band", "purpose", "body-mass"}


def test_classes_get_their_shares(population: Population) -> None:
    """COP classes and the customer's words come in the shares written, within 5 SE."""
    one = Sampler(population).block(2, 0)
    cop = one.feet["right"]["cop-pattern"]
    assert isinstance(cop, Words)
    expected = {"lateral": 0.20, "central": 0.55, "medial-early": 0.10, "medial-late": 0.15}
    for word, share in expected.items():
        assert np.mean(cop.texts() == word) == pytest.approx(share, abs=5 * (0.25 / BLOCK) ** 0.5)


def test_late_pronation_loads_the_inside_late(population: Population) -> None:
    """Feet of the late medial class have come back less by push-off than those of the early one."""
    foot = Sampler(population).block(2, 0).feet["left"]
    cop = foot["cop-pattern"].texts()
    late, early = (foot["rearfoot-return"][cop == c] for c in ("medial-late", "medial-early"))
    assert late.mean() < early.mean() - 0.5


def test_assumed_correlations_can_be_switched_off(population: Population) -> None:
    """With the factor zero only known correlations are left; marginals are unchanged."""
    without = numbers_of(population, assumed=0.0)
    i, j = (without.names.index(n) for n in ("arch-height-ratio", "arch-rigidity"))
    assert without.matrix[i, j] == 0.3
    known = {frozenset(p.between) for p in population.correlations.pairs if p.kind != "assumption"}
    for i, one in enumerate(without.names):
        for j, other in enumerate(without.names[:i]):
            assert (without.matrix[i, j] != 0) == (frozenset((one, other)) in known)
    assert np.array_equal(without.mean, numbers_of(population).mean)


def test_an_impossible_matrix_is_repaired_to_a_possible_one() -> None:
    """Correlations too strong to hold together become the nearest kind that can."""
    impossible = np.array([[1, 0.9, -0.9], [0.9, 1, 0.9], [-0.9, 0.9, 1]])
    repaired = nearest_correlation(impossible)
    assert np.linalg.eigvalsh(repaired)[0] > -1e-12
    assert np.diag(repaired) == pytest.approx(np.ones(3))


def test_children_are_drawn_besides_and_change_nobody_else(population: Population) -> None:
    """A tenth are children, who do not work and grow by the year; all others stay as drawn."""
    with_them = Sampler(population, numbers_of(population, children=True)).block(4, 0)
    without = Sampler(population).block(4, 0)
    ages = np.array(with_them.texts("age-band"))
    child, length = ages == "child", with_them.feet["left"]["foot-length"]
    assert child.mean() == pytest.approx(population.children.share.value, abs=0.005)
    assert set(np.array(with_them.texts("purpose"))[child]) == set(population.children.purpose)
    for name in ("foot-length", "fpi", "peak-angle"):
        left = with_them.feet["left"][name]
        assert np.array_equal(left[~child], without.feet["left"][name][~child])
    grown = population.children.spread["foot-length"]
    years = population.children.oldest.value + 1 - population.children.youngest.value
    spread = (grown.sd.value**2 + (grown.per_year.value * years) ** 2 / 12) ** 0.5
    assert length[child].mean() == pytest.approx(grown.mean.value, abs=1)
    assert length[child].std() == pytest.approx(spread, abs=1)


def test_children_are_counted_only_where_something_is_made_for_them(
    population: Population, book: Rulebook, catalogue: Catalogue
) -> None:
    """The demo makes shoes for children; its shoes for running do not."""
    assert has_children(catalogue.items, population, book)
    running = [item for item in catalogue.items if item.levels.get("shoe.for-running")]
    assert running
    grown = [item for item in running if not item.levels.get("shoe.for-children")]
    assert not has_children(grown, population, book)
    assert Crowd("modelled", population, 9, 1, children=True).ages[0] == "child"
