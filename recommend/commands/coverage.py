"""`recommend coverage`: which feet does the catalogue serve."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Literal

import typer

from recommend.catalogue import load_catalogue
from recommend.catalogue.stacking import read_shops
from recommend.cluster import connected
from recommend.commands.buyer import Asked, SoldOutOption
from recommend.commands.options import AsJson, Force, print_json, taking
from recommend.coverage.as_json import as_document, write_csv
from recommend.coverage.run import answer
from recommend.coverage.split import WAYS
from recommend.errors import RecommendError, nearest
from recommend.rulebook import load_rulebook
from recommend.show.console import stages
from recommend.show.coverage import print_coverage
from recommend.show.plots import check_picture, draw_heat_map

USUAL_SPLIT = "foot-type,size"
Number = Literal["served", "share", "choices", "products", "prices", "stock"]


@dataclass(frozen=True, kw_only=True)
class CoverageAsked(Asked):
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
