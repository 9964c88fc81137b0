"""Choosing lines to stock."""

import numpy as np
import pytest

from recommend.coverage.selection import Problem, greedy, in_order_of_gain, merged


def problem(
    serves: list[list[int]],
    weights: list[float],
    budget: float,
    costs: list[float] | None = None,
    options: list[tuple[int, ...]] | None = None,
) -> Problem:
    """A small problem; each option is one line when none are given."""
    table = np.array(serves, dtype=bool)
    alone = options or [(i,) for i in range(table.shape[1])]
    lines = 1 + max(line for option in alone for line in option)
    price = np.array(costs or [1.0] * lines)
    return Problem(np.array(weights), tuple(alone), table, price, budget)


def test_greedy_takes_the_most_first_and_stops_when_nothing_is_added() -> None:
    """Three lines of which the third adds nobody: two are chosen, by size of gain."""
    chosen = greedy(problem([[1, 0, 1], [0, 1, 0]], [0.2, 0.5], budget=3))
    assert chosen.lines == (1, 0)
    assert chosen.gains == pytest.approx((0.5, 0.2))
    assert chosen.at_most == pytest.approx(0.7)


def test_greedy_says_its_promise_only_where_one_is_proven() -> None:
    """A count gets 1 - 1/e, a budget half of it, shoes that need an insole get none."""
    serves, weights = [[1, 0], [0, 1]], [0.5, 0.4]
    assert greedy(problem(serves, weights, 1)).promise == pytest.approx(0.6321, abs=1e-4)
    assert greedy(problem(serves, weights, 3, [1, 3])).promise == pytest.approx(0.316, abs=1e-3)
    assert greedy(problem(serves, weights, 2, options=[(0, 1), (1,)])).promise is None


def test_a_budget_is_kept_and_one_dear_line_may_beat_many_cheap_ones() -> None:
    """A dear line that serves nearly all is taken although a cheap one gains more per cost."""
    chosen = greedy(problem([[1, 0], [0, 1]], [0.02, 0.9], 10, [0.1, 10]))
    assert chosen.lines == (1,)


def test_a_shoe_and_an_insole_that_serve_only_together_are_taken_together() -> None:
    """Neither line alone gains anything; the two are still found."""
    chosen = greedy(problem([[1, 0]], [0.3], 2, options=[(0, 1), (2,)]))
    assert set(chosen.lines) == {0, 1}
    assert chosen.served == pytest.approx(0.3)


def test_groups_served_alike_are_merged_without_changing_anything() -> None:
    """Merging keeps what any choice of lines serves."""
    rng = np.random.default_rng(1)
    table = (rng.random((300, 4)) < 0.3).astype(int).tolist()
    whole = problem(table, list(rng.random(300)), 2)
    small = merged(whole)
    assert len(small.weights) <= 15
    for lines in ({0}, {1, 2}, {0, 1, 2, 3}):
        assert small.served_by(lines) == pytest.approx(whole.served_by(lines))


@pytest.mark.parametrize("seed", range(8))
def test_greedy_takes_what_adds_most_when_every_gain_is_counted_anew(seed: int) -> None:
    """The gains that are carried along choose as counting every line and pair anew would."""
    rng = np.random.default_rng(seed)
    options = [(n,) for n in range(7)] + [(s, i) for s in range(3) for i in range(3, 7)]
    serves = rng.random((40, len(options))) < 0.1
    one = Problem(rng.integers(1, 50, 40).astype(float), tuple(options), serves, np.ones(7), 4.0)
    chosen: set[int] = set()
    while True:
        now = one.served_by(chosen)
        able = [o for o in options if len(chosen | set(o)) <= 4 and not chosen & set(o)]
        worth = {o: (one.served_by(chosen | set(o)) - now) / len(o) for o in able}
        best = max(able, key=lambda o: (worth[o], -o[0]), default=())
        if not best or worth[best] <= 0:
            break
        chosen |= set(best)
    assert set(greedy(one).lines) == chosen


def test_order_of_gain_is_settled_by_the_first_line_when_equal() -> None:
    """Two lines that gain the same are given in the order of the catalogue."""
    order, gains = in_order_of_gain(problem([[1, 0], [0, 1]], [0.5, 0.5], 2), [1, 0])
    assert order == (0, 1)
    assert gains == pytest.approx((0.5, 0.5))
