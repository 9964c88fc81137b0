"""`recommend sheet`: the page that the customer takes home."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated, Literal

import typer

from recommend.catalogue.shop import open_catalogue, open_rulebook
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
from recommend.output import PAGE, refuse_other_kinds, write_output
from recommend.records.database import store_path
from recommend.records.documents import sha256
from recommend.records.keeping import entry_of, keep_event, keeps, kept_words, last_kept
from recommend.records.store import ToRecord
from recommend.records.verify import printed
from recommend.settings import setting
from recommend.show.labels import worn_as
from recommend.show.sheet import Paper, Wording, messages, page, sheet_of
from recommend.trial.heeding import in_order_tried
from recommend.trial.whole_trial import TrialOutcome, judged_file
from recommend.visit import Visit
from recommend.visit.shelf import Shelf


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
    file = visit_file(visit)
    judged = judged_file(file, book, open_catalogue(book, catalogue))
    seen = judged.outcome.assessment.visit
    choice = chosen or _decided(seen)
    made = sheet_of(judged, choice)
    target = to or file.with_suffix(".html")
    records = store_path(store) if keeps(keep) else None
    last = _last(records, judged) if records and setting("page-witness").value == "yes" else None
    text = page(made, wording, setting("shop", shop).value or "", Paper(paper, large), last)
    write_output(target, text, PAGE, private=True, force=force)
    typer.echo(f"Written: {target}")
    Shelf(setting("visits").value).remember(seen.reference, target)
    if records:
        told = {"language": wording.code, "chosen": choice or None}
        told |= {"file": visible(target.name), "text": text}
        _keep(records, judged, {"sha256": sha256(text.encode()), **told})
    if judged.shortlist is None:
        raise typer.Exit(Exit.STOP)


def _last(records: Path, judged: TrialOutcome) -> tuple[int, str, str]:
    """Number, day and hash of the newest record of the visit, to be printed on the page."""
    newest = last_kept(records, judged.outcome.assessment.visit, partial(_entry, judged))
    return newest.seq, newest.made_at[:10], printed(newest)


def _keep(records: Path, judged: TrialOutcome, event: dict[str, str | None]) -> None:
    """Keep the page as a record that names the shortlist it goes by."""
    visit, by = judged.outcome.assessment.visit, str(setting("fitter").value or "")
    kept = keep_event(records, visit, "page", event, by, partial(_entry, judged))
    typer.echo(kept_words(kept), err=True)


def _entry(judged: TrialOutcome) -> ToRecord:
    outcome, heeds = in_order_tried(judged)
    return entry_of(outcome, heeds=heeds)


def _decided(visit: Visit) -> str:
    """What was chosen, as the visit says: ids joined by +; empty when it says nothing."""
    decision = visit.decision
    if decision is None or decision.outcome == "nothing":
        return ""
    return worn_as(decision.shoe, decision.insole)
