"""Who is counted: the modelled population, the shop's visits, or the one moved by the other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from recommend.catalogue.loading import Item
from recommend.cluster import pieces
from recommend.coverage.evaluate import Progress
from recommend.coverage.parquet import Columns, columns_of, tally_parquet
from recommend.coverage.population import (
    Agreement,
    Population,
    figures_in,
    load_population,
)
from recommend.coverage.rows import Array
from recommend.coverage.sampling import BLOCK, Numbers, Sampler, Words, numbers_of
from recommend.coverage.tally import FactColumns, Tally, add, cases_of_customers, tally
from recommend.coverage.visits import (
    ShopVisits,
    cases_of_visits,
    no_shop,
    of_one,
    read_shop,
    shrink,
)
from recommend.errors import RecommendError
from recommend.match.sizes import CHILD, SizeClasses
from recommend.rulebook.book import Rulebook

Mode = Literal["modelled", "shop", "both", "columns"]
SCALE = ("out", "middle", "in")  # classes that static axes are put into
MERGED = 3  # times as many cases as the next that a tally must have not to be added to it


@dataclass(frozen=True, slots=True)
class Crowd:
    """Customers to count, and what they stand on.

    Attributes
    ----------
    mode : ``modelled`` (drawn from the population file), ``shop`` (the visits themselves),
        ``both`` (drawn from the population moved towards the visits) or ``columns`` (measured
        feet of a chain, read from Parquet).
    population : the population file.
    count, seed : how many are drawn, and how.
    shop : the shop's visits, where there are some.
    columns : the Parquet files, where there are some, and what is `read` of them.
    weight : factor on the weight of a visit of the shop beside the publication.
    children : whether children are drawn as well.
    place : the one shop that is looked at, where the customers are of several.
    """

    mode: Mode
    population: Population
    count: int
    seed: int
    shop: ShopVisits | None = None
    columns: Path | None = None
    read: Columns | None = None
    weight: float = 1.0
    children: bool = False
    place: str = ""

    @property
    def days(self) -> tuple[str, ...]:
        """Days on which the customers behind it were measured, ascending, where they are told."""
        if self.shop is not None:
            return tuple(sorted(visit.date for visit in self.shop.visits if visit.date))
        return self.read.days if self.read else ()

    @property
    def drawn(self) -> bool:
        """Whether the customers are drawn, not measured."""
        return self.mode in ("modelled", "both")

    @property
    def visits(self) -> int:
        """Visits that stand behind it."""
        return len(self.shop.visits) if self.shop else 0

    @property
    def ages(self) -> tuple[str, ...]:
        """Age bands that are counted."""
        adults = tuple(self.population.words.get("age-band", {}))
        return (CHILD, *adults) if self.children else adults

    def numbers(self, book: Rulebook, assumed: float = 1.0) -> Numbers:
        """The numbers drawn from, moved by the shop's visits where they are asked for."""
        numbers = numbers_of(self.population, assumed, children=self.children)
        if self.mode != "both" or self.shop is None:
            return numbers
        prior = book.parameters.coverage.prior_visits / self.weight
        return shrink(self.population, numbers, self.shop.customers, prior)

    def cases(self, book: Rulebook, sizes: SizeClasses) -> Iterator[Array]:
        """The case of every customer, shape (n, c), some at a time and always in one order."""
        if self.mode == "shop" and self.shop is not None:
            yield cases_of_visits(self.shop, book, sizes)
            return
        if not self.drawn:
            raise RecommendError("this question needs drawn customers or visits, not Parquet files")
        facts = FactColumns(book, self.population)
        sampler = Sampler(self.population, self.numbers(book))
        for block in sampler.blocks(self.count, self.seed):
            yield cases_of_customers(book, facts, block, sizes)

    def tally(
        self,
        book: Rulebook,
        sizes: SizeClasses,
        *,
        assumed: float = 1.0,
        count: int | None = None,
        progress: Progress | None = None,
    ) -> Tally:
        """Count the customers by case; see `cases`.

        Parameters
        ----------
        assumed : factor on the assumed correlations.
        count : draw this many instead.
        progress : called with how many are counted, and of how many.
        """
        total = count or self.count
        if not self.drawn:
            return add(self.by_shop(book, sizes).values())
        shared = (book, self.population, self.numbers(book, assumed), sizes, self.seed)
        each = (
            (shared, (n, min(BLOCK, total - at))) for n, at in enumerate(range(0, total, BLOCK))
        )
        return added(pieces(tally_of_block, each), total, progress)

    def by_shop(self, book: Rulebook, sizes: SizeClasses) -> dict[str, Tally]:
        """Measured customers by the shop at which they were; nothing where all are drawn.

        Raises
        ------
        RecommendError
            If one shop is looked at and nobody was measured there.
        """
        if self.columns is not None:
            found = tally_parquet(self.columns, book, self.population, sizes)
        elif self.mode == "shop" and self.shop is not None:
            cases, where = cases_of_visits(self.shop, book, sizes), np.array(self.shop.where)
            found = {str(one): tally(cases[where == one]) for one in np.unique(where)}
        else:
            return {}
        if not self.place or set(found) == {""}:
            return found
        if self.place not in found:
            raise no_shop(self.place, set(found))
        return {self.place: found[self.place]}

    def agreement(self, book: Rulebook) -> float | None:
        """Fleiss kappa of the static axes of drawn left feet; None where it cannot be told."""
        if self.population.agreement is None or not self.drawn:
            return None
        sampler = Sampler(self.population, replace(self, children=False).numbers(book))
        drawn = sampler.block(self.seed, 0, min(self.count, BLOCK))
        axes = FactColumns(book, self.population).concluded(drawn, "left").axes
        return fleiss_kappa(ratings(book, axes, self.population.agreement))


