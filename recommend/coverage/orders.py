"""How many pieces to order in which size: demand, stock that is used up, empty sizes, money.

Customers of a season come at random, so a product in a size is asked for a Poisson number of times;
where the mean is known from a shop's own sales only, it is a gamma with the modelled demand as its
start, and the number is negative binomial. An order of n pieces leaves those with nothing who ask
after the n-th; what one more piece is worth is the chance that it is asked for (the newsvendor
problem: Arrow, Harris and Marschak 1951, Econometrica 19:250-272).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from heapq import heapify, heappop, heappush
from math import ceil, lgamma

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.catalogue.models import Supply
from recommend.coverage.evaluate import Evaluator, Kinds
from recommend.coverage.report import Assessor
from recommend.coverage.rows import Array
from recommend.parameters import Parameters

REACH = 12.0  # standard deviations of demand that are looked at beyond its mean
Sales = Mapping[tuple[str, float], float]  # (product id, size in mm) -> pieces of a season


@dataclass(frozen=True)
class Demand:
    """How often a product is asked for in a size in a season.

    Attributes
    ----------
    mean : pieces.
    shape : of the gamma that the mean is known by; None where it is taken as known.
    """

    mean: float
    shape: float | None = None

    @cached_property
    def chances(self) -> Array:
        """Chance of 0, 1, 2 ... pieces, as far as it matters."""
        spread = self.mean + (self.mean**2 / self.shape if self.shape else 0.0)
        count = np.arange(ceil(self.mean + REACH * spread**0.5) + 20)
        if self.mean <= 0:
            return np.asarray((count == 0).astype(float))
        log = np.array([-lgamma(n + 1) for n in count])
        if self.shape is None:
            return np.asarray(np.exp(log + count * np.log(self.mean) - self.mean))
        r, p = self.shape, self.shape / (self.shape + self.mean)
        log += np.array([lgamma(n + r) for n in count]) - lgamma(r)
        return np.asarray(np.exp(log + r * np.log(p) + count * np.log1p(-p)))

    @cached_property
    def beyond(self) -> Array:
        """Chance that more than 0, 1, 2 ... pieces are asked for."""
        return np.asarray(np.maximum(0.0, 1 - np.cumsum(self.chances)))

    def lost(self, pieces: int) -> float:
        """How many ask for it in vain, on average, when so many pieces are there."""
        return max(0.0, self.mean - float(self.beyond[:pieces].sum()))

    def enough(self, service: float) -> int:
        """The fewest pieces that suffice with the chance `service`."""
        return int(np.argmax(self.beyond <= 1 - service + 1e-12))


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One product in one size.

    Attributes
    ----------
    asked : pieces asked for in the season, on average.
    stock, order : pieces there, and to order.
    empty_before, empty_after : of those who ask, the share who meet an empty size.
    cost : of the order; None where no price is known.
    again_at : pieces left at which to order again, where the supplier says how long it takes.
    """

    product: str
    kind: str
    size: float
    asked: float
    stock: int
    order: int
    empty_before: float
    empty_after: float
    cost: float | None
    again_at: int | None


@dataclass(frozen=True, slots=True)
class SeasonOrder:
    """What to order for a season.

    Attributes
    ----------
    lines : the sizes to order, most customers in want first.
    rest : sizes that have enough.
    asked : pieces asked for; `empty_before`, `empty_after` of them in vain, as shares.
    pieces, cost : to order in all; cost counts what has a price.
    unpriced : pieces without a price.
    """

    lines: tuple[OrderLine, ...]
    rest: int
    asked: float
    empty_before: float
    empty_after: float
    pieces: int
    cost: float
    unpriced: int


def demand_of(
    assessor: Assessor, catalogue: Catalogue, kinds: Kinds, customers: int, visitors: float
) -> dict[tuple[str, float], float]:
    """Pieces that `visitors` customers ask for in a season, by product and size, on average.

    Of those who are served, whether or not the size is sold out, a part buys
    (``orders.buys``), and takes each of the products that serve it alike.
    """
    terms = replace(assessor.terms, accepted=("in-stock", "out-of-stock"))
    evaluator = assessor.evaluator(catalogue.items, kinds, terms)
    rate = visitors * assessor.book.parameters.orders.buys / customers
    found: dict[tuple[str, float], float] = {}
    for groups in evaluator.parts(len(kinds.kind)):
        usable = evaluator.usable("well", groups)
        weights, size = rate * kinds.weights[groups], kinds.size[groups]
        for sold, items in ((usable.shoes, evaluator.shoes), (usable.insoles, evaluator.insoles)):
            by_row = np.zeros((len(kinds.sizes), len(sold.rows)))
            np.add.at(by_row, (size, sold.of), weights / np.maximum(1, sold.count))
            by_size = by_row @ sold.rows
            for n, item in enumerate(items):
                if item.offered == "shop":
                    _into(found, evaluator, item, by_size[:, n])
    return found


def _into(
    found: dict[tuple[str, float], float], evaluator: Evaluator, item: Item, by_size: Array
) -> None:
    """Add what is asked of an item in each size class to the size that the class takes."""
    made, taken = sorted(item.stock), evaluator.classes.taken(item)
    for place in np.flatnonzero(by_size):
        index = int(evaluator.kinds.sizes[place])
        if index != evaluator.classes.unknown and taken[index] >= 0:
            key = (item.id, made[int(taken[index])])
            found[key] = found.get(key, 0.0) + float(by_size[place])


