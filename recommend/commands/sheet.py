"""`recommend sheet`: the page that the customer takes home."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.commands import single
from recommend.commands.options import (
    CatalogueFolders,
    Force,
    Keep,
    RulesFolder,
    StorePath,
    VisitName,
    visit_file,
)
from recommend.door import visible
from recommend.errors import Exit
from recommend.measure.named import read_measured_visit
from recommend.output import PAGE, refuse_other_kinds, write_output
from recommend.reading import read_document
from recommend.records.canonical import sha256
from recommend.records.database import store_path
from recommend.records.keeping import entry_of, keep_event, keeps, kept_words, last_kept
from recommend.records.witness import printed
from recommend.settings import setting
from recommend.show.sheet import Paper, Wording, messages, page, sheet_of
from recommend.trial.heeding import TRIED, heeding, tried
from recommend.trial.whole_trial import trial_outcome
from recommend.visit import Visit
from recommend.visit.shelf import Shelf
from recommend.way import outcome_of


def sheet(
    visit: VisitName,
    to: Annotated[
        Path | None, typer.Option(metavar="FILE", help="write here; default: VISIT with .html")
    ] = None,
    chosen: Annotated[
        str, typer.Option(metavar="SHOE+INSOLE", help="what was chosen; default: the best tried")
    ] = "",
    language: Annotated[str | None, typer.Option(help="language: en or de")] = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="size of the paper")] = "a4",
    large: Annotated[bool, typer.Option("--large", help="large letters")] = False,
    shop: Annotated[str | None, typer.Option(help="the shop's name on the page")] = None,
    force: Force = False,
    catalogue: CatalogueFolders = None,
    rules: RulesFolder = None,
    keep: Keep = None,
    store: StorePath = None,
) -> None:
    """Write the customer's page: measured, meaning, choice, wearing in, when to see a clinician.

    One HTML file to print or send, with nothing to fetch and no script. The shop's name and the
    language come from the settings when not given. Exit code 3 when a stop stands on the page.

    Example: recommend sheet catalogue_demo/trials/three-much-alike.yaml --to page.html
    """
    refuse_other_kinds(to, PAGE, force=force)
    wording = Wording(setting("language", language).value, messages())
    book = open_rulebook(rules)
    products = open_catalogue(book, catalogue)
    file = visit_file(visit)
    seen = read_measured_visit(file, book.questions, book.parameters, book.measures, book.purposes)
    judged = trial_outcome(outcome_of(seen, book, products), read_document(file))
    made = sheet_of(judged, chosen or _decided(seen))
    target = to or file.with_suffix(".html")
    heeds = {TRIED: None} if tried(judged.outcome) else {}
    outcome = heeding(judged.outcome, judged) if heeds else judged.outcome
    last = None
    if keeps(keep) and setting("page-witness").value == "yes":
        newest = last_kept(store_path(store), seen, lambda: entry_of(outcome, heeds=heeds))
        last = (newest.seq, newest.made_at[:10], printed(newest))
    text = page(made, wording, setting("shop", shop).value or "", Paper(paper, large), last)
    write_output(target, text, PAGE, private=True, force=force)
    typer.echo(f"Written: {target}")
    Shelf(setting("visits").value).remember(seen.reference, target)
    if keeps(keep):
        told = {
            "sha256": sha256(text.encode()),
            "language": wording.code,
            "chosen": chosen or _decided(seen) or None,
            "file": visible(target.name),
            "text": text,
        }
        by = str(setting("fitter").value or "")
        kept = keep_event(
            store_path(store), seen, "page", told, by, lambda: entry_of(outcome, heeds=heeds)
        )
        typer.echo(kept_words(kept), err=True)
    if judged.shortlist is None:
        raise typer.Exit(Exit.STOP)


def _decided(visit: Visit) -> str:
    """What was chosen, as the visit says: ids joined by +; empty when it says nothing."""
    decision = visit.decision
    if decision is None or decision.outcome == "nothing":
        return ""
    return "+".join(one for one in (decision.shoe, decision.insole) if one)


app = single(sheet)
