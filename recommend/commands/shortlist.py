"""`recommend shortlist`: a measured visit in, a reasoned shortlist out."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.cli import single
from recommend.commands.options import StorePath
from recommend.errors import Exit, RecommendError
from recommend.match.outcome import Outcome, as_document, outcome_of
from recommend.measure.named import read_measured_visit
from recommend.settings import setting
from recommend.show.console import console
from recommend.show.shortlist import print_outcome

if TYPE_CHECKING:
    from recommend.trail.redraw import HowSure
    from recommend.trial.learned import LearnedList


def shortlist(
    visit: Annotated[Path, typer.Argument(help="the visit file (YAML or JSON)")],
    catalogue: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FOLDER", help="folder of a catalogue, may be repeated; else as in `setup show`"
        ),
    ] = None,
    rules: Annotated[
        Path | None, typer.Option(help="folder of the rulebook; else as in `setup show`")
    ] = None,
    learned: Annotated[
        Path | None,
        typer.Option(metavar="KEPT", help="heed effects learned from these visits (folder, store)"),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print the same as JSON")] = False,
    keep: Annotated[
        bool | None,
        typer.Option("--keep/--no-keep", help="keep it as a record; as in `setup show`"),
    ] = None,
    store: StorePath = None,
) -> None:
    """Turn a measured visit into a ranked shortlist with reasons.

    Exit code 3 when a stop withholds the shortlist, 4 when nothing suitable is in stock.

    Example: recommend shortlist catalogue_demo/visits/pronated.yaml
    """
    keeps = keep if keep is not None else setting("keep").value == "yes"
    if keep and learned:
        raise RecommendError("a shortlist with --learned cannot be kept: leave one of the two out")
    if store is not None and (learned or not keeps):
        mend = "leave it out, as --learned is not kept" if learned else "add --keep"
        raise RecommendError(f"--store names where to keep, but nothing would be kept: {mend}")
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
    if keeps and not learned:
        print(_keep(outcome, store), file=sys.stderr)
    if outcome.shortlist is None:
        raise typer.Exit(Exit.STOP)
    if outcome.shortlist.empty:
        raise typer.Exit(Exit.NOTHING_SUITABLE)


# What learned effects need is imported where it is used: the shortlist mostly starts without it.


def _heeded(outcome: Outcome, folder: Path) -> LearnedList | None:
    from recommend.trial.kept import kept_visits
    from recommend.trial.learned import with_learned
    from recommend.trial.shop import shop_of

    return with_learned(
        outcome, shop_of(kept_visits(folder, outcome.book), outcome.book, outcome.catalogue)
    )


def _document(outcome: Outcome, heeded: LearnedList | None) -> dict[str, Any]:
    if heeded is None:
        from recommend.show.sure import sure_data

        sure = _sure(outcome)
        return as_document(outcome) | {"how-sure": sure_data(sure) if sure else None}
    from recommend.show.learned import as_document as learned_document

    return as_document(outcome) | {"learned": learned_document(heeded)}


def _print(outcome: Outcome, heeded: LearnedList | None) -> None:
    out = console()
    if heeded is None:
        print_outcome(outcome, out)
        _print_sure(outcome)
        return
    from recommend.show.learned import print_expected, print_notice

    print_notice(heeded, out)
    print_outcome(outcome, out)
    print_expected(heeded, outcome.book, out)


def _sure(outcome: Outcome) -> HowSure | None:
    """How sure the outcome is; None when a stop withholds the shortlist."""
    if outcome.shortlist is None:
        return None
    from recommend.trail.sureness import sureness

    return sureness(outcome)


def _print_sure(outcome: Outcome) -> None:
    sure = _sure(outcome)
    if sure is not None:
        from recommend.show.sure import sure_line

        console().print(f"\n{sure_line(sure, outcome.book)}")


def _keep(outcome: Outcome, given: Path | None) -> str:
    """Keep an outcome as a record; what to tell of it."""
    from recommend.trail.database import store_path
    from recommend.trail.keeping import entry_of
    from recommend.trail.store import Store

    with Store(store_path(given), write=True) as opened:
        kept = opened.append(entry_of(outcome))
    return f"Kept as record {kept.seq}, SHA-256 {kept.hash[:12]}: recommend explain {kept.seq}"


app = single(shortlist)