def with_sales(
    modelled: Mapping[tuple[str, float], float], sales: Sales, prior: float
) -> dict[tuple[str, float], Demand]:
    """Demand moved from the modelled towards what was sold in a season like it.

    Parameters
    ----------
    prior : seasons that the modelled demand counts for.
    """
    out: dict[tuple[str, float], Demand] = {}
    for key in sorted({*modelled, *sales}):
        shape = prior * modelled.get(key, 0.0) + sales.get(key, 0.0)
        out[key] = Demand(shape / (prior + 1), shape if shape else None)
    return out


def orders_for(
    catalogue: Catalogue,
    demand: Mapping[tuple[str, float], Demand],
    parameters: Parameters,
    *,
    service: float,
    budget: float | None = None,
) -> SeasonOrder:
    """What to order of what is there.

    Parameters
    ----------
    service : chance that a size lasts through the season; with a budget, no size gets more.
    budget : most money to spend; the pieces that are likeliest to be asked for, for their price,
        come first.

    Notes
    -----
    A size gets as many pieces as the service level asks. Whole packs are ordered, and nothing of
    a product of which less than the supplier's least would be.
    """
    plans = [_Plan(catalogue.by_id[product], size, one) for (product, size), one in demand.items()
             if product in catalogue.by_id]  # fmt: skip
    for plan in plans:
        plan.fill(service)
    _drop_small(plans)
    if budget is not None:
        _within(plans, budget)
        _drop_small(plans)
    lines = [plan.line(parameters, service) for plan in plans]
    asked = sum(line.asked for line in lines)
    before, after = (
        sum(line.asked * empty for line, empty in found) / max(asked, 1e-12)
        for found in ([(one, one.empty_before) for one in lines],
                      [(one, one.empty_after) for one in lines])
    )  # fmt: skip
    ordered = [line for line in lines if line.order]
    ordered.sort(key=lambda one: (-one.asked * (one.empty_before - one.empty_after), one.product,
                                  one.size))  # fmt: skip
    return SeasonOrder(
        tuple(ordered), len(lines) - len(ordered), asked, before, after,
        sum(one.order for one in ordered), sum(one.cost or 0.0 for one in ordered),
        sum(one.order for one in ordered if one.cost is None),
    )  # fmt: skip


class _Plan:
    """One product in one size, and how many packs of it are to be ordered."""

    def __init__(self, item: Item, size: float, demand: Demand) -> None:
        self.item, self.size, self.demand = item, size, demand
        self.supply = item.product.supply or Supply()
        self.stock, self.packs = item.stock.get(size, 0), 0
        self.price = self.supply.cost if self.supply.cost is not None else item.product.price

    @property
    def pack(self) -> int:
        """Pieces in a pack."""
        return self.supply.pack or 1

    def fill(self, service: float) -> None:
        """As many packs as the service level asks."""
        short = self.demand.enough(service) - self.stock
        self.packs = max(0, ceil(short / self.pack))

    def worth(self, packs: int) -> float:
        """Customers whom one more pack would serve, per money that it costs."""
        there = self.stock + packs * self.pack
        gain = self.demand.lost(there) - self.demand.lost(there + self.pack)
        return gain / ((self.price or 0.0) * self.pack or 1e-9)

    def line(self, parameters: Parameters, service: float) -> OrderLine:
        """What is told of it."""
        order = self.packs * self.pack
        mean = max(self.demand.mean, 1e-12)
        again = None
        if self.supply.lead_weeks is not None:
            share = min(1.0, self.supply.lead_weeks / parameters.orders.season_weeks)
            meanwhile = Demand(self.demand.mean * share, self.demand.shape)
            again = meanwhile.enough(service)
        return OrderLine(
            self.item.id, self.item.product.kind, self.size, self.demand.mean, self.stock, order,
            self.demand.lost(self.stock) / mean, self.demand.lost(self.stock + order) / mean,
            None if self.price is None else self.price * order, again,
        )  # fmt: skip


def _drop_small(plans: list[_Plan]) -> None:
    """Order nothing of a product of which the supplier would not send so few."""
    pieces: dict[str, int] = {}
    for plan in plans:
        pieces[plan.item.id] = pieces.get(plan.item.id, 0) + plan.packs * plan.pack
    for plan in plans:
        if pieces[plan.item.id] < (plan.supply.minimum or 0):
            plan.packs = 0


def _within(plans: list[_Plan], budget: float) -> None:
    """Packs within a budget, those first that serve most for their price."""
    most = {id(plan): plan.packs for plan in plans}
    for plan in plans:
        plan.packs = 0
    queue = [(-plan.worth(0), n) for n, plan in enumerate(plans) if most[id(plan)]]
    heapify(queue)
    left = budget
    while queue:
        _, n = heappop(queue)
        cost = (plans[n].price or 0.0) * plans[n].pack
        if cost <= left + 1e-9:
            left -= cost
            plans[n].packs += 1
            if plans[n].packs < most[id(plans[n])]:
                heappush(queue, (-plans[n].worth(plans[n].packs), n))
