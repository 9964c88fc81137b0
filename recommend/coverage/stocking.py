"""Which lines of a supplier's list to stock, and which of one's own can go."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.coverage.evaluate import (
    Evaluator,
    Kinds,
    Part,
    Served,
    Usable,
    any_row,
    merged_usable,
)
from recommend.coverage.numbers import Array
from recommend.coverage.report import Assessor
from recommend.coverage.selection import Problem, Selection, least_loss, select
from recommend.coverage.split import codes_of
from recommend.coverage.tally import Tally
from recommend.errors import RecommendError
from recommend.parameters import Parameters

TIE = 1e-3  # of a choice: settles what is otherwise equal


@dataclass(frozen=True, slots=True)
class Line:
    """A line chosen, or let go (shares of all customers).

    Attributes
    ----------
    share : what it adds to those served, or takes from them.
    suits : whom it serves, whether or not others do as well.
    cost : what it costs; None where that does not matter.
    whom : the purpose and foot type of most of those it serves; empty for nobody.
    """

    id: str
    kind: str
    share: float
    suits: float
    cost: float | None
    whom: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True)
class Stocking:
    """Lines chosen from a list.

    Attributes
    ----------
    lines : in the order of what each adds after those before it.
    before, after : share of customers served without and with them.
    at_most : share that no choice within the budget can pass.
    selection : how it was chosen, and what is proven about it.
    cheapest : where a budget buys nothing, the cheapest line that would serve somebody.
    """

    lines: tuple[Line, ...]
    before: float
    after: float
    at_most: float
    selection: Selection
    cheapest: Line | None = None


@dataclass(frozen=True, slots=True)
class Dropping:
    """Lines let go, each with the loss when those before it are gone already.

    `choice_before`, `choice_after` : share with ``coverage.choice`` or more to choose from.
    """

    lines: tuple[Line, ...]
    before: float
    after: float
    choice_before: float
    choice_after: float
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
    customers: int,
    *,
    lines: int | None,
    budget: float | None,
) -> Stocking:
    """Choose the candidates that serve most customers who are not served yet.

    A further product to choose from counts as well, by ``coverage.choice-worth``.

    Parameters
    ----------
    customers : all customers counted.
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
    options.gather()
    ordered = (*shoes, *insoles)
    costs = np.array([1.0 if budget is None else cost_of(item) for item in ordered])
    limit = float(lines or 0) if budget is None else budget
    parameters = assessor.book.parameters
    problem = options.problem(costs, limit)
    selection = select(
        problem,
        largest=parameters.coverage.program_entries if options.whole else 0,
        seconds=parameters.coverage.program_seconds,
    )

    def line(n: int, gain: float) -> Line:
        cost = float(costs[n]) if budget is not None else None
        suits = float(options.suits[n]) / customers
        return Line(ordered[n].id, ordered[n].product.kind, gain / customers, suits, cost)

    before = options.before / customers
    chosen = [line(n, g) for n, g in zip(selection.lines, selection.gains, strict=True)]
    after, most = (before + one / customers for one in (selection.served, selection.at_most))
    cheapest = None
    if not chosen and budget is not None:
        useful = [n for n in range(len(ordered)) if options.suits[n] > 0]
        if useful:
            n = min(useful, key=lambda one: costs[one])
            cheapest = line(n, problem.served_by({n}))
    return Stocking(tuple(chosen), before, after, most, selection, cheapest)


def _check_new(catalogue: Catalogue, candidates: Sequence[Item]) -> None:
    taken = [item.id for item in candidates if item.id in catalogue.by_id]
    if taken:
        raise RecommendError(
            f"candidate `{taken[0]}` is in the catalogue already; candidates are new products"
        )


