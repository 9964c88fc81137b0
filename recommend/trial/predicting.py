"""Whether learned effects predict: each visit foretold from all others, beside the published mean.

Leaving visits out (cross-validation, Stone 1974, J R Stat Soc B 36:111-147; from memory) asks of
every visit what the shop would have expected of it without having seen it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from recommend.trial.effects import Item, Observed, Prior, learn


@dataclass(frozen=True, slots=True)
class Check:
    """How well the effects of one gait and reading foretell a visit that they have not seen.

    Attributes
    ----------
    predictions, visits : changes that were foretold, and visits they are of.
    held : of these, how many lay in the interval that was foretold.
    error : root of the mean squared error, in degrees.
    published : the same for the published mean of the product's kind alone.
    better : whether there are visits enough, and the squared error is smaller than the published
        one's by more than the standard error of that difference, visit by visit.
    """

    predictions: int
    visits: int
    held: int
    error: float
    published: float
    better: bool


def check_of(
    items: Sequence[Item],
    observed: Sequence[Observed],
    prior: Prior,
    confidence: float,
    least: float,
) -> Check:
    """Foretell every visit from all the others.

    Parameters
    ----------
    items : the products named in `observed`.
    observed : changes of one gait and reading.
    prior : what is believed before any trial; its means are the published ones.
    confidence : of the intervals.
    least : visits below which nothing is called better.

    Notes
    -----
    The simpler forecast is kept unless the other beats it by one standard error (Breiman,
    Friedman, Olshen and Stone 1984, Classification and Regression Trees, 3.4.3; from memory):
    a smaller error alone is chance in a quarter of shops whose products do what is published.
    """
    by_id = {item.id: item for item in items}
    held, squares, published = 0, [], []
    gains: dict[str, float] = defaultdict(float)
    visits = list(dict.fromkeys(one.visit for one in observed))
    for visit in visits:
        learned = learn(items, [one for one in observed if one.visit != visit], prior)
        for one in observed:
            if one.visit != visit:
                continue
            parts = [by_id[product] for product in one.products]
            foretold = learned.next_visit(parts, confidence, one.variance)
            held += foretold.holds(one.change)
            squares.append((one.change - foretold.value) ** 2)
            published.append((one.change - _published(parts, prior.mean)) ** 2)
            gains[visit] += published[-1] - squares[-1]
    error, plain = (math.sqrt(fmean(found or [0.0])) for found in (squares, published))
    better = len(visits) >= least and _beats(gains)
    return Check(len(squares), len(visits), held, error, plain, better)


def _beats(gains: Mapping[str, float]) -> bool:
    """Whether the gain over the published mean is beyond its standard error over visits."""
    by_visit = list(gains.values())
    return len(by_visit) > 1 and fmean(by_visit) > stdev(by_visit) / math.sqrt(len(by_visit))


def _published(parts: Sequence[Item], mean: Mapping[str, float]) -> float:
    """What published work alone expects of these products together."""
    return sum(mean[item.kind] + item.offset for item in parts)
