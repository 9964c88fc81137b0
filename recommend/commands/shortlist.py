"""`recommend shortlist`: a measured visit in, a reasoned shortlist out."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.cli import single
from recommend.errors import Exit
from recommend.match.outcome import Outcome, as_document, outcome_of
from recommend.measure.named import read_measured_visit
from recommend.show.console import console
from recommend.show.shortlist import print_outcome

if TYPE_CHECKING:
    from recommend.trial.learned import LearnedList


def shortlist(
    visit: Annotated[Path, typer.Argument(help="the visit file (YAML or JSON)")],
    catalogue: Annotated[
        list[Path] | None,
        typer.Option(help="folder of a catalogue, may be repeated; else as in `setup show`"),
    ] = None,
    rules: Annotated[
        Path | None, typer.Option(help="folder of the rulebook; else as in `setup show`")
    ] = None,
    learned: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="heed effects learned from the kept visits in here"),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print the same as JSON")] = False,
) -> None:
    """Turn a measured visit into a ranked shortlist with reasons.

    Exit code 3 when a stop withholds the shortlist, 4 when nothing suitable is in stock.

    Example: recommend shortlist catalogue_demo/visits/pronated.yaml
    """
    book = open_rulebook(rules)
    seen = read_measured_visit(visit, book.questions, book.parameters, book.measures)
    products = open_catalogue(book, catalogue)
    outcome = outcome_of(seen, book, products)
    heeded = _heeded(outcome, learned) if learned else None
    if heeded:
        outcome = replace(outcome, shortlist=heeded.shortlist)
    if as_json:
        print(json.dumps(_document(outcome, heeded), indent=2, ensure_ascii=False))
    else:
        _print(outcome, heeded)
    if outcome.shortlist is None:
        raise typer.Exit(Exit.STOP)
    if outcome.shortlist.empty:
        raise typer.Exit(Exit.NOTHING_SUITABLE)


# What learned effects need is imported where it is used: the shortlist mostly starts without it.


def _heeded(outcome: Outcome, folder: Path) -> LearnedList | None:
    from recommend.trial.kept import visits_in
    from recommend.trial.learned import with_learned
    from recommend.trial.shop import shop_of

    return with_learned(outcome, shop_of(visits_in(folder), outcome.book, outcome.catalogue))


def _document(outcome: Outcome, heeded: LearnedList | None) -> dict[str, Any]:
    if heeded is None:
        return as_document(outcome)
    from recommend.show.learned import as_document as learned_document

    return as_document(outcome) | {"learned": learned_document(heeded)}


def _print(outcome: Outcome, heeded: LearnedList | None) -> None:
    out = console()
    if heeded is None:
        print_outcome(outcome, out)
        return
    from recommend.show.learned import print_expected, print_notice

    print_notice(heeded, out)
    print_outcome(outcome, out)
    print_expected(heeded, outcome.book, out)


app = single(shortlist)