class _Options:
    """Gathers which candidates, alone or two together, would serve whom.

    Attributes
    ----------
    before : customers served by what is there.
    suits : customers each candidate would serve with everything there, (p,).
    worth : what each adds to choice, in customers, (p,).
    whole : whether every pair that could serve somebody is among the options; `proven` whether a
        choice from them is.
    """

    def __init__(self, evaluator: Evaluator, shoes: int, insoles: int) -> None:
        self.evaluator, self.old_shoes, self.old_insoles = evaluator, shoes, insoles
        self.new_shoes = len(evaluator.shoes) - shoes
        self.new_insoles = evaluator.bought - insoles
        self.before, self.whole, self.proven = 0.0, True, False
        count = self.new_shoes + self.new_insoles
        self.suits, self.worth = np.zeros(count), np.zeros(count)
        self.gains = np.zeros((self.new_shoes, self.new_insoles))
        self._parts: list[tuple[Array, Array, Array, Array]] = []

    def gather(self) -> None:
        """Look at all groups."""
        self.evaluator.evaluate(collect=self._add)

    def _add(self, part: Part) -> None:
        weights = self.evaluator.kinds.weights[part.groups]
        new = self._new(part.usable.shoes, part.usable.insoles)
        self.suits += weights @ new
        old, alone, choices = self._alone(part.groups)
        self.worth += self._of_choice(choices, weights) @ new
        self.before += float(weights[old].sum())
        open_ = np.flatnonzero((weights > 0) & ~old)
        kind = self.evaluator.kinds.kind[part.groups][open_]
        size = self.evaluator.kinds.size[part.groups][open_]
        if "pair" in self.evaluator.terms.ways and len(open_):
            self._pairs(weights[open_], alone[open_], kind, size)
        self._parts.append((weights[open_], alone[open_], kind, size))

    def add_choice(self, part: Part) -> None:
        """Gather what each line adds to choice, and nothing else."""
        weights = self.evaluator.kinds.weights[part.groups]
        new = self._new(part.usable.shoes, part.usable.insoles)
        self.worth += self._of_choice(part.choices, weights) @ new

    def _new(self, shoes: Array, insoles: Array) -> Array:
        ours = insoles[:, self.old_insoles : self.evaluator.bought]
        return np.concatenate([shoes[:, self.old_shoes :], ours], axis=1)

    def _of_choice(self, choices: Array, weights: Array) -> Array:
        """What one more product to choose from is worth to each group, in customers.

        Beyond a choice it only settles which of two lines that serve as many is the better.
        """
        parameters = self.evaluator.table.book.parameters
        enough, letting_go = parameters.coverage.choice, not (self.old_shoes + self.old_insoles)
        thin = choices <= enough if letting_go else choices < enough
        each = np.where(thin, 1 / enough, TIE / np.maximum(choices, 1))
        return np.asarray(parameters.coverage.choice_worth * weights * each)

    def _there(self, kind: Array, size: Array) -> tuple[Array, Array]:
        """Shoes and insoles that are there and do by themselves, each (n, products)."""
        used, row = np.unique(kind, return_inverse=True)
        row, evaluator = row.ravel(), self.evaluator
        one = evaluator.fits("shoe in pair", "well", used)[row] & evaluator.has_shoe[size]
        other = evaluator.fits("insole in pair", "well", used)[row]
        return one, other & evaluator.has_insole[size]

    def _alone(self, groups: slice) -> tuple[Array, Array, Array]:
        """Whom old products serve, whom each new one with old ones, and the choices of now."""
        evaluator, kinds = self.evaluator, self.evaluator.kinds
        kind, size = kinds.kind[groups], kinds.size[groups]
        alone = np.zeros((len(kind), self.new_shoes + self.new_insoles), bool)
        there = []
        for way in evaluator.terms.ways:
            if way == "pair":
                shoes, insoles = self._there(kind, size)
                was, ours = self._old(shoes, insoles)
                together = evaluator.pairing.partnered
                there.append(together("well", kind, was, ours))
                one = together("well", kind, shoes, ours).shoes
                other = together("well", kind, was, insoles).insoles
            else:
                found = evaluator.sold(way, "well", kind, size)
                was, ours = self._old(found.shoes, found.insoles)
                there.append(Usable(was, ours, any_row(was) | any_row(ours)))
                one, other = found.shoes, found.insoles
            alone |= self._new(one, other)
        old = merged_usable(there)
        choices = evaluator.choices(old)
        if not self.old_shoes + self.old_insoles:
            choices = evaluator.choices(evaluator.usable("well", groups))
        return old.any, alone, choices

    def _old(self, shoes: Array, insoles: Array) -> tuple[Array, Array]:
        """The same with new products taken away; no insole at all is there already."""
        was, ours = shoes.copy(), insoles.copy()
        was[:, self.old_shoes :] = False
        ours[:, self.old_insoles : self.evaluator.bought] = False
        return was, ours

    def _pairs(self, weights: Array, alone: Array, kind: Array, size: Array) -> None:
        """Add up whom two new products serve together, and neither of them without the other."""
        one, other = self._two(alone, kind, size)
        pairing = self.evaluator.pairing
        shoe = pairing.shoe[self.old_shoes :]
        insole = pairing.insole[self.old_insoles : self.evaluator.bought]
        patterns = pairing.pattern[kind]
        for pattern in np.unique(patterns):
            rows = patterns == pattern
            goes = pairing.goes["well"][pattern][np.ix_(shoe, insole)]
            weighed = (one[rows] * weights[rows, None]).astype(np.float32)
            self.gains += weighed.T @ other[rows].astype(np.float32) * goes

    def _two(self, alone: Array, kind: Array, size: Array) -> tuple[Array, Array]:
        """New shoes and insoles that would serve groups with a new partner, and not without."""
        shoes, insoles = self._there(kind, size)
        both = self._new(shoes, insoles) & ~alone
        return both[:, : self.new_shoes], both[:, self.new_shoes :]

    def problem(self, costs: Array, budget: float) -> Problem:
        """The choice to be made; of very many pairs those that serve most alone are options."""
        most = self.evaluator.table.book.parameters.coverage.most_pairs
        order = np.argsort(-self.gains, axis=None, kind="stable")
        order = order[self.gains.ravel()[order] > 0]
        self.whole = len(order) <= most
        s, i = np.unravel_index(order[:most], self.gains.shape)
        options: list[tuple[int, ...]] = [(n,) for n in range(len(costs))]
        options += list(zip(s.tolist(), (self.new_shoes + i).tolist(), strict=True))
        serves = [self._serves(part, s, i) for part in self._parts]
        weights = np.concatenate([part[0] for part in self._parts])
        return Problem(weights, tuple(options), np.concatenate(serves), costs, budget, self.worth)

    def _serves(self, part: tuple[Array, Array, Array, Array], s: Array, i: Array) -> Array:
        _, alone, kind, size = part
        if not len(s):
            return alone
        one, other = (np.ascontiguousarray(x.T) for x in self._two(alone, kind, size))
        pairing = self.evaluator.pairing
        shoe = pairing.shoe[self.old_shoes :][s]
        insole = pairing.insole[self.old_insoles :][i]
        both = one[s] & other[i]
        patterns = pairing.pattern[kind]
        for pattern in np.unique(patterns):
            goes = pairing.goes["well"][pattern][shoe, insole] > 0
            if not goes.all():
                both[np.ix_(~goes, patterns == pattern)] = False
        return np.concatenate([alone, both.T], axis=1)


