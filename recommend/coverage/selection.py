"""Which lines to stock so that most customers are served: maximum coverage.

A customer group is served by an *option*: one line alone, or a shoe together with an insole.
Lines cost money or count as one each; the sum stays within a budget.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass, replace
from math import e
from typing import Literal

import numpy as np

from recommend.coverage.numbers import Array

Method = Literal["exact", "within-gap", "greedy"]
TINY = 1e-9  # two sums of the same weights may differ by rounding


@dataclass(frozen=True, slots=True)
class Problem:
    """What there is to choose from.

    Attributes
    ----------
    weights : share of customers in each of g groups, shape (g,).
    options : for each of o options, the lines it needs (one or two indexes).
    serves : which option serves which group, bool, shape (g, o).
    costs : cost of each of p lines, shape (p,).
    budget : most that the chosen lines may cost together.
    worth : what each line is worth beside whom it serves, in the unit of the weights; None for
        nothing.
    """

    weights: Array
    options: tuple[tuple[int, ...], ...]
    serves: Array
    costs: Array
    budget: float
    worth: Array | None = None

    @property
    def of_line(self) -> Array:
        """What each line is worth beside whom it serves, shape (p,)."""
        return np.zeros(len(self.costs)) if self.worth is None else self.worth

    def value_of(self, lines: set[int]) -> float:
        """Weight served by the given lines, and what they are worth besides."""
        return self.served_by(lines) + float(self.of_line[sorted(lines)].sum())

    @property
    def alone(self) -> bool:
        """Whether every option is one line, so that gains only shrink as lines are added."""
        return all(len(option) == 1 for option in self.options)

    @property
    def counted(self) -> bool:
        """Whether all lines cost the same, so that the budget is a number of lines."""
        return bool(np.ptp(self.costs) == 0) if len(self.costs) else True

    def served_by(self, lines: set[int]) -> float:
        """Weight of the groups that the given lines serve."""
        usable = [o for o, option in enumerate(self.options) if lines.issuperset(option)]
        return float(self.weights[self.serves[:, usable].any(axis=1)].sum())


@dataclass(frozen=True, slots=True)
class Selection:
    """Lines chosen, what they serve, and how far from the best that can be.

    Attributes
    ----------
    lines : chosen lines in the order of their gain.
    gains : weight added by each, in that order.
    served : weight served by all of them.
    at_most : no choice within the budget serves more, worth besides included.
    method : ``exact`` (proven best), ``within-gap`` (the solver stopped in time) or ``greedy``.
    promise : the share of the best that greedy is proven to reach on any input; None if none.
    """

    lines: tuple[int, ...]
    gains: tuple[float, ...]
    served: float
    at_most: float
    method: Method
    promise: float | None = None


def select(problem: Problem, *, largest: int, seconds: float) -> Selection:
    """Choose the lines that serve most.

    Parameters
    ----------
    problem : what there is to choose from.
    largest : number of group-option entries above which the integer program is not tried.
    seconds : time after which the integer program stops.

    Notes
    -----
    Exact by an integer program (HiGHS through scipy, optional extra ``plan``) when scipy is
    there and the problem is not too large, else greedy.
    """
    small = merged(problem)
    if int(small.serves.sum()) <= largest and importlib.util.find_spec("scipy"):
        from recommend.coverage.integer_program import solve

        return solve(small, seconds)
    return greedy(small)


def merged(problem: Problem) -> Problem:
    """The same problem with groups that the same options serve taken together."""
    if not problem.options:
        return problem
    useful = problem.serves.any(axis=1) & (problem.weights > 0)
    packed = np.packbits(problem.serves[useful], axis=1)
    _, first, group = np.unique(packed, axis=0, return_index=True, return_inverse=True)
    weights = np.bincount(group.ravel(), problem.weights[useful], minlength=len(first))
    serves = problem.serves[useful][first]
    return replace(problem, weights=weights, serves=serves)


def greedy(problem: Problem) -> Selection:
    """Add the line (or shoe with insole) with most gain per cost until the budget is spent.

    Notes
    -----
    When every option is one line, the result serves at least 1 - 1/e of the best possible for
    a number of lines (Nemhauser, Wolsey and Fisher 1978, Math Program 14:265-294), and half
    of that for a budget when the best single line is tried too (Khuller, Moss and Naor 1999,
    Inf Process Lett 70:39-45). Where a shoe and an insole serve only together nothing is
    proven, and `promise` is None.
    """
    chosen, limit = _climb(problem)
    if not problem.counted:
        chosen = _better_of_single(problem, chosen)
    ordered, gains = in_order_of_gain(problem, chosen)
    served = problem.served_by(set(chosen))
    promise = None
    if problem.alone:
        promise = (1 - 1 / e) * (1.0 if problem.counted else 0.5)
    everything = float(problem.weights.sum() + problem.of_line.sum())
    most = limit if problem.alone else everything
    return Selection(ordered, gains, served, max(served, most), "greedy", promise)


def _climb(problem: Problem) -> tuple[list[int], float]:
    """Lines in the order greedy takes them, and an upper bound on what any choice serves.

    The bound holds when every option is one line: at any stage no choice can add more than
    the best remaining gains that fit into the whole budget.
    """
    climb = _Climb(problem)
    left = problem.budget
    limit = everything = float(problem.weights.sum() + problem.of_line.sum())
    while True:
        moves = climb.moves()
        limit = min(limit, climb.value + _fill(problem, moves), everything)
        affordable = {m: gain for m, gain in moves.items() if _cost(problem, m) <= left + TINY}
        if not affordable or max(affordable.values()) <= TINY:
            return climb.chosen, limit
        best = max(affordable, key=lambda m: (affordable[m] / _cost(problem, m), -m[0]))
        climb.take(best)
        left -= _cost(problem, best)


class _Climb:
    """Lines chosen so far, whom they serve, and what each further line would add at once."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.chosen: list[int] = []
        self.open = problem.weights.astype(float)
        self.now = np.zeros((len(problem.costs), len(problem.weights)), bool)
        pairs = []
        for o, option in enumerate(problem.options):
            if len(option) == 1:
                self.now[option[0]] |= problem.serves[:, o]
            else:
                pairs.append(o)
        self.two = np.array([problem.options[o] for o in pairs], np.intp).reshape(-1, 2)
        self.serves = np.ascontiguousarray(problem.serves[:, pairs].T)

    @property
    def value(self) -> float:
        """Weight served, and what the lines are worth besides."""
        served = float(self.problem.weights.sum() - self.open.sum())
        return served + float(self.problem.of_line[self.chosen].sum())

    def moves(self) -> dict[tuple[int, ...], float]:
        """Lines, or two together, that can be added, and what that adds."""
        worth = self.problem.of_line
        alone = self.now @ self.open + worth
        both = (self.serves | self.now[self.two[:, 0]] | self.now[self.two[:, 1]]) @ self.open
        both += worth[self.two].sum(axis=1)
        rest = [n for n in range(len(alone)) if n not in self.chosen]
        found: dict[tuple[int, ...], float] = {(n,): float(alone[n]) for n in rest}
        found |= {
            (s, i): gain for (s, i), gain in zip(self.two.tolist(), both.tolist(), strict=True)
        }
        return found

    def take(self, move: tuple[int, ...]) -> None:
        """Add the lines of a move; a pair of which one is chosen becomes a matter of the other."""
        self.chosen += move
        for line in move:
            self.open[self.now[line]] = 0.0
        have = np.isin(self.two, self.chosen)
        whole = have.all(axis=1)
        if whole.any():
            self.open[self.serves[whole].any(axis=0)] = 0.0
        for row in np.flatnonzero(have.any(axis=1) & ~whole):
            other = int(self.two[row][~have[row]][0])
            self.now[other] |= self.serves[row]
        keep = ~have.any(axis=1)
        self.two, self.serves = self.two[keep], self.serves[keep]


