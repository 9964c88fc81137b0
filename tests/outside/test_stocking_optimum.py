"""The integer program and the greedy choice against trying every set of lines."""

from dataclasses import replace
from itertools import chain, combinations

import numpy as np
import pytest

from recommend.coverage.selection import Problem, greedy, merged, select

pytest.importorskip("scipy.optimize")
LARGE = 10**9


def drawn(seed: int, *, together: bool, priced: bool) -> Problem:
    """A random problem of 9 lines: alone, or three shoes and six insoles that may need them."""
    rng = np.random.default_rng(seed)
    options: list[tuple[int, ...]] = [(line,) for line in range(9)]
    if together:
        options = [(0,), (3,), (4,)] + [(s, i) for s in range(3) for i in range(3, 9)]
    serves = rng.random((25, len(options))) < 0.15
    costs = rng.integers(10, 60, 9).astype(float) if priced else np.ones(9)
    budget = 90.0 if priced else 3.0
    return Problem(rng.dirichlet(np.ones(25)), tuple(options), serves, costs, budget)


def best_by_trying_all(problem: Problem) -> float:
    """The most that any affordable set of lines serves, by going through all of them."""
    lines = range(len(problem.costs))
    sets = chain.from_iterable(combinations(lines, n) for n in range(len(lines) + 1))
    most = 0.0
    for chosen in sets:
        if sum(problem.costs[line] for line in chosen) > problem.budget:
            continue
        served = 0.0
        for group, weight in enumerate(problem.weights):
            usable = [
                o for o, needed in enumerate(problem.options) if all(n in chosen for n in needed)
            ]
            served += weight * any(problem.serves[group, o] for o in usable)
        most = max(most, served)
    return most


CASES = [(seed, together, priced) for seed in range(6) for together in (0, 1) for priced in (0, 1)]


@pytest.mark.parametrize(("seed", "together", "priced"), CASES)
def test_the_integer_program_finds_the_best_set(seed: int, together: int, priced: int) -> None:
    """Exact means: no set within the budget serves more."""
    problem = drawn(seed, together=bool(together), priced=bool(priced))
    chosen = select(problem, largest=LARGE, seconds=20)
    assert chosen.method == "exact"
    assert sum(problem.costs[line] for line in chosen.lines) <= problem.budget
    assert chosen.served == pytest.approx(best_by_trying_all(problem))
    assert sum(chosen.gains) == pytest.approx(chosen.served)


@pytest.mark.parametrize(("seed", "together", "priced"), CASES)
def test_greedy_keeps_its_promise_and_its_upper_bound(
    seed: int, together: int, priced: int
) -> None:
    """Greedy never falls below its proven share, and no set beats its upper bound."""
    problem = drawn(seed, together=bool(together), priced=bool(priced))
    chosen, best = greedy(merged(problem)), best_by_trying_all(problem)
    assert chosen.served <= best + 1e-12
    assert chosen.at_most >= best - 1e-12
    assert chosen.served >= (chosen.promise or 0) * best


@pytest.mark.parametrize("seed", range(5))
def test_letting_lines_go_loses_least(seed: int) -> None:
    """With three lines gone, no other three would have left more."""
    problem = replace(drawn(seed, together=True, priced=False), budget=6.0)
    kept = select(problem, largest=LARGE, seconds=20)
    best = max(problem.served_by(set(c)) for c in combinations(range(9), 6))
    assert kept.served == pytest.approx(best)


def test_a_solver_without_time_still_gives_a_choice_and_says_how_good() -> None:
    """No time at all: something affordable, not called exact unless it is the best."""
    problem = drawn(1, together=False, priced=False)
    chosen, best = select(problem, largest=LARGE, seconds=0.0), best_by_trying_all(problem)
    assert len(chosen.lines) <= problem.budget
    assert chosen.served <= best + 1e-12 <= chosen.at_most + 1e-9
    if chosen.method == "exact":
        assert chosen.served == pytest.approx(best)
