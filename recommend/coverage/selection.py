"""Which lines to stock so that most customers are served: maximum coverage.

A customer group is served by an *option*: one line alone, or a shoe together with an insole.
Lines cost money or count as one each; the sum stays within a budget.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass, replace
from math import e
from typing import Any, Literal

import numpy as np

from recommend.coverage.rows import Array, alike

Method = Literal["exact", "within-gap", "greedy"]
OUT_OF_TIME = 1  # status of scipy.optimize.milp: iteration or time limit reached
ROWS = 32  # of a table weighed together; bounds memory
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
        return solve(small, seconds)
    return greedy(small)


def merged(problem: Problem) -> Problem:
    """The same problem with groups that the same options serve taken together."""
    if not problem.options:
        return problem
    useful = problem.serves.any(axis=1) & (problem.weights > 0)
    serves = problem.serves[useful]
    first, group = alike(np.packbits(serves, axis=1))
    weights = np.bincount(group, problem.weights[useful], minlength=len(first))
    return replace(problem, weights=weights, serves=serves[first])


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
    climb = _Climb(problem)
    single = climb.best(problem.budget, by_cost=False)
    chosen, limit = climb.to_the_top()
    if not problem.counted and single and single[1] > problem.value_of(set(chosen)) + TINY:
        chosen = list(single[0])  # one option that alone serves more
    ordered, gains = in_order_of_gain(problem, chosen)
    served = problem.served_by(set(chosen))
    promise = None
    if problem.alone:
        promise = (1 - 1 / e) * (1.0 if problem.counted else 0.5)
    everything = float(problem.weights.sum() + problem.of_line.sum())
    most = limit if problem.alone else everything
    return Selection(ordered, gains, served, max(served, most), "greedy", promise)


class _Climb:
    """Lines chosen so far, whom they serve, and what each further line would add at once.

    Attributes
    ----------
    open : weight of each group that is not served yet, (g,).
    now : whom each line would serve at once, (p, g).
    two, serves : options of two lines, neither chosen, and whom they serve together.
    moves, gains : lines, or two together, and what adding them adds; costs likewise.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem, self.chosen = problem, list[int]()
        self.open = problem.weights.astype(float)
        lines, groups = len(problem.costs), len(problem.weights)
        self.now = np.zeros((lines, groups), bool)
        single = [o for o, option in enumerate(problem.options) if len(option) == 1]
        for o in single:
            self.now[problem.options[o][0]] |= problem.serves[:, o]
        pairs = np.setdiff1d(np.arange(len(problem.options)), single)
        self.two = np.array([problem.options[o] for o in pairs], np.intp).reshape(-1, 2)
        self.serves = np.ascontiguousarray(problem.serves[:, pairs].T)
        self.free = np.ones(lines, bool)
        self.alone = weighed(self.now, self.open) + problem.of_line
        self.both = self._together(np.arange(len(self.two)))

    def _together(self, rows: Array) -> Array:
        """What two lines together add, for some of the pairs."""
        one, other = self.two[rows].T
        table = self.serves[rows] | self.now[one] | self.now[other]
        worth = self.problem.of_line[self.two[rows]].sum(axis=1)
        return np.asarray(weighed(table, self.open) + worth)

    @property
    def value(self) -> float:
        """Weight served, and what the lines are worth besides."""
        served = float(self.problem.weights.sum() - self.open.sum())
        return served + float(self.problem.of_line[self.chosen].sum())

    def moves(self) -> tuple[Array, Array, Array]:
        """Lines that can be added, two by two (one alone twice), what that adds, and its cost."""
        rest, costs = np.flatnonzero(self.free), self.problem.costs
        lines = np.concatenate([np.column_stack([rest, rest]), self.two])
        gains = np.concatenate([self.alone[rest], self.both])
        return lines, gains, np.concatenate([costs[rest], costs[self.two].sum(axis=1)])

    def best(self, left: float, by_cost: bool = True) -> tuple[tuple[int, ...], float] | None:
        """What adds most (per cost) for what is `left`, the first of equals; None for nothing."""
        lines, gains, costs = self.moves()
        able = (costs <= left + TINY) & (gains > TINY)
        if not able.any():
            return None
        value = np.where(able, gains / costs if by_cost else gains, -np.inf)
        top = np.flatnonzero(value == value.max())
        n = int(top[np.argmin(lines[top, 0])])
        return tuple(dict.fromkeys(lines[n].tolist())), float(gains[n])

    def to_the_top(self) -> tuple[list[int], float]:
        """Lines in the order greedy takes them, and an upper bound on what any choice serves.

        The bound holds when every option is one line: at any stage no choice can add more than
        the best remaining gains that fit into the whole budget.
        """
        left = self.problem.budget
        limit = float(self.problem.weights.sum() + self.problem.of_line.sum())
        while True:
            limit = min(limit, self.value + self._fill())
            move = self.best(left)
            if move is None:
                return self.chosen, limit
            self.take(move[0])
            left -= float(self.problem.costs[list(move[0])].sum())

    def _fill(self) -> float:
        """Most that single moves could add within the whole budget, the last one in part."""
        _, gains, costs = self.moves()
        order = np.argsort(-gains / costs, kind="stable")
        rest = self.problem.budget - np.cumsum(costs[order]) + costs[order]
        return float((gains[order] * np.clip(rest / costs[order], 0.0, 1.0)).sum())

    def take(self, move: tuple[int, ...]) -> None:
        """Add the lines of a move; a pair of which one is chosen becomes a matter of the other."""
        self.chosen += move
        self.free[list(move)] = False
        have = np.isin(self.two, move)
        whole, part = have.all(axis=1), have.any(axis=1)
        closed = self.now[list(move)].any(axis=0) | self.serves[whole].any(axis=0)
        self._close(np.flatnonzero(closed & (self.open > 0)))
        changed = set()
        for row in np.flatnonzero(part & ~whole):
            other = int(self.two[row][~have[row]][0])
            self.now[other] |= self.serves[row]
            changed.add(other)
        self.two, self.serves, self.both = self.two[~part], self.serves[~part], self.both[~part]
        lines = sorted(changed)
        self.alone[lines] = weighed(self.now[lines], self.open) + self.problem.of_line[lines]
        rows = np.flatnonzero(np.isin(self.two, lines).any(axis=1))
        self.both[rows] = self._together(rows)

    def _close(self, groups: Array) -> None:
        """Groups that are served now add to nothing any more."""
        weight = self.open[groups]
        self.alone -= weighed(self.now[:, groups], weight)
        table = self.serves[:, groups] | self.now[self.two[:, 0]][:, groups]
        self.both -= weighed(table | self.now[self.two[:, 1]][:, groups], weight)
        self.open[groups] = 0.0


