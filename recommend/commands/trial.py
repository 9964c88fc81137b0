"""`recommend trial`: plan a try-on, type it, and judge the whole trial."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any, Literal

import typer
from typer.core import TyperGroup

from recommend.catalogue import Catalogue
from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.commands.completing import insoles, shoes
from recommend.commands.options import (
    CatalogueFolders,
    Force,
    Keep,
    RulesFolder,
    StorePath,
    VisitName,
    asked_sections,
    visit_file,
)
from recommend.commands.trial_step import guided_step, print_end
from recommend.errors import Exit, InputError, Place
from recommend.match.worn import OWN
from recommend.measure.capture import CaptureOptions, measure_capture
from recommend.measure.model import Side
from recommend.measure.named import read_measured_visit
from recommend.output import SVG, refuse_other_kinds, write_output
from recommend.reading import read_document
from recommend.records.database import store_path
from recommend.records.keeping import entry_of, keeps, kept_in, kept_words
from recommend.rulebook import Rulebook
from recommend.settings import setting
from recommend.show.change_picture import svg_of
from recommend.show.console import console, print_paged
from recommend.show.trial import SECTIONS, trial_blocks
from recommend.show.trial_answer import trial_names
from recommend.show.trial_plan import as_document as plan_document
from recommend.show.trial_plan import plan_lines
from recommend.trial.enter_step import (
    Entry,
    Zero,
    add_step,
    read_angle,
    read_capture,
    read_comfort,
    read_step_file,
)
from recommend.trial.heeding import TRIAL, TRIED, heeding, tried
from recommend.trial.plan import plan_of
from recommend.trial.whole_trial import TrialOutcome, as_document, trial_outcome
from recommend.visit.models import Reference
from recommend.visit.shelf import Shelf
from recommend.way import outcome_of

JUDGE = "judge"


class _JudgesByDefault(TyperGroup):
    """A group whose first word may be a visit: then it is judged."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put the usual command in front of what is none of the commands."""
        if args and args[0] not in (*self.commands, "--help"):
            args = [JUDGE, *args]
        return super().parse_args(ctx, args)


app = typer.Typer(
    cls=_JudgesByDefault, add_completion=False, rich_markup_mode=None, no_args_is_help=True
)


@app.callback()
def _trial() -> None:
    """Plan a try-on, type it at the counter, and judge whether it worked.

    `recommend trial VISIT` judges what was tried; VISIT is a reference code or a visit file.

    Example: recommend trial catalogue_demo/trials/three-much-alike.yaml
    """


@app.command(JUDGE)
def judge(
    visit: VisitName,
    readings: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[READING...]",
            help="FOOT.READING=NUMBERS, such as left.peak=5.1,4.8 (also touchdown, peak-time, "
            "range, midstance, propulsion, standing, lateral-load); or a FILE: a capture, or YAML "
            "with `feet` as in a trial",
        ),
    ] = None,
    shoe: Annotated[
        str | None, typer.Option(help="shoe worn: its id, or `own`", autocompletion=shoes)
    ] = None,
    insole: Annotated[
        str | None, typer.Option(help="insole worn in it: its id", autocompletion=insoles)
    ] = None,
    barefoot: Annotated[bool, typer.Option("--barefoot", help="barefoot once more")] = False,
    comfort: Annotated[
        list[str] | None,
        typer.Option(metavar="FOOT.REGION=0-10", help="heel, arch, forefoot, toes, ankle, overall"),
    ] = None,
    again: Annotated[
        list[str] | None,
        typer.Option(
            "--comfort-again",
            metavar="FOOT.REGION=0-10",
            help="a second rating of the same, asked without the customer knowing what is worn",
        ),
    ] = None,
    gait: Annotated[
        Literal["walking", "running"] | None,
        typer.Option(help="walking or running; as barefoot if left out"),
    ] = None,
    reference: Annotated[
        Reference | None, typer.Option(help="zero of the angles; as barefoot if left out")
    ] = None,
    side: Annotated[
        Side | None, typer.Option(help="foot of a capture that does not say it")
    ] = None,
    still: Annotated[
        Path | None, typer.Option(help="marks in still standing, the zero of a capture's angles")
    ] = None,
    anew: Annotated[
        bool, typer.Option("--anew", help="write the step anew, not add strides")
    ] = False,
    show: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SECTION", help="show this part too, may be repeated: " + ", ".join(SECTIONS)
        ),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="show all of it")] = False,
    pager: Annotated[
        bool, typer.Option("--pager/--no-pager", help="open what is longer than the screen in it")
    ] = True,
    catalogue: CatalogueFolders = None,
    rules: RulesFolder = None,
    svg: Annotated[Path | None, typer.Option(help="write the pictures here, as SVG")] = None,
    force: Force = False,
    as_json: Annotated[bool, typer.Option("--json", help="print the same as JSON")] = False,
    keep: Keep = None,
    store: StorePath = None,
) -> None:
    """Judge what was tried, after adding a step where readings are given.

    Readings of a step that is there already add strides to it. Exit code 3 when a stop
    withholds the judgement.

    Add a step: recommend trial A-1042 --shoe own left.peak=5.4,5.1,4.9 --comfort left.heel=8

    Example: recommend trial judge catalogue_demo/trials/three-much-alike.yaml --show picture
    """
    sections = asked_sections(show or [], tuple(SECTIONS), full)
    refuse_other_kinds(svg, SVG, force=force)  # before a step is written
    file = visit_file(visit)
    book = open_rulebook(rules)
    products = open_catalogue(book, catalogue)
    seen = read_measured_visit(file, book.questions, book.parameters, book.measures, book.purposes)
    entry = Entry(shoe, insole)
    options = CaptureOptions(side=side, still=still)
    for text in readings or []:
        if "=" in text:
            read_angle(entry, text, seen, Zero(gait, reference))
        else:
            _read_file(entry, Path(text), book, options)
    for text in comfort or []:
        read_comfort(entry.comfort, text)
    for text in again or []:
        read_comfort(entry.again, text)
    _refuse_unknown(entry, products)
    if not entry.empty:
        _refuse_unsaid(entry, barefoot)
        add_step(file, entry, anew=anew)
    elif shoe or insole or barefoot:
        raise InputError(Place("the command line"), "no reading is given for this step")
    judged = judged_trial(file, book, products)
    if svg is not None and judged.shortlist is not None:
        write_output(svg, svg_of(judged, trial_names(judged)), SVG, private=True, force=force)
        Shelf(setting("visits").value).remember(seen.reference, svg)
    if as_json:
        print(json.dumps(as_document(judged), indent=2, ensure_ascii=False))
    else:
        print_paged(trial_blocks(judged, sections, console().width), pager=pager)
    keep_trial(judged, keep, store)
    if judged.shortlist is None:
        raise typer.Exit(Exit.STOP)


