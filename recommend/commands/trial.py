"""`recommend trial`: plan a try-on, type it, and judge the whole trial."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import typer
from typer.core import TyperGroup

from recommend.catalogue import Catalogue
from recommend.catalogue.shop import open_catalogue, open_rulebook, open_visit
from recommend.commands.options import (
    AsJson,
    CatalogueFolders,
    Force,
    Full,
    Keep,
    Pager,
    RulesFolder,
    StorePath,
    VisitName,
    asked_sections,
    group,
    insoles,
    outcome_for,
    print_json,
    shoes,
    taking,
    visit_file,
)
from recommend.commands.trial_step import guided_step, print_end
from recommend.errors import Exit, InputError, Place
from recommend.match.out import OWN
from recommend.measure.capture import CaptureOptions, measure_capture
from recommend.measure.model import Side
from recommend.output import SVG, refuse_other_kinds, write_output
from recommend.records.database import store_path
from recommend.records.keeping import entry_of, keeps, kept_in, kept_words
from recommend.rulebook import Rulebook
from recommend.settings import setting
from recommend.show.change_picture import svg_of
from recommend.show.console import console, print_paged
from recommend.show.trial import SECTIONS, plan_document, plan_lines, trial_blocks
from recommend.show.trial_answer import trial_names
from recommend.trial.enter_step import (
    StepEntry,
    Zero,
    add_step,
    read_angle,
    read_capture,
    read_comfort,
    read_step_file,
)
from recommend.trial.heeding import TRIAL, in_order_tried
from recommend.trial.plan import plan_of
from recommend.trial.whole_trial import TrialOutcome, as_document, judged_file
from recommend.visit.models import Reference, Visit
from recommend.visit.shelf import Shelf

JUDGE = "judge"
_RATING = "FOOT.REGION=0-10"


class _JudgesByDefault(TyperGroup):
    """A group whose first word may be a visit: then it is judged."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put the usual command in front of what is none of the commands."""
        if args and args[0] not in (*self.commands, "--help"):
            args = [JUDGE, *args]
        return super().parse_args(ctx, args)


app = group(
    "Plan a try-on, type it at the counter, and judge whether it worked.\n\n"
    "`recommend trial VISIT` judges what was tried; VISIT is a reference code or a visit file.\n\n"
    "Example: recommend trial catalogue_demo/trials/three-much-alike.yaml",
    cls=_JudgesByDefault,
)


@dataclass(frozen=True, kw_only=True)
class TrialAsked:
    """What is judged, and the words of a step that is added before."""

    visit: VisitName
    readings: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[READING...]",
            help="FOOT.READING=NUMBERS, such as left.peak=5.1,4.8 (also touchdown, peak-time, "
            "range, midstance, propulsion, standing, lateral-load); or a FILE: a capture, or YAML "
            "with `feet` as in a trial",
        ),
    ] = None
    shoe: Annotated[
        str | None, typer.Option(help="shoe worn: its id, or `own`", autocompletion=shoes)
    ] = None
    insole: Annotated[
        str | None, typer.Option(help="insole worn in it: its id", autocompletion=insoles)
    ] = None
    barefoot: Annotated[bool, typer.Option("--barefoot", help="barefoot once more")] = False
    comfort: Annotated[
        list[str] | None,
        typer.Option(metavar=_RATING, help="heel, arch, forefoot, toes, ankle, overall"),
    ] = None
    comfort_again: Annotated[
        list[str] | None,
        typer.Option(
            metavar=_RATING,
            help="a second rating of the same, asked without the customer knowing what is worn",
        ),
    ] = None
    gait: Annotated[
        Literal["walking", "running"] | None,
        typer.Option(help="walking or running; as barefoot if left out"),
    ] = None
    reference: Annotated[
        Reference | None, typer.Option(help="zero of the angles; as barefoot if left out")
    ] = None
    side: Annotated[Side | None, typer.Option(help="foot of a capture that does not say it")] = None
    still: Annotated[
        Path | None, typer.Option(help="marks in still standing, the zero of a capture's angles")
    ] = None
    anew: Annotated[bool, typer.Option("--anew", help="write the step anew, not add strides")] = (
        False
    )
    show: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SECTION", help="show this part too, may be repeated: " + ", ".join(SECTIONS)
        ),
    ] = None
    full: Full = False
    pager: Pager = True
    catalogue: CatalogueFolders = None
    rules: RulesFolder = None
    svg: Annotated[Path | None, typer.Option(help="write the pictures here, as SVG")] = None
    force: Force = False
    as_json: AsJson = False
    keep: Keep = None
    store: StorePath = None

    def step(self, seen: Visit, book: Rulebook) -> StepEntry:
        """The step that the words describe, with its readings and ratings; empty without any."""
        entry, zero = StepEntry(self.shoe, self.insole), Zero(self.gait, self.reference)
        for text in self.readings or ():
            if "=" in text:
                read_angle(entry, text, seen, zero)
            else:
                self._read_file(entry, Path(text), book)
        for told, texts in ((entry.comfort, self.comfort), (entry.again, self.comfort_again)):
            for text in texts or ():
                read_comfort(told, text)
        return entry

    def _read_file(self, entry: StepEntry, file: Path, book: Rulebook) -> None:
        if file.suffix.lower() not in (".csv", ".npz", ".c3d"):
            read_step_file(entry, file)
            return
        options = CaptureOptions(side=self.side, still=self.still)
        for one in measure_capture(file, book.parameters, book.measures, options):
            read_capture(entry, one)

    def check(self, entry: StepEntry, products: Catalogue) -> None:
        """Refuse products that are not there, and a step of which not all is said."""
        for part in (entry.shoe, entry.insole):
            if part is not None and part != OWN:
                products.item(part)
        if not entry.empty and (entry.shoe is None) != self.barefoot:
            raise InputError(
                Place("the command line"),
                "it is not clear what was worn"
                if entry.shoe is None
                else "both a shoe and barefoot",
                "--shoe ID, --shoe ID --insole ID, or --barefoot",
            )
        if entry.empty and (entry.shoe or entry.insole or self.barefoot):
            raise InputError(Place("the command line"), "no reading is given for this step")


