"""What the shop learns: each product's effect, by partial pooling.

A product with two trials should not be believed over one with forty, and a product with none is
not unknown: its attributes resemble those of others, and the literature has something to say
about its kind. So the effect of a product is drawn towards that of its attribute profile, the
profile's towards its kind, and the kind's towards the published effect.

Everything is normal, so the posterior is one linear system, solved exactly; nothing is sampled.
Whether that foretells anything is asked of every visit from all the others, beside
the published mean.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, stdev

import numpy as np
from numpy.typing import NDArray

from recommend.trial.change import Interval

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PooledProduct:
    """A product as the pooling sees it.

    Attributes
    ----------
    id : product id.
    kind : ``shoe`` or ``insole``.
    profile : products of the same profile are taken to resemble each other.
    offset : what published work expects of this profile beyond its kind, in degrees.
    """

    id: str
    kind: str
    profile: str
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class ObservedChange:
    """One visit's change in one phase, made by the products that were added in that step.

    Attributes
    ----------
    visit : reference code; the two feet of one person are one observation.
    products : ids of what was put on between before and after; two when shoe and insole were
        only tried together.
    change : degrees, after minus before.
    variance : its squared standard error from the strides.
    """

    visit: str
    products: tuple[str, ...]
    change: float
    variance: float


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed before any trial, in degrees.

    Attributes
    ----------
    mean : expected effect by kind, from published work.
    kind_sd : how far the shop's own average may lie from it (weak: wider than published).
    profile_sd : spread of profiles within a kind.
    product_sd : spread of products within a profile.
    person_sd : spread of people's responses to one product.
    person_weight : how many visits `person_sd` counts as, when the trials speak about it too.
    """

    mean: Mapping[str, float]
    kind_sd: float
    profile_sd: float
    product_sd: float
    person_sd: float
    person_weight: float


class Learned:
    """Effects of products in one phase and gait, after `learn`."""

    def __init__(
        self,
        prior: Prior,
        names: Mapping[str, int],
        mean: Floats,
        covariance: Floats,
        person: float,
    ) -> None:
        self.prior, self.person_sd = prior, person
        self._names, self._mean, self._covariance = names, mean, covariance

    def tried(self, product: str) -> bool:
        """Whether a product is among the observations."""
        return f"product {product}" in self._names

    def effect(self, item: PooledProduct, confidence: float) -> Interval:
        """Average effect of a product over people, in degrees; it need not have been tried."""
        return self._interval([item], confidence, 0.0)

    def expected(self, items: Sequence[PooledProduct], confidence: float) -> Interval:
        """Change to expect in one more foot from these products together, in degrees.

        Wider than `effect`: people differ in their response.
        """
        return self._interval(items, confidence, self.person_sd**2)

    def next_visit(
        self, items: Sequence[PooledProduct], confidence: float, variance: float
    ) -> Interval:
        """Change to expect to be measured in one more visit, whose strides have this variance."""
        return self._interval(items, confidence, self.person_sd**2 + variance)

    def _interval(
        self, items: Sequence[PooledProduct], confidence: float, extra: float
    ) -> Interval:
        value, variance = self._moments(items)
        half = NormalDist().inv_cdf((1 + confidence) / 2) * math.sqrt(variance + extra)
        return Interval(value, value - half, value + half)

    def _moments(self, items: Sequence[PooledProduct]) -> tuple[float, float]:
        """Mean and variance of the sum of the products' average effects."""
        extra = 0.0
        pick = np.zeros(len(self._mean))
        offset = 0.0
        for item in items:
            name, more_offset, more_variance = self._nearest_known(item)
            offset, extra = offset + more_offset, extra + more_variance
            if name is None:
                offset += self.prior.mean[item.kind]
            else:
                pick[self._names[name]] += 1
        value = float(pick @ self._mean) + offset
        return value, float(pick @ self._covariance @ pick) + extra

    def _nearest_known(self, item: PooledProduct) -> tuple[str | None, float, float]:
        """The unknown that stands for `item`, and what to add to its mean and variance."""
        prior = self.prior
        if _product(item) in self._names:
            return _product(item), 0.0, 0.0
        variance = prior.product_sd**2
        if _profile(item) in self._names:
            return _profile(item), 0.0, variance
        variance += prior.profile_sd**2
        if _kind(item) in self._names:
            return _kind(item), item.offset, variance
        return None, item.offset, variance + prior.kind_sd**2