def drop(assessor: Assessor, whole: Catalogue, kinds: Kinds, tally: Tally, count: int) -> Dropping:
    """Let `count` of the lines that are sold go with least loss of customers and of their choice.

    Notes
    -----
    Exact by an integer program where the catalogue and the customers are few enough for one;
    else one at a time, the one whose loss is least when those before it are gone.
    """
    sold = assessor.terms.kinds
    catalogue = replace(whole, items=tuple(i for i in whole.items if i.product.kind in sold))
    evaluator = assessor.evaluator(catalogue, kinds)
    served = evaluator.evaluate()
    options = _Options(evaluator, 0, 0)
    pairs = len(catalogue.shoes) * len(catalogue.insoles) * ("pair" in assessor.terms.ways)
    entries = int(np.count_nonzero(kinds.weights)) * (len(catalogue.items) + pairs)
    parameters = assessor.book.parameters
    exact = entries <= parameters.coverage.program_entries
    gone = _by_program(options, len(catalogue.items), count, parameters) if exact else []
    if not exact:
        gone = _one_by_one(assessor, catalogue, kinds, count)
    whom = _whom(assessor, tally, evaluator)
    enough, rest, lines = parameters.coverage.choice, catalogue, []
    total, now = float(tally.customers), float(kinds.weights[served.well].sum())
    before, choice_before = now, float(kinds.weights[_chosen(served, enough)].sum())
    choice = choice_before
    places = {item.id: n for n, item in enumerate(evaluator.items)}
    for name in gone:
        rest = replace(rest, items=tuple(one for one in rest.items if one.id != name))
        found = assessor.evaluator(rest, kinds).evaluate()
        left = float(kinds.weights[found.well].sum())
        choice = float(kinds.weights[_chosen(found, enough)].sum())
        n = places[name]
        item = evaluator.items[n]
        suits = float(served.reach[n]) / total
        lines.append(Line(name, item.product.kind, (now - left) / total, suits, None, whom(n)))
        now = left
    return Dropping(tuple(lines), before / total, now / total, choice_before / total,
                    choice / total, exact and options.proven)  # fmt: skip