def _cost(problem: Problem, move: tuple[int, ...]) -> float:
    return float(sum(problem.costs[line] for line in move))


def _fill(problem: Problem, moves: dict[tuple[int, ...], float]) -> float:
    """Most that single moves could add within the whole budget, the last one taken in part."""
    rest, total = problem.budget, 0.0
    for move in sorted(moves, key=lambda m: -moves[m] / _cost(problem, m)):
        part = min(1.0, rest / _cost(problem, move))
        total += part * moves[move]
        rest -= part * _cost(problem, move)
        if rest <= TINY:
            break
    return total


def _better_of_single(problem: Problem, chosen: list[int]) -> list[int]:
    """The greedy choice, or one affordable option that alone serves more."""
    best, most = chosen, problem.value_of(set(chosen))
    for option in problem.options:
        served = problem.value_of(set(option))
        if _cost(problem, option) <= problem.budget + TINY and served > most + TINY:
            best, most = list(option), served
    return best


def in_order_of_gain(
    problem: Problem, lines: list[int]
) -> tuple[tuple[int, ...], tuple[float, ...]]:
    """`lines` with the line of most gain first, then the next, and what each adds."""
    order: list[int] = []
    gains: list[float] = []
    served = 0.0
    rest = sorted(lines)
    while rest:
        now = {line: problem.served_by({*order, line}) for line in rest}
        best = max(rest, key=lambda line: (now[line], problem.of_line[line], -line))
        order.append(best)
        gains.append(now[best] - served)
        served = now[best]
        rest.remove(best)
    return tuple(order), tuple(gains)


def least_loss(problem: Problem, drop: int, *, largest: int, seconds: float) -> Selection:
    """The lines to keep when `drop` of them must go; costs and budget are not looked at."""
    lines = len(problem.costs)
    keep = replace(problem, costs=np.ones(lines), budget=float(max(0, lines - drop)))
    small = merged(keep)
    if int(small.serves.sum()) <= largest and importlib.util.find_spec("scipy"):
        from recommend.coverage.integer_program import solve

        return solve(small, seconds)
    return _shed(small, drop)


def _shed(problem: Problem, drop: int) -> Selection:
    """Let go of the line that costs least coverage, one at a time; nothing is proven."""
    kept = set(range(len(problem.costs)))
    for _ in range(min(drop, len(kept))):
        kept.remove(max(sorted(kept), key=lambda line: problem.value_of(kept - {line})))
    order, gains = in_order_of_gain(problem, sorted(kept))
    total = float(problem.weights.sum())
    return Selection(order, gains, problem.served_by(kept), total, "greedy")
