"""`recommend gaps`, `order` and `import`: what to stock next, how much of it, and lists of it."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from recommend.catalogue.importing import Imported, RowsError, import_csv, read_list, write_products
from recommend.catalogue.shop import open_rulebook
from recommend.catalogue.stacking import read_counts
from recommend.cluster import connected
from recommend.commands.coverage import BuyerOptions, SoldOutOption
from recommend.commands.options import AsJson, Force, RulesFolder, print_json, taking
from recommend.coverage.as_json import plain
from recommend.coverage.briefs import find_gaps, whole_sizes
from recommend.coverage.orders import Demand, demand_of, orders_for, with_sales
from recommend.coverage.run import CoverageQuestion, Stage, unstated_lines
from recommend.coverage.stocking import choose, drop
from recommend.errors import RecommendError, counted
from recommend.output import table, write_output
from recommend.show.console import bullet, console, print_blocks, print_byline, stages
from recommend.show.gaps import dropping_blocks, print_gaps, print_orders, stocking_blocks

Answer = tuple[Any, Callable[[], None]]  # what is found, and what shows it


@dataclass(frozen=True, kw_only=True)
class GapsAsked(BuyerOptions):
    """Options of `gaps`, as they were given."""

    sold_out_counts: SoldOutOption = False
    thin: Annotated[
        bool, typer.Option("--thin", help="Aim at customers who are served but have little choice.")
    ] = False
    season: Annotated[
        int | None,
        typer.Option(min=1, max=10**7, help="Say how many pieces so many customers ask for."),
    ] = None
    briefs: Annotated[int, typer.Option(min=1, max=50, help="Most buying briefs.")] = 5
    candidates: Annotated[
        Path | None,
        typer.Option(help="A supplier's list (YAML, or CSV with --mapping) to choose from."),
    ] = None
    mapping: Annotated[
        Path | None, typer.Option(help="How the columns of a CSV list become attributes.")
    ] = None
    lines: Annotated[int | None, typer.Option(min=1, help="Choose at most so many candidates.")] = (
        None
    )
    budget: Annotated[
        float | None, typer.Option(min=0, help="Choose candidates for at most so much money.")
    ] = None
    drop: Annotated[
        int | None, typer.Option(min=1, help="Tell which lines of the catalogue can go.")
    ] = None
    as_json: AsJson = False

    def check(self) -> None:
        """Refuse options that exclude or lack each other."""
        limits = (self.lines, self.budget)
        if self.candidates and self.drop is not None:
            raise RecommendError("--candidates and --drop exclude each other; ask one at a time")
        if self.candidates and limits.count(None) != 1:
            raise RecommendError("--candidates needs one of --lines N and --budget MONEY")
        if not self.candidates and limits != (None, None):
            raise RecommendError(
                "--lines and --budget choose from a list; name it with --candidates"
            )


@taking
def gaps(asked: GapsAsked) -> None:
    """Say what would serve the customers who are not served, as buying briefs.

    With --candidates it chooses from a supplier's list, with --drop it tells what can go.

    Example: recommend gaps --customers 10000 --briefs 3
    """
    asked.check()
    question = asked.opened(
        lambda book: book.parameters.coverage.gap_customers, sold_out_counts=asked.sold_out_counts
    ).question
    book, listed = question.book, None
    if asked.candidates:
        listed = read_list(asked.candidates, asked.mapping, book.attributes, book.parameters)
    with connected(asked.cluster), stages() as stage:
        if listed:
            found, show = _chosen(question, stage, listed, asked)
        elif asked.drop is not None:
            found, show = _dropped(question, stage, asked.drop)
        else:
            found, show = _briefs(question, stage, asked)
    if asked.as_json:
        print_json(plain(found))
        return
    show()
    if listed or asked.drop is not None:
        print_byline(book)


def _chosen(question: CoverageQuestion, stage: Stage, listed: Imported, asked: GapsAsked) -> Answer:
    """Lines of a supplier's list."""
    assessor = question.assessor(more=listed.items)
    tally = question.tally(assessor, stage)
    stage("choosing lines")
    found = choose(assessor, question.catalogue, listed.items, assessor.kinds(tally),
                   tally.customers, lines=asked.lines, budget=asked.budget)  # fmt: skip
    return found, lambda: print_blocks(stocking_blocks(found, listed.currency))


