"""The shop's own visits: from a folder of visit files or from its record store.

They are counted as they are, or move the modelled population towards the shop.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import reduce
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from recommend.coverage.population import Population
from recommend.coverage.rows import Array
from recommend.coverage.sampling import Column, Customers, Numbers, Words, nearest_correlation
from recommend.coverage.tally import cases_of
from recommend.errors import RecommendError, nearest
from recommend.infer.facts import facts_of
from recommend.infer.many import columns_of
from recommend.match.out import harmful
from recommend.match.sizes import CHILD, SizeClasses, wanted_length
from recommend.measure.model import SIDES, Measure
from recommend.measure.observed import observe
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import Facts
from recommend.rulebook.vocabulary import AGE_BAND, PURPOSE
from recommend.trial.kept_trials import kept_by_shop
from recommend.visit.models import Visit


@dataclass(frozen=True, slots=True)
class ShopVisits:
    """Visits of one shop, measured.

    Attributes
    ----------
    visits : the visits.
    where : the shop of each visit, where there are several; '' where there is one.
    customers : their measures as columns, NaN where a foot was not measured.
    """

    visits: tuple[Visit, ...]
    customers: Customers
    where: tuple[str, ...] = ()

    def only(self, rows: Array) -> ShopVisits:
        """Some of its visits, in the order of `rows`; one may come more than once."""
        where = tuple(self.where[row] for row in rows) if self.where else ()
        return ShopVisits(tuple(self.visits[row] for row in rows), self.customers.only(rows), where)


def resampled(shop: ShopVisits, rng: np.random.Generator) -> ShopVisits:
    """As many visits drawn from the visits, with repeats: another sample of the same customers."""
    count = len(shop.visits)
    return shop.only(rng.integers(0, count, count))


def refusing(shop: ShopVisits, parameters: Parameters) -> int:
    """Visits with something out that no count looks at: a wish, a price limit, what did harm."""
    return sum(v.wishes is not None or bool(harmful(v, parameters)) for v in shop.visits)


def of_one(shop: ShopVisits, name: str) -> ShopVisits:
    """The visits of one of several shops.

    Raises
    ------
    RecommendError
        If there is no such shop.
    """
    rows = np.flatnonzero(np.array(shop.where) == name)
    if not len(rows):
        raise no_shop(name, set(shop.where))
    return shop.only(rows)


def no_shop(name: str, shops: Collection[str]) -> RecommendError:
    """That no shop has this name, with those that there are."""
    hint = nearest(name, shops) or f"the shops are {', '.join(sorted(shops))}"
    return RecommendError(f"no shop is called `{name}`; {hint}")


def read_shop(path: Path, book: Rulebook) -> ShopVisits:
    """Read the visits of a shop.

    Parameters
    ----------
    path : a folder of visit files, or a record store.

    Raises
    ------
    InputError
        If there are none, or one does not fit.
    """
    shops = kept_by_shop(path, book)
    visits = tuple(visit for some in shops.values() for visit in some)
    where = tuple(shop for shop, some in shops.items() for _ in some)
    return ShopVisits(visits, customers_of(visits, book), where)


def customers_of(visits: Iterable[Visit], book: Rulebook) -> Customers:
    """Measures of the visits as columns."""
    seen, words = list(visits), book.vocabulary.words
    measured = [observe(visit, book.measures, book.parameters).used for visit in seen]
    feet = {
        side: {name: _column(name, [one[side] for one in measured], book) for name in book.measures}
        for side in SIDES
    }
    own: dict[str, Column] = {
        "age-band": _words([visit.age_band for visit in seen], words[AGE_BAND]),
        "purpose": _words([visit.purpose for visit in seen], words[PURPOSE]),
        "body-mass": np.array([visit.body_mass_kg or np.nan for visit in seen], float),
    }
    return Customers(len(seen), own, feet)


def _column(name: str, feet: list[Mapping[str, Measure]], book: Rulebook) -> Column:
    values: list[Any] = [foot[name].value if name in foot else None for foot in feet]
    words = book.measures[name].values
    if words:
        return _words(values, tuple(words))
    return np.array([np.nan if value is None else value for value in values], float)


def _words(texts: list[Any], values: tuple[str, ...]) -> Words:
    codes = [values.index(text) if text in values else -1 for text in texts]
    return Words(np.array(codes, np.int8), values)


def cases_of_visits(shop: ShopVisits, book: Rulebook, sizes: SizeClasses) -> Array:
    """The case of each visit as it is: what was not measured or asked stays unknown."""
    columns = {}
    for side in SIDES:
        rows: list[Facts] = []
        for visit in shop.visits:
            measures = observe(visit, book.measures, book.parameters).used[side]
            rows.append(facts_of(visit, side, measures, book))
        columns[side] = columns_of(rows, book.vocabulary)
    size = _sizes(shop.visits, book, sizes)
    return cases_of(book, columns, size, shop.customers.own)


def _sizes(visits: tuple[Visit, ...], book: Rulebook, sizes: SizeClasses) -> Array:
    wanted = [wanted_length(visit, book.parameters).length for visit in visits]
    return sizes.of_lengths(np.array([np.nan if w is None else w for w in wanted], float))


TWO = 2  # a spread or a correlation needs at least two visits


def shrink(population: Population, numbers: Numbers, shop: Customers, prior: float) -> Numbers:
    """Move `numbers` towards the visits of a shop, the more the more visits there are.

    Parameters
    ----------
    numbers : the published numbers.
    shop : columns of the shop's visits; NaN where a foot was not measured.
    prior : how many visits the published numbers count for.

    Notes
    -----
    1. A mean is weighted by visits; a variance is the weighted mean of variances plus what the
       difference of the means adds (the conjugate normal update).
    2. A correlation is weighted by the visits that have both measures; shares of words and
       classes by the visits that have them.
    3. Women and men are moved alike, because a visit does not record sex.
    4. Children's visits move the share of children, where children are drawn, and nothing else.

    References
    ----------
    Gelman A et al., Bayesian Data Analysis, section on the normal model with conjugate prior.
    """
    child = np.array(shop.texts("age-band")) == CHILD
    shop = shop.only(np.flatnonzero(~child))
    columns = _observed(population, shop)
    mean, sd = numbers.mean.copy(), numbers.sd.copy()
    for k, name in enumerate(numbers.names):
        values = columns.get(name)
        visits = 0 if values is None else int(np.isfinite(values).any(axis=1).sum())
        if values is None or visits < TWO:
            continue
        before = _overall(numbers, k)
        after = _updated(before, values, visits, prior)
        mean[:, k] = after[0] + (mean[:, k] - before[0]) * after[1] / before[1]
        sd[:, k] *= after[1] / before[1]
    return replace(
        numbers,
        mean=mean,
        sd=sd,
        matrix=_correlations(numbers, columns, prior),
        left_right=_left_right(numbers, columns, prior),
        words={n: _shares(s, shop.own.get(n), prior) for n, s in numbers.words.items()},
        classes=_classes(population, numbers, shop, prior),
        children=_share_of_children(numbers.children, child, prior),
    )


def _share_of_children(before: float, child: Array, prior: float) -> float:
    return (prior * before + float(child.sum())) / (prior + len(child)) if before else 0.0


def _observed(population: Population, shop: Customers) -> dict[str, Array]:
    """Each drawn quantity the visits show, shape (n, 2) for left and right."""
    out: dict[str, Array] = {}
    for name, quantity in population.quantities.items():
        values = _pair([shop.own.get(name)] * 2 if quantity.of == "customer" else both(shop, name))
        if values is not None:
            out[name] = values
    secret = {name for name, one in population.quantities.items() if one.hidden}
    for total, derived in population.derived.items():
        hidden = [name for name in derived.sum if name in secret]
        parts = [total, *(name for name in derived.sum if name not in hidden)]
        known = [one for one in (_pair(both(shop, name)) for name in parts) if one is not None]
        if len(hidden) == 1 and len(known) == len(parts):
            out[hidden[0]] = known[0] - reduce(np.add, known[1:])
    return out


def both(shop: Customers, name: str) -> list[Column | None]:
    """The column of a measure of the left feet and of the right."""
    return [shop.feet[side].get(name) for side in SIDES]


def _pair(columns: list[Column | None]) -> Array | None:
    """Numbers of both feet, shape (n, 2); None where they are not both there."""
    numbers = [column for column in columns if isinstance(column, np.ndarray)]
    return np.column_stack(numbers) if len(numbers) == TWO else None


def _overall(numbers: Numbers, k: int) -> tuple[float, float]:
    """Mean and SD of quantity `k` over women and men together."""
    share = np.array([numbers.female, 1 - numbers.female])
    mean = float(share @ numbers.mean[:, k])
    variance = float(share @ (numbers.sd[:, k] ** 2 + (numbers.mean[:, k] - mean) ** 2))
    return mean, variance**0.5


def _updated(
    before: tuple[float, float], values: Array, visits: int, prior: float
) -> tuple[float, float]:
    """Mean and SD after `visits` visits, the published ones counting as `prior` visits."""
    own = float(np.nanmean(values))
    variance = float(np.nanvar(values))
    total = prior + visits
    mean = (prior * before[0] + visits * own) / total
    spread = prior * before[1] ** 2 + visits * variance
    spread += prior * visits / total * (own - before[0]) ** 2
    return mean, (spread / total) ** 0.5


def _correlations(numbers: Numbers, columns: Mapping[str, Array], prior: float) -> Array:
    matrix = numbers.matrix.copy()
    for i, j in combinations(range(len(numbers.names)), 2):
        one, other = (columns.get(numbers.names[k]) for k in (i, j))
        if one is not None and other is not None:
            matrix[i, j] = matrix[j, i] = _moved(numbers, (i, j), matrix[i, j], one, other, prior)
    return nearest_correlation(matrix)


def _left_right(numbers: Numbers, columns: Mapping[str, Array], prior: float) -> Array:
    out = numbers.left_right.copy()
    for k, name in enumerate(numbers.names):
        values = columns.get(name)
        if values is None or out[k] == 1:
            continue
        moved = _moved(numbers, (k, k), out[k], values[:, :1], values[:, 1:], prior)
        if moved != out[k]:
            # Kept below 1, which would make it a quantity of the customer, and not negative.
            out[k] = min(max(moved, 0.0), 1 - 1e-6)
    return out


def _moved(numbers: Numbers, pair: tuple[int, int], within: float, one: Array, other: Array,
           prior: float) -> float:  # fmt: skip
    """The correlation within one sex, moved by what the visits say of both sexes together.

    `one`, `other` : readings of the two quantities, shape (n, feet), NaN where there is none.
    """
    there, (i, j) = np.isfinite(one) & np.isfinite(other), pair
    own = _correlation(one[there], other[there])
    if own is None:
        return within
    visits = int(there.any(axis=1).sum())
    weight = visits / (prior + visits)
    share = np.array([numbers.female, 1 - numbers.female])
    (mean_i, sd_i), (mean_j, sd_j) = _overall(numbers, i), _overall(numbers, j)
    inside = float(share @ (numbers.sd[:, i] * numbers.sd[:, j]))
    between = float(share @ ((numbers.mean[:, i] - mean_i) * (numbers.mean[:, j] - mean_j)))
    together = (within * inside + between) / (sd_i * sd_j)
    return float(np.clip(within + weight * (own - together) * sd_i * sd_j / inside, -1, 1))


def _correlation(a: Array, b: Array) -> float | None:
    """Pearson correlation, or None where it is not defined."""
    if len(a) <= TWO or np.ptp(a) == 0 or np.ptp(b) == 0:
        return None
    return float(np.corrcoef(a, b)[0, 1])


def _shares(
    before: Mapping[str, float], column: Column | None, prior: float
) -> Mapping[str, float]:
    if not isinstance(column, Words):
        return before
    counts = [int((column.texts() == word).sum()) for word in before]
    total = prior + sum(counts)
    return {
        word: (prior * share + count) / total
        for (word, share), count in zip(before.items(), counts, strict=True)
    }


def _classes(
    population: Population, numbers: Numbers, shop: Customers, prior: float
) -> dict[str, tuple[Mapping[str, float], ...]]:
    """Shares of each cut, from how many feet of the shop fall to each side of it."""
    out: dict[str, tuple[Mapping[str, float], ...]] = {}
    for name, cuts in numbers.classes.items():
        seen = [c.texts() for c in both(shop, name) if isinstance(c, Words)]
        words = np.concatenate(seen) if seen else np.empty(0, dtype=str)
        # Two feet of one visit are counted as one observation.
        count = {v: float((words == v).sum()) / TWO for cut in cuts for v in cut}
        for cut, definition in zip(cuts[1:], population.classes[name][1:], strict=True):
            if definition.of:
                count[definition.of] += sum(count[v] for v in cut)
        out[name] = tuple(
            {
                v: (prior * share + count[v]) / (prior + sum(count[w] for w in cut))
                for v, share in cut.items()
            }
            for cut in cuts
        )
    return out
