"""How sure a place is, over cases that were counted by hand."""

from __future__ import annotations

from typing import Any, cast

import numpy as np
import pytest

from recommend.match.cases import Cases
from recommend.match.ranking import Ranking
from tests import shipped


def _cases(case: list[int], stopped: list[bool], weights: list[float] | None = None) -> Cases:
    of_two = np.zeros((2, 0), np.bool_)
    told = None if weights is None else np.array(weights)
    ranking = Ranking(shipped.book(), shipped.shop())
    sizes = np.zeros(2, np.intp)
    return Cases(ranking, np.array(case), of_two, sizes, np.array(stopped), weights=told)


def test_what_a_stop_withholds_has_no_share_in_the_choice() -> None:
    """By hand: one of four redraws is stopped: the first case has 1 of 3, with weights 2 of 5."""
    stopped = [False, True, False, False]
    assert _cases([0, 0, 1, 1], stopped).shares == pytest.approx([1 / 3, 2 / 3])
    assert _cases([0, 0, 1, 1], stopped, [2, 9, 1, 2]).shares == pytest.approx([2 / 5, 3 / 5])
    assert _cases([0, 0, 1, 1], [True] * 4).shares.tolist() == [0, 0]


@pytest.mark.parametrize(
    ("out", "overtaken", "back"),
    [(0.25, 0, True), (0.249, 0, False), (0, 0.25, True), (0, 0.249, False), (0.15, 0.15, False)],
)
def test_from_where_a_candidate_stands_back(out: float, overtaken: float, back: bool) -> None:
    """By hand: from a quarter of the redraws in which it is out, or in which it is overtaken.

    What is out is not overtaken as well: each share is asked by itself.
    """
    rank = shipped.book().parameters.rank
    assert (rank.held_out, rank.overtaken) == (0.25, 0.25)
    cases = cast(Any, _cases([0, 1], [False, False]))
    cases.__dict__["shares"] = np.array([1 - out - overtaken, out, overtaken])
    listed, within = np.array([[True], [False], [True]]), np.array([[True], [False], [False]])
    cases.__dict__["_within"] = {"shoe": (listed, within)}
    assert cases.stand_back("shoe").tolist() == [back]