def _dropped(question: CoverageQuestion, stage: Stage, count: int) -> Answer:
    """Lines of the catalogue that can go."""
    assessor = question.assessor()
    tally = question.tally(assessor, stage)
    stage("looking for lines that can go")
    found = drop(assessor, question.catalogue, assessor.kinds(tally), tally, count)
    return found, lambda: print_blocks(dropping_blocks(found))


def _briefs(question: CoverageQuestion, stage: Stage, asked: GapsAsked) -> Answer:
    """Products to look for."""
    book = question.book
    assessor = question.assessor(more=(whole_sizes(book.parameters.coverage.size_step),))
    tally = question.tally(assessor, stage)
    found = find_gaps(assessor, question.catalogue, assessor.kinds(tally), tally.customers,
                      thin=asked.thin, most=asked.briefs, progress=stage("searching"))  # fmt: skip
    return found, lambda: print_gaps(found, question, asked.thin, asked.season, full=asked.full)


@dataclass(frozen=True, kw_only=True)
class OrderAsked(BuyerOptions):
    """Options of `order`, as they were given."""

    season: Annotated[int, typer.Option(min=1, max=10**7, help="Customers expected in the season.")]
    service: Annotated[
        float | None,
        typer.Option(min=0, max=0.999, help="Chance that a size lasts the season."),
    ] = None
    budget: Annotated[
        float | None, typer.Option(min=0, help="Order for at most so much money.")
    ] = None
    sales: Annotated[
        Path | None,
        typer.Option(help="Pieces sold in a season like it: CSV, product, size, count."),
    ] = None
    as_json: AsJson = False


@taking
def order(asked: OrderAsked) -> None:
    """Say how many pieces of what is there to order in which size, for a season.

    Example: recommend order --season 400 --customers 5000
    """
    opened = asked.opened(lambda book: book.parameters.coverage.gap_customers)
    question, book = opened.question, opened.question.book
    here, assessor = question.catalogue, question.assessor()
    with connected(asked.cluster), stages() as stage:
        tally = question.tally(assessor, stage)
        modelled = demand_of(assessor, here, assessor.kinds(tally), tally.customers, asked.season)
    demand = {key: Demand(mean) for key, mean in modelled.items()}
    if asked.sales:
        items = {item.id: item for item in opened.whole.items}
        counts = read_counts(asked.sales, items, asked.shop)
        demand = with_sales(modelled, counts, book.parameters.orders.prior)
    level = book.parameters.orders.service if asked.service is None else asked.service
    found = orders_for(here, demand, book.parameters, service=level, budget=asked.budget)
    if asked.as_json:
        print_json(plain(found))
    else:
        print_orders(found, here, book, asked.season, level, full=asked.full)


def import_list(
    supplier_list: Annotated[Path, typer.Argument(metavar="LIST", help="The list, CSV in UTF-8.")],
    mapping: Annotated[Path, typer.Option(help="How its columns become attributes.")],
    into: Annotated[Path, typer.Option(help="The catalogue file to write (YAML).")],
    rules: RulesFolder = None,
    faults: Annotated[
        Path | None,
        typer.Option(help="Write every fault to this file (CSV), where rows cannot be used."),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Overwrite the file.")] = False,
    force: Force = False,
) -> None:
    """Read a supplier's list by a mapping file, and write it as a catalogue file.

    Every row that cannot be used is named; then nothing is written. What the list does not state
    and rules need is said first, with what that does to coverage.

    Example: recommend import catalogue_demo/supplier/list.csv --mapping
    catalogue_demo/supplier/mapping.yaml --into supplier.yaml
    """
    book = open_rulebook(rules)
    try:
        imported = import_csv(supplier_list, mapping, book.attributes, book.parameters)
    except RowsError as error:
        if faults:
            _write_faults(faults, error, force=force)
        raise
    for line in unstated_lines(imported.items, book):
        console().print(bullet(line))
    if not into.parent.exists():
        into.parent.mkdir(parents=True)
    write_products(imported, into, replace=replace, force=force)
    print(f"{counted(len(imported.items), 'product')} written to {into}")


def _write_faults(path: Path, error: RowsError, *, force: bool) -> None:
    """Every fault of the list, a line each."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["line", "found", "allowed", "mend"])
    for one in error.problems:
        writer.writerow([one.place.line, one.found, one.allowed, one.mend])
    write_output(path, text.getvalue(), table("line"), force=force)
