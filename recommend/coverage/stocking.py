"""Which lines of a supplier's list to stock, and which of one's own can go."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from operator import or_

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.coverage.evaluate import (
    Evaluator,
    JudgedGroups,
    Kinds,
    Served,
    Usable,
    merged_usable,
)
from recommend.coverage.report import Assessor
from recommend.coverage.rows import Alike, Array, together
from recommend.coverage.selection import Problem, Selection, select
from recommend.coverage.split import codes_of
from recommend.coverage.tally import Tally
from recommend.errors import RecommendError

BLOCK = 500  # candidates compared with all others together; bounds memory
TIE = 1e-3  # of a choice: settles what is otherwise equal


@dataclass(frozen=True, slots=True)
class StockLine:
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

    lines: tuple[StockLine, ...]
    before: float
    after: float
    at_most: float
    selection: Selection
    cheapest: StockLine | None = None


@dataclass(frozen=True, slots=True)
class Dropping:
    """Lines let go, each with the loss when those before it are gone already.

    `choice_before`, `choice_after` : share with ``coverage.choice`` or more to choose from.
    """

    lines: tuple[StockLine, ...]
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
    if lines is not None:
        candidates = worth_judging(assessor, candidates, kinds, lines)
    evaluator = assessor.evaluator((*catalogue.items, *candidates), kinds)
    options = _Options(evaluator, len(catalogue.shoes), len(catalogue.insoles))
    most = options.gather() / customers
    costs = None if budget is None else [cost_of(item) for item in options.new]
    problem = options.problem(costs, float(lines or 0) if budget is None else budget)
    selection = options.selected(problem)
    before = options.before / customers
    if options.whole:
        most = min(most, before + selection.at_most / customers)

    def line(n: int, gain: float) -> StockLine:
        item, cost = options.new[n], None if costs is None else costs[n]
        suits = float(options.suits[n] / customers)
        return StockLine(item.id, item.product.kind, gain / customers, suits, cost)

    chosen = [line(n, gain) for n, gain in zip(selection.lines, selection.gains, strict=True)]
    useful = np.flatnonzero(options.suits > 0).tolist()
    cheapest = None
    if costs is not None and useful and not chosen:
        n = min(useful, key=costs.__getitem__)
        cheapest = line(n, problem.served_by({n}))
    after = before + selection.served / customers
    return Stocking(tuple(chosen), before, after, most, selection, cheapest)


def _check_new(catalogue: Catalogue, candidates: Sequence[Item]) -> None:
    taken = [item.id for item in candidates if item.id in catalogue.by_id]
    if taken:
        raise RecommendError(
            f"candidate `{taken[0]}` is in the catalogue already; candidates are new products"
        )


def worth_judging(
    assessor: Assessor, candidates: Sequence[Item], kinds: Kinds, lines: int
) -> tuple[Item, ...]:
    """Candidates without those than which at least as many others as are chosen are no worse.

    Notes
    -----
    No worse: it serves whom the other serves, in every size that the other has, with every
    partner that the other has (of equals the first counts as no worse). A choice that holds such
    a candidate leaves out one that is no worse, and may hold that one instead.
    """
    evaluator, kept = assessor.evaluator(candidates, kinds), list[Item]()
    for some, kind in ((evaluator.made(kind), kind) for kind in ("shoe", "insole")):
        better = _no_worse(evaluator.does(kind)[: len(some)])
        kept += [item for item, count in zip(some, better, strict=True) if count < lines]
    return tuple(kept)


def _no_worse(does: Array) -> Array:
    """How many rows hold whatever each row holds, of equal rows those before it, (m,)."""
    count, table = np.zeros(len(does), np.intp), does.astype(np.float32)
    size = does.sum(axis=1)
    for at in range(0, len(does), BLOCK):
        some = slice(at, at + BLOCK)
        within = table[some] @ table.T >= size[some, None]
        equal = within & (size[some, None] == size[None, :])
        later = np.arange(len(does))[None, :] >= np.arange(len(does))[some, None]
        count[some] = (within & ~(equal & later)).sum(axis=1)
    return count


@dataclass(frozen=True, slots=True)
class _Open:
    """Customers whom nothing old serves, those whom the same new lines serve taken together.

    Attributes
    ----------
    weights : customers of each group, (g,).
    alone : new lines that serve them with what is there, (g, p).
    shoes, insoles : new ones that would serve them with a new partner, and not without.
    pattern : what they ask of pairs.
    """

    weights: Array
    alone: Array
    shoes: Array
    insoles: Array
    pattern: Array


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
        self.evaluator, self.bare = evaluator, not (shoes + insoles)
        self.shoe, self.insole = slice(shoes, None), slice(insoles, evaluator.bought)
        new = evaluator.shoes[self.shoe], evaluator.insoles[self.insole]
        self.new_shoes, self.new = len(new[0]), (*new[0], *new[1])
        self.before, self.whole = 0.0, True
        self.suits, self.worth = np.zeros(len(self.new)), np.zeros(len(self.new))
        self.gains = np.zeros((len(new[0]), len(new[1])))
        self._parts: list[_Open] = []

    def gather(self) -> float:
        """Look at all groups; gives how many customers all lines together would serve."""
        found = self.evaluator.evaluate(collect=self._add)
        return float(self.evaluator.kinds.weights[found.well].sum())

    def _add(self, part: JudgedGroups) -> None:
        kinds = self.evaluator.kinds
        weights = kinds.weights[part.groups]
        self.suits += self._new(part.usable, weights)
        kind, size = kinds.kind[part.groups], kinds.size[part.groups]
        there = self._there(kind, size)
        old, shoes, insoles = self._alone(kind, size, there)
        choices = self.evaluator.choices(part.usable if self.bare else old)
        self.worth += self._new(part.usable, self._of_choice(choices, weights))
        self.before += float(weights[old.any].sum())
        open_ = np.flatnonzero((weights > 0) & ~old.any)
        there = tuple(one[open_] for one in there)
        self._pairs(weights[open_], kind[open_], shoes[open_], insoles[open_], there)

    def add_choice(self, part: JudgedGroups) -> None:
        """Gather what each line adds to choice, and nothing else."""
        weights = self.evaluator.kinds.weights[part.groups]
        self.worth += self._new(part.usable, self._of_choice(part.choices, weights))

    def _new(self, usable: Usable, weights: Array) -> Array:
        """What the groups weigh for whom each new line is usable, (p,)."""
        one, other = usable.shoes.weighed(weights), usable.insoles.weighed(weights)
        return np.concatenate([one[self.shoe], other[self.insole]])

    def _of_choice(self, choices: Array, weights: Array) -> Array:
        """What one more product to choose from is worth to each group, in customers.

        Beyond a choice it only settles which of two lines that serve as many is the better.
        """
        parameters = self.evaluator.table.book.parameters
        enough = parameters.coverage.choice
        thin = choices <= enough if self.bare else choices < enough
        each = np.where(thin, 1 / enough, TIE / np.maximum(choices, 1))
        return np.asarray(parameters.coverage.choice_worth * weights * each)

    def _there(self, kind: Array, size: Array) -> tuple[Alike, ...]:
        """Shoes and insoles that will do by themselves in a pair; nothing where none is sold."""
        stands = ("shoe in pair", "insole in pair") if "pair" in self.evaluator.terms.ways else ()
        return tuple(self.evaluator.there(one, "well", kind, size) for one in stands)

    def _alone(
        self, kind: Array, size: Array, there: tuple[Alike, ...]
    ) -> tuple[Usable, Alike, Alike]:
        """What is there already and serves, and each new shoe and insole that serves with it."""
        evaluator, old, new = self.evaluator, [], []
        for way in evaluator.terms.ways:
            if way == "pair":
                shoes, insoles = there
                together = evaluator.pairing.partnered
                with_old = together("well", kind, shoes, insoles.without(self.insole)).shoes
                of_old = together("well", kind, shoes.without(self.shoe), insoles).insoles
            else:
                found = evaluator.sold(way, "well", kind, size)
                with_old, of_old = found.shoes, found.insoles
            was = with_old.without(self.shoe)
            ours = of_old.without(self.insole)
            old.append(Usable(was, ours, was.any | ours.any))
            new.append((with_old.only(self.shoe), of_old.only(self.insole)))
        shoes, insoles = (reduce(or_, [one[k] for one in new]) for k in (0, 1))
        return merged_usable(old), shoes, insoles

    def _pairs(self, weights: Array, kind: Array, shoes: Alike, insoles: Alike,
               there: tuple[Alike, ...]) -> None:  # fmt: skip
        """Keep who is open, and add up whom two new products serve together."""
        one, other = shoes.without(slice(None)), insoles.without(slice(None))
        pattern = np.zeros(len(kind), np.intp)
        if there:
            one, other = there[0].only(self.shoe) & ~shoes, there[1].only(self.insole) & ~insoles
            pattern = self.evaluator.pairing.pattern[kind]
        first, of = together(pattern, shoes.of, insoles.of, one.of, other.of)
        found = _Open(
            np.bincount(of, weights, len(first)),
            np.concatenate([shoes[first].all, insoles[first].all], axis=1),
            one[first].all, other[first].all, pattern[first],
        )  # fmt: skip
        self._parts.append(found)
        for n in np.unique(found.pattern) if there and self.gains.size else ():
            rows = found.pattern == n
            weighed = (found.shoes[rows] * found.weights[rows, None]).astype(np.float32)
            served = weighed.T @ found.insoles[rows].astype(np.float32)
            self.gains += served * self._goes(int(n))

    def _goes(self, pattern: int) -> Array:
        """Which new shoes go with which new insoles where that is asked of pairs."""
        pairing = self.evaluator.pairing
        at = np.ix_(pairing.shoe[self.shoe], pairing.insole[self.insole])
        return np.asarray(pairing.goes["well"][pattern][at])

    def selected(self, problem: Problem) -> Selection:
        """The lines to choose; without the integer program where pairs were left out."""
        parameters = self.evaluator.table.book.parameters.coverage
        largest = parameters.program_entries if self.whole else 0
        return select(problem, largest=largest, seconds=parameters.program_seconds)

    def problem(self, costs: Sequence[float] | None, budget: float) -> Problem:
        """The choice to be made; of very many pairs those that serve most alone are options.

        Without `costs` lines are counted.
        """
        most = self.evaluator.table.book.parameters.coverage.most_pairs
        order = np.argsort(-self.gains, axis=None, kind="stable")
        order = order[self.gains.ravel()[order] > 0]
        self.whole = len(order) <= most
        s, i = np.unravel_index(order[:most], self.gains.shape)
        options: list[tuple[int, ...]] = [(n,) for n in range(len(self.new))]
        options += list(zip(s.tolist(), (self.new_shoes + i).tolist(), strict=True))
        serves = np.concatenate([self._serves(part, s, i) for part in self._parts])
        weights = np.concatenate([part.weights for part in self._parts])
        each = np.ones(len(self.new)) if costs is None else np.array(costs)
        return Problem(weights, tuple(options), serves, each, budget, self.worth)

    def _serves(self, part: _Open, s: Array, i: Array) -> Array:
        if not len(s):
            return part.alone
        both = np.ascontiguousarray(part.shoes.T)[s] & np.ascontiguousarray(part.insoles.T)[i]
        for pattern in np.unique(part.pattern):
            goes = self._goes(int(pattern))[s, i] > 0
            if not goes.all():
                both[np.ix_(~goes, part.pattern == pattern)] = False
        return np.concatenate([part.alone, both.T], axis=1)


def drop(assessor: Assessor, whole: Catalogue, kinds: Kinds, tally: Tally, count: int) -> Dropping:
    """Let `count` of the lines that are sold go with least loss of customers and of their choice.

    Notes
    -----
    Exact by an integer program where the catalogue and the customers are few enough for one;
    else one at a time, the one whose loss is least when those before it are gone.
    """
    sold = assessor.terms.kinds
    catalogue = replace(whole, items=tuple(i for i in whole.items if i.product.kind in sold))
    shelf, total = _Shelf(assessor.evaluator(catalogue.items, kinds)), float(tally.customers)
    evaluator, enough = shelf.evaluator, assessor.book.parameters.coverage.choice
    suits, whom, before, choice = shelf.reach, None, shelf.served(), shelf.served(enough)
    gone = _by_program(evaluator, count)
    exact, lines = gone is not None, []
    for k in range(min(count, len(catalogue.items))):
        n, now = gone[k] if gone is not None else shelf.least(), shelf.served()
        whom = whom or _whom(assessor, tally, evaluator)
        shelf.let_go(n)
        item, lost = evaluator.items[n], (now - shelf.served()) / total
        lines.append(StockLine(item.id, item.product.kind, lost, suits[n] / total, None, whom(n)))
    return Dropping(tuple(lines), before / total, shelf.served() / total, choice / total,
                    shelf.served(enough) / total, exact)  # fmt: skip


class _Shelf:
    """Lines of which some are let go: whom the others serve, and what each is worth.

    Attributes
    ----------
    reach, sole, worth : by line, whom it serves, whom it alone serves, and its part in choice.
    """

    def __init__(self, evaluator: Evaluator) -> None:
        self.evaluator, self.gone = evaluator, np.zeros(len(evaluator.items), bool)
        served, self.worth = self._judged(evaluator)
        self.reach, self.sole = served.reach.copy(), served.sole.copy()
        self.well, self.choices = served.well, served.choices

    @staticmethod
    def _judged(evaluator: Evaluator) -> tuple[Served, Array]:
        options = _Options(evaluator, 0, 0)
        return evaluator.evaluate(collect=options.add_choice), options.worth

    def served(self, choices: float = 0) -> float:
        """Customers who are served, and have at least so many lines to choose from."""
        return float(self.evaluator.kinds.weights[self.well & (self.choices >= choices)].sum())

    def least(self) -> int:
        """The line of which least is lost: customers, then their choice, then those it suits."""
        loss = np.where(self.gone, np.inf, np.round(self.sole + self.worth, 6))
        return int(np.lexsort((np.arange(len(loss)), self.reach, loss))[0])

    def let_go(self, n: int) -> None:
        """Let a line go; only those whom it could serve are judged again."""
        self.gone[n], touched = True, np.flatnonzero(self.evaluator.could(n))
        if not len(touched):
            return
        was, worth = self._judged(self.evaluator.over(touched))
        self.evaluator = self.evaluator.without(n)
        now, left = self._judged(self.evaluator.over(touched))
        self.well[touched], self.choices[touched] = now.well, now.choices
        self.reach = self.reach + now.reach - was.reach
        self.sole, self.worth = self.sole + now.sole - was.sole, self.worth + left - worth


def _by_program(evaluator: Evaluator, count: int) -> list[int] | None:
    """The lines that go, by an integer program; None where there are too many for one."""
    parameters, lines = evaluator.table.book.parameters.coverage, len(evaluator.items)
    pairs = len(evaluator.shoes) * evaluator.bought * ("pair" in evaluator.terms.ways)
    if np.count_nonzero(evaluator.kinds.weights) * (lines + pairs) > parameters.program_entries:
        return None
    options = _Options(evaluator, 0, 0)
    options.gather()
    problem = options.problem(None, float(max(0, lines - count)))
    if not options.whole:
        return None
    kept = options.selected(problem)
    if kept.method != "exact":
        return None
    # The program keeps no line that adds nothing; of those any may go, so only `count` do.
    out = sorted(set(range(lines)) - set(kept.lines), key=lambda n: (options.suits[n], n))
    return out[:count]


def _whom(
    assessor: Assessor, tally: Tally, evaluator: Evaluator
) -> Callable[[int], tuple[str, str]]:
    """Tells the purpose and the foot type of most of those whom a product serves."""
    usable = evaluator.usable("well", slice(None))
    codes = codes_of(assessor.book, tally, assessor.layout, assessor.classes, evaluator.kinds)
    group = np.tile(evaluator.kinds.group, 2)
    weight = np.tile(tally.counts, 2) * (evaluator.kinds.weights[group] > 0)

    def whom(n: int) -> tuple[str, str]:
        kind, column = evaluator.place(n)
        sold = usable.shoes if kind == "shoe" else usable.insoles
        mine = weight * sold.rows[:, column][sold.of][group]
        if not mine.any():
            return "", ""
        top = [codes.names[way][int(np.bincount(codes.codes[way], mine).argmax())]
               for way in ("purpose", "foot-type")]  # fmt: skip
        return top[0], top[1]

    return whom