@app.command(JUDGE)
@taking
def judge(asked: TrialAsked) -> None:
    """Judge what was tried, after adding a step where readings are given.

    Readings of a step that is there already add strides to it. Exit code 3 when a stop
    withholds the judgement.

    Add a step: recommend trial A-1042 --shoe own left.peak=5.4,5.1,4.9 --comfort left.heel=8

    Example: recommend trial judge catalogue_demo/trials/three-much-alike.yaml --show picture
    """
    sections = asked_sections(asked.show or [], tuple(SECTIONS), asked.full)
    refuse_other_kinds(asked.svg, SVG, force=asked.force)  # before a step is written
    file = visit_file(asked.visit)
    book = open_rulebook(asked.rules)
    products = open_catalogue(book, asked.catalogue)
    entry = asked.step(open_visit(file, book), book)
    asked.check(entry, products)
    if not entry.empty:
        add_step(file, entry, anew=asked.anew)
    judged = judged_file(file, book, products)
    if asked.svg is not None:
        _draw(judged, asked.svg, asked.force)
    if asked.as_json:
        print_json(as_document(judged))
    else:
        print_paged(trial_blocks(judged, sections, console().width), pager=asked.pager)
    _end(judged, asked.keep, asked.store)


def _draw(judged: TrialOutcome, svg: Path, force: bool) -> None:
    """Write the pictures, and note the file, so that forgetting has it."""
    if judged.shortlist is not None:
        write_output(svg, svg_of(judged, trial_names(judged)), SVG, private=True, force=force)
        whose = judged.outcome.assessment.visit.reference
        Shelf(setting("visits").value).remember(whose, svg)


def _end(judged: TrialOutcome, keep: bool | None = None, store: Path | None = None) -> None:
    """Keep verdicts, the best and the list after them as a record, where records are kept.

    Ends with exit code 3 where a stop withholds the judgement.
    """
    if keeps(keep):
        outcome, heeds = in_order_tried(judged)
        entry = entry_of(outcome, TRIAL, heeds, {TRIAL: as_document(judged)})
        (kept,) = kept_in(store_path(store), [entry])
        print(kept_words(kept), file=sys.stderr)
    if judged.shortlist is None:
        raise typer.Exit(Exit.STOP)


@app.command()
def plan(
    visit: VisitName,
    catalogue: CatalogueFolders = None,
    rules: RulesFolder = None,
    as_json: AsJson = False,
) -> None:
    """Say what to try on, in which order, how many strides suffice, and what to leave out.

    Exit code 3 when a stop withholds it.

    Example: recommend trial plan catalogue_demo/visits/running-over-pronator.yaml
    """
    outcome = outcome_for(visit, catalogue, rules)
    made = plan_of(outcome)
    if as_json:
        print_json(plan_document(made))
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
    _end(judged)
