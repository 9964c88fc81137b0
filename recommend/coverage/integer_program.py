"""Maximum coverage as an integer program, solved by HiGHS through scipy (extra ``plan``)."""

from __future__ import annotations

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array, eye_array, hstack, vstack

from recommend.coverage.numbers import Array
from recommend.coverage.selection import Problem, Selection, greedy, in_order_of_gain

OUT_OF_TIME = 1  # status of scipy.optimize.milp: iteration or time limit reached


def solve(problem: Problem, seconds: float) -> Selection:
    """The lines within the budget that serve most, proven best unless time runs out.

    The greedy choice when time runs out before any choice is found.

    Notes
    -----
    Variables: a line is stocked (0 or 1), an option can be used, a group is served (both
    from 0 to 1, and whole at the optimum). An option needs each of its lines; a group needs
    one option that serves it; stocked lines stay within the budget.
    """
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


def _constraints(problem: Problem) -> LinearConstraint:
    lines, options, groups = len(problem.costs), len(problem.options), len(problem.weights)
    need = [(o, line) for o, option in enumerate(problem.options) for line in option]
    rows = np.arange(len(need))
    which = np.array(need)
    uses = coo_array((np.ones(len(need)), (rows, which[:, 0])), shape=(len(need), options))
    stocked = coo_array((np.ones(len(need)), (rows, which[:, 1])), shape=(len(need), lines))
    blocks = vstack(
        [
            hstack([-stocked, uses, csr_array((len(need), groups))]),
            hstack([csr_array((groups, lines)), -_sparse(problem.serves), eye_array(groups)]),
            hstack([csr_array(problem.costs[None, :]), csr_array((1, options + groups))]),
        ]
    )
    upper = np.concatenate([np.zeros(len(need) + groups), [problem.budget]])
    return LinearConstraint(blocks, -np.inf, upper)


def _sparse(serves: Array) -> csr_array:
    return csr_array(serves.astype(float))


def _selection(problem: Problem, stocked: Array, status: int, at_most: float) -> Selection:
    chosen = [int(line) for line in np.flatnonzero(stocked > 0.5)]
    served = problem.served_by(set(chosen))
    order, gains = in_order_of_gain(problem, chosen)
    if status == OUT_OF_TIME:
        return Selection(order, gains, served, max(served, at_most), "within-gap")
    return Selection(order, gains, served, served, "exact")
