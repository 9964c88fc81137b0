"""The shop's own visits: from a folder of visit files or from its record store."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from recommend.coverage.numbers import Array
from recommend.coverage.sampling import Column, Customers, Words
from recommend.coverage.tally import cases_of
from recommend.errors import RecommendError, nearest
from recommend.infer.facts import facts_of
from recommend.infer.many import columns_of
from recommend.match.harm import harmful
from recommend.match.sizes import SizeClasses, wanted_length
from recommend.measure.model import SIDES, Measure
from recommend.measure.observed import observe
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import Facts
from recommend.trial.kept import kept_by_shop
from recommend.visit.models import Visit


@dataclass(frozen=True, slots=True)
class Shop:
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

    def only(self, rows: Array) -> Shop:
        """Some of its visits, in the order of `rows`; one may come more than once."""
        where = tuple(self.where[row] for row in rows) if self.where else ()
        return Shop(tuple(self.visits[row] for row in rows), self.customers.only(rows), where)


def resampled(shop: Shop, rng: np.random.Generator) -> Shop:
    """As many visits drawn from the visits, with repeats: another sample of the same customers."""
    count = len(shop.visits)
    return shop.only(rng.integers(0, count, count))


def refusing(shop: Shop, parameters: Parameters) -> int:
    """Visits with something out that no count looks at: a wish, a price limit, what did harm."""
    return sum(v.wishes is not None or bool(harmful(v, parameters)) for v in shop.visits)


def of_one(shop: Shop, name: str) -> Shop:
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


def read_shop(path: Path, book: Rulebook) -> Shop:
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
    return Shop(visits, customers_of(visits, book), where)


def customers_of(visits: Iterable[Visit], book: Rulebook) -> Customers:
    """Measures of the visits as columns."""
    seen, words = list(visits), book.vocabulary.words
    measured = [observe(visit, book.measures, book.parameters).used for visit in seen]
    feet = {
        side: {name: _column(name, [one[side] for one in measured], book) for name in book.measures}
        for side in SIDES
    }
    own: dict[str, Column] = {
        "age-band": _words([visit.age_band for visit in seen], words["visit_age-band"]),
        "purpose": _words([visit.purpose for visit in seen], words["visit_purpose"]),
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


def cases_of_visits(shop: Shop, book: Rulebook, sizes: SizeClasses) -> Array:
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
