"""`recommend gaps`: what to stock next, and what can go."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Optional

import typer

from recommend.catalogue.importing import read_list
from recommend.catalogue.shop import open_catalogue, open_rulebook
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
    SoldOutOption,
    StockOption,
    VisitsOption,
    stocked,
)
from recommend.coverage.briefs import find_gaps, whole_sizes
from recommend.coverage.cluster import connected
from recommend.coverage.crowd import crowd_of
from recommend.coverage.document import plain
from recommend.coverage.run import Question
from recommend.coverage.stocking import choose, drop
from recommend.errors import RecommendError
from recommend.show.bar import stages
from recommend.show.console import console
from recommend.show.gaps import print_dropping, print_gaps, print_stocking

ThinOption = Annotated[
    bool, typer.Option("--thin", help="Aim at customers who are served but have little choice.")
]
SeasonOption = Annotated[
    Optional[int],  # noqa: UP045 - the option parser reads this spelling
    typer.Option("--season", min=1, help="Say how many pieces so many customers ask for."),
]
BriefsOption = Annotated[int, typer.Option(min=1, max=50, help="Most buying briefs.")]
CandidatesOption = Annotated[
    Optional[Path],  # noqa: UP045 - the option parser reads this spelling
    typer.Option(help="A supplier's list (YAML, or CSV with --mapping) to choose from."),
]
MappingOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(help="How the columns of a CSV list become attributes."),
]
LinesOption = Annotated[
    Optional[int],  # noqa: UP045
    typer.Option(min=1, help="Choose at most so many candidates."),
]
BudgetOption = Annotated[
    Optional[float],  # noqa: UP045
    typer.Option(min=0, help="Choose candidates for at most so much money."),
]
DropOption = Annotated[
    Optional[int],  # noqa: UP045
    typer.Option("--drop", min=1, help="Tell which lines of the catalogue can go."),
]


def gaps(
    catalogue: CatalogueOption = None,
    rules: RulesOption = None,
    visits: VisitsOption = None,
    population: PopulationOption = None,
    customers: CustomersOption = None,
    seed: SeedOption = 1,
    sold: SoldOption = "pair",
    sold_out_counts: SoldOutOption = False,
    stock: StockOption = None,
    shop: ShopOption = None,
    cluster: ClusterOption = None,
    thin: ThinOption = False,
    season: SeasonOption = None,
    briefs: BriefsOption = 5,
    candidates: CandidatesOption = None,
    mapping: MappingOption = None,
    lines: LinesOption = None,
    budget: BudgetOption = None,
    drop_lines: DropOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what would serve the customers who are not served, as buying briefs.

    With --candidates it chooses from a supplier's list, with --drop it tells what can go.

    Example: recommend gaps --customers 10000 --briefs 3
    """
    _check(candidates, lines, budget, drop_lines)
    book = open_rulebook(rules)
    whole = open_catalogue(book, catalogue)
    count = customers or book.parameters.coverage.gap_customers
    question = Question(
        book=book,
        catalogue=stocked(whole, stock, shop),
        crowd=crowd_of(book, visits, population, count, seed),
        sold=sold,
        sold_out_counts=sold_out_counts,
    )
    listed = (
        read_list(candidates, mapping, book.attributes, book.parameters) if candidates else None
    )
    finer = () if listed or drop_lines else (whole_sizes(book.parameters.coverage.size_step),)
    assessor = question.assessor(more=listed.items if listed else finer)
    here = question.catalogue
    with connected(cluster), stages() as stage:
        tally = question.tally(assessor, stage)
        kinds, counted = assessor.kinds(tally), tally.customers
        searching = stage("searching")
        if listed is not None:
            chosen = choose(
                assessor, here, listed.items, kinds, counted, lines=lines, budget=budget
            )
        elif drop_lines is not None:
            gone = drop(assessor, here, kinds, tally, drop_lines)
        else:
            found = find_gaps(
                assessor, here, kinds, counted, thin=thin, most=briefs, progress=searching
            )
    if listed is not None:
        _say(as_json, chosen, lambda: print_stocking(chosen, listed.currency, console()))
    elif drop_lines is not None:
        _say(as_json, gone, lambda: print_dropping(gone, console()))
    else:
        _say(
            as_json,
            found,
            lambda: print_gaps(found, question.crowd, book, console(), thin, season),
        )


def _check(
    candidates: Path | None, lines: int | None, budget: float | None, drop_lines: int | None
) -> None:
    if candidates and drop_lines is not None:
        raise RecommendError("--candidates and --drop exclude each other; ask one at a time")
    if candidates and (lines is None) == (budget is None):
        raise RecommendError("--candidates needs one of --lines N and --budget MONEY")
    if not candidates and (lines is not None or budget is not None):
        raise RecommendError("--lines and --budget choose from a list; name it with --candidates")


def _say(as_json: bool, answer: Any, show: Any) -> None:
    if as_json:
        print(json.dumps(plain(answer), indent=2, ensure_ascii=False))
    else:
        show()


app = single(gaps)
