"""`recommend coverage`: which feet the catalogue serves; and what all the buyer's commands ask."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from recommend.catalogue import load_catalogue
from recommend.catalogue.loading import Catalogue
from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.catalogue.stacking import read_shops, together
from recommend.cluster import connected
from recommend.commands.options import (
    AsJson,
    CatalogueFolders,
    ClusterOption,
    Force,
    Full,
    RulesFolder,
    print_json,
    taking,
)
from recommend.coverage.as_json import as_document, write_csv
from recommend.coverage.crowd import crowd_of
from recommend.coverage.run import CoverageQuestion, answer
from recommend.coverage.split import WAYS
from recommend.errors import RecommendError, nearest
from recommend.rulebook import load_rulebook
from recommend.rulebook.book import Rulebook
from recommend.show.console import stages
from recommend.show.coverage import print_coverage
from recommend.show.plots import check_picture, draw_heat_map

SoldOutOption = Annotated[
    bool, typer.Option("--sold-out-counts", help="Count sizes that are made but sold out.")
]


@dataclass(frozen=True, kw_only=True)
class BuyerOptions:
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

    def opened(self, customers: Callable[[Rulebook], int], **more: Any) -> OpenedShop:
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
        return OpenedShop(whole, CoverageQuestion(book, here, crowd, sold=self.sold, **more))


@dataclass(frozen=True, slots=True)
class OpenedShop:
    """A question, and the catalogue before the stock of one shop was put into it."""

    whole: Catalogue
    question: CoverageQuestion


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


USUAL_SPLIT = "foot-type,size"
Number = Literal["served", "share", "choices", "products", "prices", "stock"]


@dataclass(frozen=True, kw_only=True)
class CoverageAsked(BuyerOptions):
    """Options of `coverage`, as they were given."""

    sold_out_counts: SoldOutOption = False
    against: Annotated[
        Path | None,
        typer.Option(help="Another catalogue: what is won and lost against it, by foot type."),
    ] = None
    against_rules: Annotated[
        Path | None,
        typer.Option(help="Another rulebook: what is won and lost against it, by foot type."),
    ] = None
    split: Annotated[
        str | None,
        typer.Option(
            help="What the matrix splits customers by: any two of " + ", ".join(WAYS) + "."
        ),
    ] = None
    matrix: Annotated[Number | None, typer.Option(help="Which number the matrix shows.")] = None
    sensitivity: Annotated[bool, typer.Option(help="Also try other assumptions.")] = True
    picture: Annotated[
        Path | None, typer.Option(help="Draw the matrix as a heat map: FILE.svg, .png or .pdf.")
    ] = None
    csv: Annotated[Path | None, typer.Option(help="Write the matrix to FILE.csv.")] = None
    force: Force = False
    as_json: AsJson = False


@taking
def coverage(asked: CoverageAsked) -> None:
    """Show which feet a catalogue serves, which it does not, and why.

    Example: recommend coverage --customers 20000
    """
    if asked.against and asked.against_rules:
        raise RecommendError("--against and --against-rules exclude each other; ask one at a time")
    if asked.picture:
        check_picture(asked.picture, force=asked.force)
    opened = asked.opened(
        lambda book: book.parameters.coverage.customers,
        sold_out_counts=asked.sold_out_counts,
        sensitivity=asked.sensitivity,
        by=_two_ways(asked.split or USUAL_SPLIT),
        against_rules=load_rulebook(asked.against_rules) if asked.against_rules else None,
    )
    question, whole = opened.question, opened.whole
    if asked.stock and not asked.shop:
        question = replace(question, shops=read_shops(asked.stock, whole))
    if asked.against:
        other = load_catalogue(asked.against, question.book.attributes)
        question = replace(question, against=other)
    with connected(asked.cluster), stages() as stage:
        run = answer(question, stage)
    if asked.picture:
        draw_heat_map(run, asked.picture, force=asked.force)
    if asked.csv:
        write_csv(run, asked.csv, force=asked.force)
    if asked.as_json:
        print_json(as_document(run))
    else:
        wanted = bool(asked.matrix or asked.split)
        print_coverage(run, asked.matrix or "served", matrix_asked=wanted, full=asked.full)


def _two_ways(by: str) -> tuple[str, str]:
    """The two ways of ``--split``, down and across; there are too many foot types to go across."""
    ways = [word.strip() for word in by.split(",")]
    strange = [word for word in ways if word not in WAYS]
    if strange or len(ways) != 2 or ways[0] == ways[1]:
        hint = nearest(strange[0], WAYS) if strange else "name two, such as purpose,size"
        raise RecommendError(f"--split is `{by}`; allowed: two of {', '.join(WAYS)}; {hint}")
    down, across = ways if ways[1] != "foot-type" else reversed(ways)
    return down, across