def tally_of_block(
    book: Rulebook,
    population: Population,
    numbers: Numbers,
    sizes: SizeClasses,
    seed: int,
    index: int,
    size: int,
) -> Tally:
    """Count the first `size` customers of block number `index` by case."""
    block = Sampler(population, numbers).block(seed, index, size)
    return tally(cases_of_customers(book, FactColumns(book, population), block, sizes))


def added(tallies: Iterable[Tally], total: int = 0, progress: Progress | None = None) -> Tally:
    """The sum of tallies that come one by one; of those held each is much larger than the next.

    `progress` is called with how many customers they are so far, and with `total`.
    """
    parts: list[Tally] = []
    done = 0
    for one in tallies:
        parts.append(one)
        done += one.customers
        while len(parts) > 1 and len(parts[-2].counts) < MERGED * len(parts[-1].counts):
            parts[-2:] = [add(parts[-2:])]
        if progress:
            progress(done, total)
    return add(parts)


def assumed_figures(population: Population) -> tuple[int, int]:
    """How many figures are neither published nor derived from such, and how many there are."""
    kinds = [figure["kind"] for _, figure in figures_in(population.model_dump())]
    return sum(kind not in ("published", "derived") for kind in kinds), len(kinds)


def has_children(items: Iterable[Item], population: Population, book: Rulebook) -> bool:
    """Whether some product is made for children, so that children are counted as well."""
    names = population.children.made_for if population.children else []
    tops = {n: len(book.attributes[n].scale) - 1 for n in names if n in book.attributes}
    return any(item.levels.get(name) == top for item in items for name, top in tops.items())


def crowd_of(
    book: Rulebook,
    visits: Path | None,
    population: Literal["modelled", "shop", "both"] | None,
    customers: int,
    seed: int,
    feet: Path | None = None,
    items: Iterable[Item] = (),
    place: str = "",
) -> Crowd:
    """The customers that the options ask for.

    Parameters
    ----------
    customers : how many are drawn.
    items : what is sold; children are counted where something is made for them.
    place : the one shop of a chain to look at.

    Raises
    ------
    RecommendError
        If the shop's visits are asked for and none are named.
    """
    people = load_population(Path(book.folder) / "population.yaml", book.sources)
    if feet is not None:
        if visits or population:
            raise RecommendError("--feet stands for everyone who is counted; leave out the others")
        read = columns_of(feet, book)
        return Crowd("columns", people, 0, seed, columns=feet, read=read, place=place)
    mode = population or ("both" if visits else "modelled")
    shop = None
    if mode != "modelled":
        if visits is None:
            raise RecommendError(
                f"--population {mode} needs the shop's visits; name them with --visits PATH"
            )
        shop = read_shop(visits, book)
        if place and set(shop.where) != {""}:
            shop = of_one(shop, place)
    children = has_children(items, people, book)
    return Crowd(mode, people, customers, seed, shop=shop, children=children, place=place)


def ratings(book: Rulebook, axes: Mapping[str, Array], agreement: Agreement) -> Array:
    """How many axes put each foot into each class of `SCALE`, shape (n, 3).

    Parameters
    ----------
    axes : codes of the axis values, -1 for undetermined, as `infer.many` gives them.

    Notes
    -----
    A foot that some axis leaves undetermined is left out.
    """
    codes = np.column_stack(
        [
            Words(
                axes[axis], tuple(classes.get(name, "") for name in book.axes[axis].values)
            ).codes_in(SCALE)
            for axis, classes in agreement.axes.items()
        ]
    )
    codes = codes[(codes >= 0).all(axis=1)]
    return np.column_stack([(codes == k).sum(axis=1) for k in range(len(SCALE))])


def fleiss_kappa(table: Array) -> float:
    """Agreement of several raters beyond chance; 1 is perfect, 0 is chance.

    Parameters
    ----------
    table : how many raters put each subject into each class, shape (n, classes), each row
        with the same sum; NaN is returned for fewer than two subjects or one class only.

    References
    ----------
    Fleiss JL 1971, Psychol Bull 76:378-382.
    """
    if len(table) < 2:
        return float("nan")
    raters = table[0].sum()
    shares = table.sum(axis=0) / table.sum()
    by_chance = float((shares**2).sum())
    agreed = float(((table**2).sum(axis=1) - raters).mean() / (raters * (raters - 1)))
    return (agreed - by_chance) / (1 - by_chance) if by_chance < 1 else float("nan")