def learn(
    items: Iterable[PooledProduct], observed: Sequence[ObservedChange], prior: Prior
) -> Learned:
    """Estimate the effect of every product that was tried.

    Parameters
    ----------
    items : the products named in `observed` (others are ignored).
    observed : changes of one phase and gait, one per visit and step.
    prior : see `Prior`.

    Raises
    ------
    ValueError
        If an observation names a product that is not among `items`, or none.

    Notes
    -----
    With x = (product effects, profile means, kind means):

    1. kind ~ N(published, kind_sd^2); profile ~ N(kind + offset, profile_sd^2);
       product ~ N(profile, product_sd^2);
    2. change of a visit ~ N(sum of its products' effects, variance + person_sd^2);
    3. the precisions of 1 and 2 add up to one matrix; the posterior mean solves it and the
       posterior covariance is its inverse (Lindley and Smith 1972, J R Stat Soc B 34:1-41);
    4. person_sd is estimated first, from the spread of visits around the mean of the same
       products, shrunk towards the prior's.

    The two steps of one visit (barefoot to shoe, shoe to insole) share the strides in the shoe;
    the small negative correlation of their errors is left out.
    """
    used = {product for one in observed for product in one.products}
    known = {item.id: item for item in items if item.id in used}
    for one in observed:
        if not one.products or not set(one.products) <= known.keys():
            raise ValueError(f"`products` must be among the items, was {one.products}")
    person = _person_sd(observed, prior)
    names = _names(known.values())
    precision = np.zeros((len(names), len(names)))
    shift = np.zeros(len(names))
    _add_prior(known.values(), names, prior, precision, shift)
    for one in observed:
        rows = [names[_product(known[product])] for product in one.products]
        weight = 1 / (one.variance + person**2)
        precision[np.ix_(rows, rows)] += weight
        shift[rows] += weight * one.change
    covariance: Floats = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return Learned(prior, names, covariance @ shift, covariance, person)


def _product(item: PooledProduct) -> str:
    return f"product {item.id}"


def _profile(item: PooledProduct) -> str:
    return f"profile {item.kind} {item.profile}"


def _kind(item: PooledProduct) -> str:
    return f"kind {item.kind}"


def _names(items: Iterable[PooledProduct]) -> dict[str, int]:
    names: dict[str, int] = {}
    for item in items:
        for name in (_product(item), _profile(item), _kind(item)):
            names.setdefault(name, len(names))
    return names


def _add_prior(
    items: Iterable[PooledProduct],
    names: Mapping[str, int],
    prior: Prior,
    precision: Floats,
    shift: Floats,
) -> None:
    """Add the precision of each unknown given the one above it in the hierarchy."""
    seen: set[str] = set()
    for item in items:
        chain = (
            (_product(item), _profile(item), 0.0, prior.product_sd),
            (_profile(item), _kind(item), item.offset, prior.profile_sd),
        )
        for child, parent, offset, sd in chain:
            if child not in seen:
                seen.add(child)
                _link(names[child], names[parent], offset, sd, precision, shift)
        if _kind(item) not in seen:
            seen.add(_kind(item))
            row, weight = names[_kind(item)], prior.kind_sd**-2
            precision[row, row] += weight
            shift[row] += weight * prior.mean[item.kind]


def _link(
    child: int, parent: int, offset: float, sd: float, precision: Floats, shift: Floats
) -> None:
    """Let child ~ N(parent + offset, sd^2)."""
    weight = sd**-2
    rows = np.ix_([child, parent], [child, parent])
    precision[rows] += weight * np.array([[1.0, -1.0], [-1.0, 1.0]])
    shift[[child, parent]] += weight * offset * np.array([1.0, -1.0])


def _person_sd(observed: Sequence[ObservedChange], prior: Prior) -> float:
    """Spread of people's responses, by moments, shrunk towards the prior's.

    Pooled over groups of visits with the same products: the squared deviations from the group
    mean, less what the strides account for.
    """
    groups: dict[tuple[str, ...], list[ObservedChange]] = defaultdict(list)
    for one in observed:
        groups[tuple(sorted(one.products))].append(one)
    freedom, squares = 0, 0.0
    for members in groups.values():
        changes = np.array([m.change for m in members])
        noise = np.mean([m.variance for m in members])
        freedom += len(members) - 1
        squares += float(((changes - changes.mean()) ** 2).sum() - (len(members) - 1) * noise)
    weight = prior.person_weight
    pooled = (weight * prior.person_sd**2 + max(squares, 0.0)) / (weight + freedom)
    return math.sqrt(pooled)


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
    items: Sequence[PooledProduct],
    observed: Sequence[ObservedChange],
    prior: Prior,
    confidence: float,
    least: float,
) -> Check:
    """Foretell every visit from all the others, as if it had not been seen.

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
    Leaving visits out is cross-validation (Stone 1974, J R Stat Soc B 36:111-147; from memory).
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


def _published(parts: Sequence[PooledProduct], mean: Mapping[str, float]) -> float:
    """What published work alone expects of these products together."""
    return sum(mean[item.kind] + item.offset for item in parts)