def keep_trial(judged: TrialOutcome, keep: bool | None = None, store: Path | None = None) -> None:
    """Keep verdicts, the best and the list after them as a record, where records are kept."""
    if not keeps(keep):
        return
    heeds = {TRIED: None} if tried(judged.outcome) else {}
    outcome = heeding(judged.outcome, judged) if heeds else judged.outcome
    entry = entry_of(outcome, TRIAL, heeds, {TRIAL: as_document(judged)})
    (kept,) = kept_in(store_path(store), [entry])
    print(kept_words(kept), file=sys.stderr)


def judged_trial(file: Path, book: Rulebook, products: Catalogue) -> TrialOutcome:
    """The trial of a visit file, judged as it stands there."""
    seen = read_measured_visit(file, book.questions, book.parameters, book.measures, book.purposes)
    return trial_outcome(outcome_of(seen, book, products), read_document(file))


def _read_file(entry: Entry, file: Path, book: Rulebook, options: CaptureOptions) -> None:
    if file.suffix.lower() not in (".csv", ".npz", ".c3d"):
        read_step_file(entry, file)
        return
    for one in measure_capture(file, book.parameters, book.measures, options):
        read_capture(entry, one)


def _refuse_unknown(entry: Entry, products: Catalogue) -> None:
    for part in (entry.shoe, entry.insole):
        if part is not None and part != OWN:
            products.item(part)


def _refuse_unsaid(entry: Entry, barefoot: bool) -> None:
    if (entry.shoe is None) != barefoot:
        raise InputError(
            Place("the command line"),
            "it is not clear what was worn" if entry.shoe is None else "both a shoe and barefoot",
            "--shoe ID, --shoe ID --insole ID, or --barefoot",
        )


@app.command()
def plan(
    visit: VisitName,
    catalogue: CatalogueFolders = None,
    rules: RulesFolder = None,
    as_json: Annotated[bool, typer.Option("--json", help="print the same as JSON")] = False,
) -> None:
    """Say what to try on, in which order, how many strides suffice, and what to leave out.

    Exit code 3 when a stop withholds it.

    Example: recommend trial plan catalogue_demo/visits/running-over-pronator.yaml
    """
    file = visit_file(visit)
    book = open_rulebook(rules)
    seen = read_measured_visit(file, book.questions, book.parameters, book.measures, book.purposes)
    outcome = outcome_of(seen, book, open_catalogue(book, catalogue))
    made = plan_of(outcome)
    if as_json:
        print(json.dumps(plan_document(made), indent=2, ensure_ascii=False))
    else:
        print_paged(plan_lines(made, outcome, console().width))
    if made is None:
        raise typer.Exit(Exit.STOP)


@app.command()
def step(visit: VisitName, catalogue: CatalogueFolders = None, rules: RulesFolder = None) -> None:
    """Type one try-on, question by question: what is worn, its readings, comfort; saved as typed.

    A try-on that is there already gets further strides and a second rating. Ends with exit code
    3 when a stop withholds the judgement.

    Example: recommend trial step A-1042
    """
    judged = guided_step(visit_file(visit), catalogue, rules)
    print_end(judged)
    keep_trial(judged)
    if judged.shortlist is None:
        raise typer.Exit(Exit.STOP)
