"""`recommend order`: how many pieces to order in which size."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Optional

import typer

from recommend.catalogue.stacking import read_counts
from recommend.cluster import connected
from recommend.commands import single
from recommend.commands.buyer import Asked, asking
from recommend.commands.options import AsJson
from recommend.coverage.as_json import plain
from recommend.coverage.orders import Demand, demand_of, orders_for, with_sales
from recommend.show.console import stages
from recommend.show.gaps import print_orders

SeasonOption = Annotated[
    int, typer.Option("--season", min=1, max=10**7, help="Customers expected in the season.")
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


@asking
def order(
    asked: Asked,
    season: SeasonOption,
    service: ServiceOption = None,
    budget: MoneyOption = None,
    sales: SalesOption = None,
    as_json: AsJson = False,
) -> None:
    """Say how many pieces of what is there to order in which size, for a season.

    Example: recommend order --season 400 --customers 5000
    """
    opened = asked.opened(lambda book: book.parameters.coverage.gap_customers)
    question, book = opened.question, opened.question.book
    here, assessor = question.catalogue, question.assessor()
    with connected(asked.cluster), stages() as stage:
        tally = question.tally(assessor, stage)
        modelled = demand_of(assessor, here, assessor.kinds(tally), tally.customers, season)
    demand = {key: Demand(mean) for key, mean in modelled.items()}
    if sales:
        counts = read_counts(sales, {item.id: item for item in opened.whole.items}, asked.shop)
        demand = with_sales(modelled, counts, book.parameters.orders.prior)
    level = book.parameters.orders.service if service is None else service
    found = orders_for(here, demand, book.parameters, service=level, budget=budget)
    if as_json:
        print(json.dumps(plain(found), indent=2, ensure_ascii=False))
    else:
        print_orders(found, here, book, season, level, full=asked.full)


app = single(order)
