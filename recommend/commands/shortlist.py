"""`recommend shortlist`: a measured visit in, a reasoned shortlist out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from recommend.catalogue import load_catalogue
from recommend.cli import single
from recommend.errors import Exit
from recommend.match.outcome import as_document, outcome_of
from recommend.rulebook import load_rulebook, shipped_folder
from recommend.show.console import console
from recommend.show.shortlist import print_outcome
from recommend.visit import read_visit


def shortlist(
    visit: Annotated[Path, typer.Argument(help="the visit file (YAML or JSON)")],
    catalogue: Annotated[
        Path | None, typer.Option(help="folder of the catalogue; the demo when not given")
    ] = None,
    rules: Annotated[
        Path | None, typer.Option(help="folder of the rulebook; the shipped one when not given")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print the same as JSON")] = False,
) -> None:
    """Turn a measured visit into a ranked shortlist with reasons.

    Exit code 3 when a stop withholds the shortlist, 4 when nothing suitable is in stock.

    Example: recommend shortlist catalogue_demo/visits/pronated.yaml
    """
    book = load_rulebook(rules or shipped_folder("rules"))
    seen = read_visit(visit, book.questions)
    products = load_catalogue(catalogue or shipped_folder("catalogue_demo"), book.attributes)
    outcome = outcome_of(seen, book, products)
    if as_json:
        print(json.dumps(as_document(outcome), indent=2, ensure_ascii=False))
    else:
        print_outcome(outcome, console())
    if outcome.shortlist is None:
        raise typer.Exit(Exit.STOP)
    if outcome.shortlist.empty:
        raise typer.Exit(Exit.NOTHING_SUITABLE)


app = single(shortlist)
