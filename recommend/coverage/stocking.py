"""Which lines of a supplier's list to stock, and which of one's own can go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.coverage.evaluate import Evaluator, Kinds, Part, partnered
from recommend.coverage.numbers import Array
from recommend.coverage.report import Assessor
from recommend.coverage.selection import Problem, Selection, least_loss, select
from recommend.errors import RecommendError


@dataclass(frozen=True, slots=True)
class Line:
    """A line chosen, or let go: what it adds or loses (share of customers), and its cost."""

    id: str
    kind: str
    share: float
    cost: float | None


@dataclass(frozen=True, slots=True)
class Stocking:
    """Lines chosen from a list.

    Attributes
    ----------
    lines : in the order of what each adds after those before it.
    before, after : share of customers served without and with them.
    at_most : share that no choice within the budget can pass.
    selection : how it was chosen, and what is proven about it.
    """

    lines: tuple[Line, ...]
    before: float
    after: float
    at_most: float
    selection: Selection


@dataclass(frozen=True, slots=True)
class Dropping:
    """Lines let go, each with the loss when those before it are gone already."""

    lines: tuple[Line, ...]
    before: float
    after: float
    exact: bool


def cost_of(item: Item) -> float:
    """What a line costs: its price times the pieces that its stock list names.

    Raises
    ------
    RecommendError
        If the list gives no price, or no pieces.
    """
    pieces = sum(item.stock.values())
    if not item.product.price or not pieces:
        raise RecommendError(
            f"candidate `{item.id}` has no {'price' if pieces else 'pieces in its stock list'}; "
            "a budget needs both, a number of lines neither"
        )
    return item.product.price * pieces


def choose(
    assessor: Assessor,
    catalogue: Catalogue,
    candidates: Sequence[Item],
    kinds: Kinds,
    *,
    lines: int | None,
    budget: float | None,
) -> Stocking:
    """Choose the candidates that serve most customers who are not served yet.

    Parameters
    ----------
    lines, budget : most lines, or most money; exactly one is given.

    Raises
    ------
    RecommendError
        If a budget is given and a candidate has no price, or an id is taken already.
    """
    _check_new(catalogue, candidates)
    shoes = tuple(c for c in candidates if c.product.kind == "shoe")
    insoles = tuple(c for c in candidates if c.product.kind == "insole")
    evaluator = assessor.evaluator_of(
        (*catalogue.shoes, *shoes), (*catalogue.insoles, *insoles), kinds
    )
    options = _Options(evaluator, len(catalogue.shoes), len(catalogue.insoles))
    evaluator.evaluate(collect=options.add)
    ordered = (*shoes, *insoles)
    costs = [1.0 if budget is None else cost_of(item) for item in ordered]
    limit = float(lines or 0) if budget is None else budget
    parameters = assessor.book.parameters
    selection = select(
        options.problem(np.array(costs), limit),
        largest=parameters.coverage.program_entries,
        seconds=parameters.coverage.program_seconds,
    )
    total = max(1.0, float(kinds.weights.sum()))
    before = options.before / total
    chosen = tuple(
        Line(ordered[n].id, ordered[n].product.kind, gain / total, costs[n] if budget else None)
        for n, gain in zip(selection.lines, selection.gains, strict=True)
    )
    after, most = (before + one / total for one in (selection.served, selection.at_most))
    return Stocking(chosen, before, after, most, selection)


def _check_new(catalogue: Catalogue, candidates: Sequence[Item]) -> None:
    taken = [item.id for item in candidates if item.id in catalogue.by_id]
    if taken:
        raise RecommendError(
            f"candidate `{taken[0]}` is in the catalogue already; candidates are new products"
        )


class _Options:
    """Gathers which candidates, alone or two together, would serve whom."""

    def __init__(self, evaluator: Evaluator, shoes: int, insoles: int) -> None:
        self.evaluator, self.old_shoes, self.old_insoles = evaluator, shoes, insoles
        new_shoes = len(evaluator.shelf.shoes) - shoes
        new_insoles = len(evaluator.shelf.insoles) - insoles
        alone = [(n,) for n in range(new_shoes + new_insoles)]
        pairs = [(s, new_shoes + i) for s in range(new_shoes) for i in range(new_insoles)]
        self.together = "pair" in evaluator.wishes.ways
        self.options: list[tuple[int, ...]] = [*alone, *(pairs if self.together else ())]
        self.before = 0.0
        self._weights: list[Array] = []
        self._serves: list[Array] = []

    def add(self, part: Part) -> None:
        """Look at the customers of one part who are not served by what is there."""
        weights = self.evaluator.kinds.weights[part.rows]
        old, shoes, insoles, both = self._served(part)
        self.before += float(weights[old].sum())
        kind, size = np.nonzero((weights > 0) & ~old)
        serves = [shoes[kind, :, size], insoles[kind, :, size]]
        if self.together:
            serves.append(self._pairs(both, kind, size))
        self._serves.append(np.concatenate(serves, axis=1))
        self._weights.append(weights[kind, size])

    def _served(self, part: Part) -> tuple[Array, Array, Array, Array]:
        """Whom old products serve; whom each new one serves with old ones; suitable new pairs."""
        has_shoe, has_insole = self.evaluator.has_shoe, self.evaluator.has_insole
        s, i = self.old_shoes, self.old_insoles
        suits = part.suits
        shape = (part.rows.stop - part.rows.start, len(has_shoe))
        old = np.zeros(shape, bool)
        shoes = np.zeros((shape[0], has_shoe.shape[1] - s, shape[1]), bool)
        insoles = np.zeros((shape[0], has_insole.shape[1] - i, shape[1]), bool)
        both = np.zeros((shape[0], shoes.shape[1], insoles.shape[1]), bool)
        if "pair" in suits:
            suit = suits["pair"]
            with_old_insole = partnered(suit[:, :, :i], has_insole[:, :i]) & has_shoe.T[None]
            with_old_shoe = partnered(suit[:, :s].transpose(0, 2, 1), has_shoe[:, :s])
            old |= with_old_insole[:, :s].any(axis=1)
            shoes |= with_old_insole[:, s:]
            insoles |= (with_old_shoe & has_insole.T[None])[:, i:]
            both |= suit[:, s:, i:]
        if "shoe" in suits:
            there = suits["shoe"][:, :, None] & has_shoe.T[None]
            old |= there[:, :s].any(axis=1)
            shoes |= there[:, s:]
        if "insole" in suits:
            there = suits["insole"][:, :, None] & has_insole.T[None]
            old |= there[:, :i].any(axis=1)
            insoles |= there[:, i:]
        return old, shoes, insoles, both

    def _pairs(self, both: Array, kind: Array, size: Array) -> Array:
        shoe = self.evaluator.has_shoe[size, self.old_shoes :]
        insole = self.evaluator.has_insole[size, self.old_insoles :]
        pairs = both[kind] & shoe[:, :, None] & insole[:, None, :]
        return np.asarray(pairs.reshape(len(kind), -1))

    def problem(self, costs: Array, budget: float) -> Problem:
        """The choice to be made."""
        serves = np.concatenate(self._serves)
        useful = np.asarray(serves.any(axis=0))
        useful[: len(costs)] = True  # a line alone stays an option, even a useless one
        # A pair adds nothing to whom one of its two serves alone.
        for o in range(len(costs), len(self.options)):
            alone = serves[:, list(self.options[o])].any(axis=1)
            useful[o] &= bool((serves[:, o] & ~alone).any())
        options = tuple(option for option, use in zip(self.options, useful, strict=True) if use)
        return Problem(np.concatenate(self._weights), options, serves[:, useful], costs, budget)


def drop(assessor: Assessor, whole: Catalogue, kinds: Kinds, count: int) -> Dropping:
    """Let `count` of the lines that are sold go with least loss of customers.

    Notes
    -----
    Exact by an integer program where the catalogue and the customers are few enough for one;
    else one at a time, the one whose loss is least when those before it are gone.
    """
    parameters = assessor.book.parameters
    sold = assessor.wishes.kinds
    catalogue = replace(whole, items=tuple(i for i in whole.items if i.product.kind in sold))
    shoes, insoles = len(catalogue.shoes), len(catalogue.insoles)
    options = shoes + insoles + shoes * insoles * ("pair" in assessor.wishes.ways)
    entries = int(np.count_nonzero(kinds.weights)) * options
    if entries > parameters.coverage.program_entries:
        return _one_by_one(assessor, catalogue, kinds, count)
    evaluator = assessor.evaluator(catalogue, kinds)
    gathered = _Options(evaluator, 0, 0)
    evaluator.evaluate(collect=gathered.add)
    problem = gathered.problem(np.ones(shoes + insoles), float(shoes + insoles))
    kept = least_loss(
        problem,
        count,
        largest=parameters.coverage.program_entries,
        seconds=parameters.coverage.program_seconds,
    )
    total = max(1.0, float(kinds.weights.sum()))
    everything = set(range(shoes + insoles))
    rest, lines = everything, []
    before = now = problem.served_by(everything)
    # The program keeps no line that adds nothing; of those any may go, so only `count` do.
    for n in sorted(everything - set(kept.lines))[:count]:
        rest = rest - {n}
        left = problem.served_by(rest)
        item = evaluator.shelf.items[n]
        lines.append(Line(item.id, item.product.kind, (now - left) / total, None))
        now = left
    return Dropping(tuple(lines), before / total, now / total, kept.method == "exact")


def _one_by_one(assessor: Assessor, catalogue: Catalogue, kinds: Kinds, count: int) -> Dropping:
    """Let lines go one at a time; among equals the one that serves fewest."""
    total = max(1.0, float(kinds.weights.sum()))
    gone: list[Line] = []
    rest, after = catalogue, []
    for step in range(min(count, len(catalogue.items)) + 1):
        evaluator = assessor.evaluator(rest, kinds)
        served = evaluator.evaluate()
        after.append(float(kinds.weights[served.served].sum()) / total)
        if step == count or not rest.items:
            break
        first = int(np.lexsort((served.reach, served.sole))[0])
        item = evaluator.shelf.items[first]
        loss = float(served.sole[first]) / total
        gone.append(Line(item.id, item.product.kind, loss, None))
        rest = replace(rest, items=tuple(one for one in rest.items if one.id != item.id))
    return Dropping(tuple(gone), after[0], after[-1], exact=count <= 1)
