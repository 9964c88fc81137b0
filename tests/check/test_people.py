"""What rules say of people, held against the modelled population; and what outcomes lean on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from recommend.catalogue.loading import load_catalogue
from recommend.check.claims import (
    claim_findings,
    claimed,
    claims_of,
    steadiness,
    unsteady_findings,
)
from recommend.check.lean import World, lean_of, movables
from recommend.check.people import People
from recommend.coverage.population import load_population
from recommend.extras import shipped_folder
from recommend.rulebook import Rulebook, load_rulebook
from tests.check.conftest import Changed


def people_of(folder: Path, count: int = 5000) -> People:
    """Drawn adults under the rulebook of a folder."""
    found = People.of(load_rulebook(folder), count)
    assert found is not None
    return found


def test_the_rules_that_ship_claim_nothing_that_is_not_so(book: Rulebook) -> None:
    """No word such as `most` or `far` is untrue of the modelled adults."""
    people = People.of(book)
    assert people is not None
    assert list(claim_findings(book, people)) == []


def test_a_word_that_says_most_of_a_minority_is_found(changed: Changed) -> None:
    """With the trade's four degrees as the edge, few feet move as far as `most` do."""
    walking = "value: {}, where: {{gait: walking, reference: vertical}}, system: people"
    folder = changed(
        ("limits.yaml", walking.format(8.8), walking.format(4.0)),
        ("limits.yaml", "range: [7.5, 10.5]", "range: [3, 10.5]"),
    )
    book = load_rulebook(folder)
    found = [f.found for f in claim_findings(book, people_of(folder))]
    assert any("`amount: usual`" in text and "as far as most feet" in text for text in found)
    assert any("`amount: much`" in text and "than most feet" in text for text in found)


def test_a_note_that_calls_many_far_is_found(changed: Changed) -> None:
    """A note that says `far` and reaches one in three is told to say something else."""
    folder = changed(("limits.yaml", "value: 10, where: {age: grown}, kind: published",
                      "value: 4, where: {age: grown}, kind: published"))  # fmt: skip
    book = load_rulebook(folder)
    found = [f.found for f in claim_findings(book, people_of(folder))]
    assert any("see-posture-far-inwards" in text and "far inside" in text for text in found)


def test_the_longer_words_count(book: Rulebook) -> None:
    """`no further than most` claims a majority, although `than most` stands in it."""
    said = claimed("it rolls in no further than most feet", claims_of(book))
    assert list(said) == ["no further than most"]
    assert said["no further than most"].share.at_least is not None


def test_a_rulebook_without_people_is_not_judged_by_them(changed: Changed) -> None:
    """A rulebook of others without a population claims what it likes: nothing is drawn."""
    folder = changed()
    (folder / "population.yaml").unlink()
    assert People.of(load_rulebook(folder)) is None


def test_labels_without_error_hold_whenever_they_are_read_again(changed: Changed) -> None:
    """Where no reading errs, every label holds; where all err much, some are called unsteady."""
    folder = changed()
    people = people_of(folder)
    people.builder.errors.update(dict.fromkeys(people.builder.errors, 0.0))
    assert all(kept == 1.0 for _, _, kept, _ in steadiness(people))
    unsure = people_of(folder)
    unsure.builder.errors.update({"fpi": 4.0})
    assert any("posture" in f.found for f in unsteady_findings(unsure))


def test_every_figure_that_is_not_known_has_a_range(book: Rulebook) -> None:
    """Assumptions and figures from memory that can be moved say within what they may lie."""
    population = load_population(Path(book.folder) / "population.yaml")
    without = [m.name for m in movables(World(book, population)) if m.low is None]
    assert [name for name in without if name.startswith(("population", "measures"))] == []


def test_each_figure_is_moved_and_nothing_else(book: Rulebook) -> None:
    """At its own value the world is as it was; at an end only that figure differs."""
    population = load_population(Path(book.folder) / "population.yaml")
    world = World(book, population)
    for one in movables(world):
        if one.name.startswith("population") and one.low is not None:
            assert one.low <= one.value <= (one.high or one.value), one.name
            same = one.moved(world, one.value).population
            assert np.allclose(same.matrix(), population.matrix()), one.name


def test_every_figure_can_be_moved_to_the_ends_of_its_range(book: Rulebook) -> None:
    """Also a share, whose fellows go on adding up with it to 1; nothing fits less than before."""
    world = World(book, load_population(Path(book.folder) / "population.yaml"))
    for one in movables(world):
        for end in (one.low, one.high):
            if end is not None:
                one.moved(world, end)


@pytest.mark.parametrize("figure", ["limits peak-upper (walking, vertical)"])
def test_lean_counts_what_a_limit_moves(
    book: Rulebook, figure: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The share of adults whose type changes is that of the feet between the two limits.

    Counted here by hand from the drawn peaks: those clearly above one limit and not the other.
    """
    monkeypatch.setattr("recommend.check.lean.movables",
                        lambda world: [m for m in movables(world) if m.name == figure])  # fmt: skip
    catalogue = load_catalogue(shipped_folder("catalogue_demo"), book.attributes)
    lean = lean_of(book, catalogue)
    (one,) = lean.figures
    people = People.of(book, lean.adults)
    assert people is not None
    error = people.builder.errors["peak-angle"]
    assert one.figure.low is not None
    lowest = np.array([
        (people.customers.feet[s]["peak-angle"] - error > one.figure.low)
        & (people.customers.feet[s]["peak-angle"] - error <= one.figure.value)
        for s in ("left", "right")
    ])  # fmt: skip
    assert one.moves.types == pytest.approx(lowest.any(axis=0).mean(), abs=0.02)
    assert one.moves.notes <= one.moves.types
