"""`recommend order`: how many pieces to order in which size."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Optional

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.catalogue.stacking import read_counts
from recommend.commands import single
from recommend.commands.buyer import (
    CatalogueOption,
    ClusterOption,
    CustomersOption,
    JsonOption,
    PopulationOption,
    RulesOption,
    SeedOption,
    ShopOption,
    SoldOption,
    StockOption,
    VisitsOption,
    stocked,
)
from recommend.coverage.cluster import connected
from recommend.coverage.crowd import crowd_of
from recommend.coverage.document import plain
from recommend.coverage.orders import Demand, demand_of, orders_for, with_sales
from recommend.coverage.run import Question
from recommend.show.bar import stages
from recommend.show.console import console
from recommend.show.gaps import print_orders

SeasonOption = Annotated[
    int, typer.Option("--season", min=1, help="Customers expected in the season.")
]
ServiceOption = Annotated[
    Optional[float],  # noqa: UP045 - the option parser reads this spelling
    typer.Option("--service", min=0, max=0.999, help="Chance that a size lasts the season."),
]
MoneyOption = Annotated[
    Optional[float],  # noqa: UP045
    typer.Option("--budget", min=0, help="Order for at most so much money."),
]
SalesOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option("--sales", help="Pieces sold in a season like it: CSV, product, size, count."),
]


def order(
    season: SeasonOption,
    catalogue: CatalogueOption = None,
    rules: RulesOption = None,
    visits: VisitsOption = None,
    population: PopulationOption = None,
    customers: CustomersOption = None,
    seed: SeedOption = 1,
    sold: SoldOption = "pair",
    service: ServiceOption = None,
    budget: MoneyOption = None,
    sales: SalesOption = None,
    stock: StockOption = None,
    shop: ShopOption = None,
    cluster: ClusterOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say how many pieces of what is there to order in which size, for a season.

    Example: recommend order --season 400 --customers 5000
    """
    book = open_rulebook(rules)
    count = customers or book.parameters.coverage.gap_customers
    whole = open_catalogue(book, catalogue)
    here = stocked(whole, stock, shop)
    question = Question(book, here, crowd_of(book, visits, population, count, seed), sold)
    assessor = question.assessor()
    with connected(cluster), stages() as stage:
        tally = question.tally(assessor, stage)
        kinds = assessor.kinds(tally)
        modelled = demand_of(assessor, here, kinds, tally.customers, season)
        demand = {key: Demand(mean) for key, mean in modelled.items()}
        if sales:
            items = {item.id: item for item in whole.items}
            counts = read_counts(sales, items, shop)
            demand = with_sales(modelled, counts, book.parameters.orders.prior)
        level = book.parameters.orders.service if service is None else service
        found = orders_for(here, demand, book.parameters, service=level, budget=budget)
    if as_json:
        print(json.dumps(plain(found), indent=2, ensure_ascii=False))
    else:
        print_orders(found, here.currency, book, season, level, console())


app = single(order)
