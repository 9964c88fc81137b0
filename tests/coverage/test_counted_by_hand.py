"""Small counts of coverage, reckoned by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from recommend.coverage.evaluate import Evaluator, Terms, Usable, kinds_of
from recommend.coverage.rows import Alike
from recommend.coverage.split import OUTCOMES, outcomes_of
from recommend.coverage.tally import Tally, add, layout_of, tally
from recommend.match.needs import need_table
from tests import shipped


def test_whom_a_stop_withholds_is_counted_for_no_product() -> None:
    """Of 12 customers alike, 7 are stopped: 5 are to be served, and all are one group."""
    book = shipped.book()
    layout = layout_of(book)
    cases = np.zeros((2, layout.stop + 1), np.int64)
    cases[1, layout.stop] = 1
    kinds = kinds_of(Tally(cases, np.array([5, 7])), layout, need_table(book))
    assert kinds.weights.tolist() == [5]
    assert kinds.group.tolist() == [0, 0]


@pytest.mark.parametrize(
    ("ways", "choices"),
    [(("pair",), [1, 3, 0]), (("shoe", "insole"), [3, 3, 2]), (("pair", "shoe"), [3, 3, 2])],
)
def test_among_how_many_a_customer_can_choose(ways: Any, choices: list[int]) -> None:
    """Three shoes with one insole; three shoes with or without; no shoe with two insoles.

    Of pairs the rarer part counts, and the shoes alone where no insole will do as well.
    """
    all_of = np.arange(3)
    shoes = Alike(np.array([[1, 1, 1], [1, 1, 1], [0, 0, 0]], bool), all_of)
    insoles = Alike(np.array([[1, 0, 0], [1, 0, 1], [1, 1, 0]], bool), all_of)  # the last: none
    shop: Any = SimpleNamespace(bought=2, terms=Terms(ways))
    found = Evaluator.choices(shop, Usable(shoes, insoles, np.ones(3, bool)))
    assert found.tolist() == choices


def test_tallies_of_parts_add_up() -> None:
    """Cases that occur in both parts are one, with the customers of both; far numbers too."""
    far = 10**12
    one = tally(np.array([[1, far], [1, far], [2, -far]]))
    other = Tally(np.array([[2, -far], [1, 0]]), np.array([4, 6]))
    whole = add([one, other])
    assert whole.cases.tolist() == [[1, 0], [1, far], [2, -far]]
    assert whole.counts.tolist() == [6, 2, 5]
    assert whole.customers == 13


def test_what_becomes_of_each_group() -> None:
    """Served and in need of more; served and of nothing; only harmless; nothing at all."""
    more = {"shoe": np.array([False, False]), "insole": np.array([True, False])}
    kinds: Any = SimpleNamespace(more=more, kind=np.array([0, 1, 0, 1]))
    well, harmless = np.array([True, True, False, False]), np.array([True, True, True, False])
    served: Any = SimpleNamespace(well=well, harmless=harmless)
    for sold, words in (
        (("shoe", "insole"), ["well", "plain", "harmless", "nothing"]),
        (("shoe",), ["plain", "plain", "harmless", "nothing"]),
    ):
        found = outcomes_of(served, kinds, frozenset(sold))
        assert [OUTCOMES[code] for code in found] == words
