"""`recommend coverage`: which feet does the catalogue serve."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Literal, Optional

import typer

from recommend.catalogue import load_catalogue
from recommend.catalogue.stacking import read_shops
from recommend.cluster import connected
from recommend.commands import single
from recommend.commands.buyer import Asked, SoldOutOption, asking
from recommend.commands.options import AsJson, Force
from recommend.coverage.as_json import as_document, write_csv
from recommend.coverage.run import answer
from recommend.coverage.split import WAYS
from recommend.errors import RecommendError, nearest
from recommend.rulebook import load_rulebook
from recommend.show.console import stages
from recommend.show.coverage import print_coverage
from recommend.show.heat_map import check_picture, draw_heat_map

AgainstOption = Annotated[
    Optional[Path],  # noqa: UP045 - the option parser reads this spelling
    typer.Option(help="Another catalogue: what is won and lost against it, by foot type."),
]
AgainstRulesOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(help="Another rulebook: what is won and lost against it, by foot type."),
]
MatrixOption = Annotated[
    Optional[Literal["served", "share", "choices", "products", "prices", "stock"]],  # noqa: UP045
    typer.Option(help="Which number the matrix shows."),
]
SensitivityOption = Annotated[bool, typer.Option(help="Also try other assumptions.")]
USUAL_SPLIT = "foot-type,size"
SplitOption = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option(help="What the matrix splits customers by: any two of " + ", ".join(WAYS) + "."),
]
PictureOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(help="Draw the matrix as a heat map: FILE.svg, .png or .pdf."),
]
CsvOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(help="Write the matrix to FILE.csv."),
]


@asking
def coverage(
    asked: Asked,
    sold_out_counts: SoldOutOption = False,
    against: AgainstOption = None,
    against_rules: AgainstRulesOption = None,
    split: SplitOption = None,
    matrix: MatrixOption = None,
    sensitivity: SensitivityOption = True,
    picture: PictureOption = None,
    csv: CsvOption = None,
    force: Force = False,
    as_json: AsJson = False,
) -> None:
    """Show which feet a catalogue serves, which it does not, and why.

    Example: recommend coverage --customers 20000
    """
    if against and against_rules:
        raise RecommendError("--against and --against-rules exclude each other; ask one at a time")
    if picture:
        check_picture(picture, force=force)
    opened = asked.opened(
        lambda book: book.parameters.coverage.customers,
        sold_out_counts=sold_out_counts,
        sensitivity=sensitivity,
        by=_two_ways(split or USUAL_SPLIT),
        against_rules=load_rulebook(against_rules) if against_rules else None,
    )
    question, whole = opened.question, opened.whole
    if asked.stock and not asked.shop:
        question = replace(question, shops=read_shops(asked.stock, whole))
    if against:
        other = load_catalogue(against, question.book.attributes)
        question = replace(question, against=other)
    with connected(asked.cluster), stages() as stage:
        run = answer(question, stage)
    if picture:
        draw_heat_map(run, picture, force=force)
    if csv:
        write_csv(run, csv, force=force)
    if as_json:
        print(json.dumps(as_document(run), indent=2, ensure_ascii=False))
    else:
        print_coverage(run, matrix or "served", matrix_asked=bool(matrix or split), full=asked.full)


def _two_ways(by: str) -> tuple[str, str]:
    """The two ways of ``--split``, down and across; there are too many foot types to go across."""
    ways = [word.strip() for word in by.split(",")]
    strange = [word for word in ways if word not in WAYS]
    if strange or len(ways) != 2 or ways[0] == ways[1]:
        hint = nearest(strange[0], WAYS) if strange else "name two, such as purpose,size"
        raise RecommendError(f"--split is `{by}`; allowed: two of {', '.join(WAYS)}; {hint}")
    down, across = ways if ways[1] != "foot-type" else reversed(ways)
    return down, across


app = single(coverage)
