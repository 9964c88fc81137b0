"""What the buyer's commands ask alike: their options in one place, and what they become."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from recommend.catalogue.loading import Catalogue
from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.catalogue.stacking import read_shops, together
from recommend.commands.options import CatalogueFolders, ClusterOption, Full, RulesFolder
from recommend.coverage.crowd import crowd_of
from recommend.coverage.run import Question
from recommend.errors import RecommendError, nearest
from recommend.rulebook.book import Rulebook

SoldOutOption = Annotated[
    bool, typer.Option("--sold-out-counts", help="Count sizes that are made but sold out.")
]


@dataclass(frozen=True, kw_only=True)
class Asked:
    """Options that `coverage`, `gaps` and `order` have in common, as they were given."""

    catalogue: CatalogueFolders = None
    rules: RulesFolder = None
    visits: Annotated[
        Path | None,
        typer.Option(
            help="The shop's own visits: a folder of files, its store, or a folder of the folders "
            "or stores of several shops."
        ),
    ] = None
    population: Annotated[
        Literal["modelled", "shop", "both"] | None,
        typer.Option(
            help="Who is counted: the modelled population, the shop's visits alone, or the "
            "modelled one moved towards the visits. Default: both with --visits, else modelled.",
        ),
    ] = None
    customers: Annotated[
        int | None, typer.Option(min=1, max=100_000_000, help="How many customers are drawn.")
    ] = None
    seed: Annotated[int, typer.Option(min=0, help="Seed of the drawing.")] = 1
    full: Full = False
    feet: Annotated[
        Path | None,
        typer.Option(help="Measured feet of a chain, Parquet: a file or a folder of files."),
    ] = None
    sold: Annotated[
        Literal["pair", "shoe", "insole", "any"],
        typer.Option(help="What is sold: shoe with insole, one of them alone, or any."),
    ] = "pair"
    stock: Annotated[
        list[Path] | None,
        typer.Option(
            help="Stock of a chain's shops, CSV with product, size, count and shop; may be "
            "repeated, a file a shop."
        ),
    ] = None
    shop: Annotated[
        str | None, typer.Option(help="Look at this shop of the chain alone.")
    ] = None  # fmt: skip
    cluster: ClusterOption = None

    def opened(self, customers: Callable[[Rulebook], int], **more: Any) -> Opened:
        """The rulebook, the catalogue and the customers that are asked about.

        Parameters
        ----------
        customers : how many are drawn where nothing is said.
        more : further parts of the question.
        """
        book = open_rulebook(self.rules)
        whole = open_catalogue(book, self.catalogue)
        split = self.feet or self.visits  # which may be of several shops
        here = whole if split and not self.stock else stocked(whole, self.stock, self.shop)
        count = self.customers or customers(book)
        crowd = crowd_of(
            book, self.visits, self.population, count, self.seed, self.feet, whole.items,
            self.shop or "",
        )  # fmt: skip
        return Opened(whole, Question(book, here, crowd, sold=self.sold, **more))


@dataclass(frozen=True, slots=True)
class Opened:
    """A question, and the catalogue before the stock of one shop was put into it."""

    whole: Catalogue
    question: Question


def stocked(catalogue: Catalogue, stock: Sequence[Path] | None, shop: str | None) -> Catalogue:
    """The catalogue as it is, or with the stock of a chain: of one shop, or of all together.

    Raises
    ------
    RecommendError
        If a shop is named and there is no such shop.
    """
    if not stock:
        if shop:
            raise RecommendError("--shop names one of a chain; give its stock with --stock FILE")
        return catalogue
    shops = read_shops(stock, catalogue)
    if shop is None:
        return together(shops)
    if shop not in shops:
        hint = nearest(shop, shops) or f"the shops are {', '.join(shops)}"
        raise RecommendError(f"no shop is called `{shop}`; {hint}")
    return shops[shop]
