"""The products that lead, over columns, are those of the shortlist."""

from __future__ import annotations

import pytest

from recommend.catalogue import Catalogue
from recommend.infer.assess import assess
from recommend.infer.engine import Engine
from recommend.match.shortlist import shortlist
from recommend.rulebook import Rulebook
from recommend.trail.leaders import Leaders
from tests.trail.random_visits import random_visit


@pytest.mark.parametrize("seed", range(40))
def test_leaders_are_those_of_the_shortlist(
    book: Rulebook, catalogue: Catalogue, engine: Engine, leaders: Leaders, seed: int
) -> None:
    """For a random visit the whole order of every group is that of `match.shortlist`."""
    one = shortlist(assess(random_visit(book, seed), book, engine), book, catalogue)
    found = leaders.first(one.needs, one.wanted.length, 10_000)
    assert found == {group: tuple(c.id for c in ranked) for group, ranked in one.ranked.items()}
