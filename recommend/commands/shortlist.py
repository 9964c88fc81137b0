"""`recommend shortlist`: a measured visit in, a reasoned shortlist out."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import RenderableType
from rich.text import Text

from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.commands import single
from recommend.commands.options import StorePath, VisitName, asked_sections, visit_file
from recommend.errors import Exit, RecommendError
from recommend.match.outcome import Outcome, as_document
from recommend.measure.named import read_measured_visit
from recommend.settings import setting
from recommend.show.answer import answer_lines
from recommend.show.console import console, print_paged
from recommend.show.shortlist import SECTIONS, section_blocks
from recommend.way import outcome_of

if TYPE_CHECKING:
    from recommend.trial.learned import LearnedList
    from recommend.whatif.redraw import HowSure


SURE = "sure"  # how sure it all is, from redraws


def shortlist(
    visit: VisitName,
    show: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SECTION",
            help="show this part instead, may be repeated: " + ", ".join(SECTIONS) + ", sure",
        ),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="show all of it")] = False,
    pager: Annotated[
        bool, typer.Option("--pager/--no-pager", help="open what is longer than the screen in it")
    ] = True,
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
    """Turn a measured visit into a ranked shortlist with reasons: one screen, more on request.

    Exit code 3 when a stop withholds the shortlist, 4 when nothing suitable is in stock.

    Example: recommend shortlist catalogue_demo/visits/pronated.yaml
    """
    keeps = keep if keep is not None else setting("keep").value == "yes"
    if keep and learned:
        raise RecommendError("a shortlist with --learned cannot be kept: leave one of the two out")
    if store is not None and (learned or not keeps):
        mend = "leave it out, as --learned is not kept" if learned else "add --keep"
        raise RecommendError(f"--store names where to keep, but nothing would be kept: {mend}")
    sections = asked_sections(show or [], (*SECTIONS, SURE), full)
    book = open_rulebook(rules)
    seen = read_measured_visit(
        visit_file(visit), book.questions, book.parameters, book.measures, book.purposes
    )
    products = open_catalogue(book, catalogue)
    outcome = outcome_of(seen, book, products)
    heeded = _heeded(outcome, learned) if learned else None
    if heeded:
        outcome = replace(outcome, shortlist=heeded.shortlist)
    if as_json:
        print(json.dumps(_document(outcome, heeded), indent=2, ensure_ascii=False))
    else:
        print_paged(_shown(outcome, heeded, sections, visit), pager=pager)
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
        from recommend.library import shortlist_document

        return shortlist_document(outcome)
    from recommend.show.learned import as_document as learned_document

    return as_document(outcome) | {"learned": learned_document(heeded)}


def _shown(
    outcome: Outcome, heeded: LearnedList | None, sections: Sequence[str], called: str
) -> Iterator[RenderableType]:
    width = console().width
    if heeded is not None:
        from recommend.show.learned import expected_blocks, notice_blocks

        yield from notice_blocks(heeded)
    if not sections:
        yield from answer_lines(outcome, None if heeded else _sure(outcome), width, called)
    else:
        yield from section_blocks(outcome, sections, width)
        if SURE in sections and heeded is None:
            yield from _sure_blocks(outcome)
    if heeded is not None:
        yield from expected_blocks(heeded, outcome.book)


def _sure_blocks(outcome: Outcome) -> Iterator[RenderableType]:
    sure = _sure(outcome)
    if sure is not None:
        from recommend.show.sure import sure_line

        yield Text(f"\n{sure_line(sure, outcome.book)}")


def _sure(outcome: Outcome) -> HowSure | None:
    """How sure the outcome is; None when a stop withholds the shortlist."""
    if outcome.shortlist is None:
        return None
    from recommend.whatif.sureness import sureness

    return sureness(outcome)


def _keep(outcome: Outcome, given: Path | None) -> str:
    """Keep an outcome as a record; what to tell of it."""
    from recommend.records.database import store_path
    from recommend.records.keeping import entry_of
    from recommend.records.store import Store

    with Store(store_path(given), write=True) as opened:
        kept = opened.append(entry_of(outcome))
    return f"Kept as record {kept.seq}, SHA-256 {kept.hash[:12]}: recommend explain {kept.seq}"


app = single(shortlist)