def weighed(table: Array, weights: Array) -> Array:
    """What the columns weigh that hold in each row, some rows at a time to bound memory."""
    parts = [table[at : at + ROWS] @ weights for at in range(0, len(table), ROWS)]
    return np.concatenate(parts) if parts else np.zeros(0)


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


def solve(problem: Problem, seconds: float) -> Selection:
    """The lines within the budget that serve most, proven best unless time runs out.

    By the integer program that HiGHS solves through scipy (extra ``plan``). The greedy choice when
    time runs out before any choice is found.

    Notes
    -----
    Variables: a line is stocked (0 or 1), an option can be used, a group is served (both
    from 0 to 1, and whole at the optimum). An option needs each of its lines; a group needs
    one option that serves it; stocked lines stay within the budget.
    """
    from scipy.optimize import Bounds, milp  # only here: an optional extra, and slow to import

    lines, options, groups = len(problem.costs), len(problem.options), len(problem.weights)
    if options == 0 or (groups == 0 and not problem.of_line.any()):
        return Selection((), (), 0.0, 0.0, "exact")
    whole = np.concatenate([np.ones(lines), np.zeros(options + groups)])
    result = milp(
        -np.concatenate([problem.of_line, np.zeros(options), problem.weights]),
        integrality=whole,
        bounds=Bounds(0, 1),
        constraints=_constraints(problem),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    if result.x is None:
        return greedy(problem)  # time ran out before the solver found any choice
    return _selection(problem, result.x[:lines], result.status, -result.mip_dual_bound)


def _constraints(problem: Problem) -> Any:
    from scipy.optimize import LinearConstraint
    from scipy.sparse import coo_array, csr_array, eye_array, hstack, vstack

    lines, options, groups = len(problem.costs), len(problem.options), len(problem.weights)
    need = [(o, line) for o, option in enumerate(problem.options) for line in option]
    rows = np.arange(len(need))
    which = np.array(need)
    uses = coo_array((np.ones(len(need)), (rows, which[:, 0])), shape=(len(need), options))
    stocked = coo_array((np.ones(len(need)), (rows, which[:, 1])), shape=(len(need), lines))
    serves = csr_array(problem.serves.astype(float))
    blocks = vstack(
        [
            hstack([-stocked, uses, csr_array((len(need), groups))]),
            hstack([csr_array((groups, lines)), -serves, eye_array(groups)]),
            hstack([csr_array(problem.costs[None, :]), csr_array((1, options + groups))]),
        ]
    )
    upper = np.concatenate([np.zeros(len(need) + groups), [problem.budget]])
    return LinearConstraint(blocks, -np.inf, upper)


def _selection(problem: Problem, stocked: Array, status: int, at_most: float) -> Selection:
    chosen = [int(line) for line in np.flatnonzero(stocked > 0.5)]
    served = problem.served_by(set(chosen))
    order, gains = in_order_of_gain(problem, chosen)
    if status == OUT_OF_TIME:
        return Selection(order, gains, served, max(served, at_most), "within-gap")
    return Selection(order, gains, served, served, "exact")