def _chosen(served: Served, enough: float) -> Array:
    return np.asarray(served.well & (served.choices >= enough))


def _by_program(options: _Options, lines: int, count: int, parameters: Parameters) -> list[str]:
    """The lines that go, by an integer program; those that serve fewest first."""
    options.gather()
    problem = options.problem(np.ones(lines), float(lines))
    kept = least_loss(
        problem,
        count,
        largest=parameters.coverage.program_entries if options.whole else 0,
        seconds=parameters.coverage.program_seconds,
    )
    options.proven = kept.method == "exact"
    # The program keeps no line that adds nothing; of those any may go, so only `count` do.
    out = sorted(set(range(lines)) - set(kept.lines), key=lambda n: (options.suits[n], n))
    return [options.evaluator.items[n].id for n in out[:count]]


def _one_by_one(assessor: Assessor, catalogue: Catalogue, kinds: Kinds, count: int) -> list[str]:
    """Let lines go one at a time: least lost, then least taken from choice."""
    gone: list[str] = []
    rest = catalogue
    for _ in range(min(count, len(catalogue.items))):
        evaluator = assessor.evaluator(rest, kinds)
        options = _Options(evaluator, 0, 0)
        served = evaluator.evaluate(collect=options.add_choice)
        loss = served.sole + options.worth
        first = int(np.lexsort((np.arange(len(loss)), served.reach, loss))[0])
        gone.append(evaluator.items[first].id)
        rest = replace(rest, items=tuple(one for one in rest.items if one.id != gone[-1]))
    return gone


def _whom(
    assessor: Assessor, tally: Tally, evaluator: Evaluator
) -> Callable[[int], tuple[str, str]]:
    """Tells the purpose and the foot type of most of those whom a product serves."""
    usable = evaluator.usable("well", slice(None))
    codes = codes_of(assessor.book, tally, assessor.layout, assessor.classes, evaluator.kinds)
    group = np.tile(evaluator.kinds.group, 2)
    weight = np.tile(tally.counts, 2) * (evaluator.kinds.weights[group] > 0)

    def whom(n: int) -> tuple[str, str]:
        shoes = len(evaluator.shoes)
        column = usable.shoes[:, n] if n < shoes else usable.insoles[:, n - shoes]
        mine = weight * column[group]
        if not mine.any():
            return "", ""
        top = [codes.names[way][int(np.bincount(codes.codes[way], mine).argmax())]
               for way in ("purpose", "foot-type")]  # fmt: skip
        return top[0], top[1]

    return whom
