"""`recommend trial`: a step added to the visit, and the whole trial judged."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal

import typer

from recommend.catalogue import Catalogue
from recommend.catalogue.shop import open_catalogue, open_rulebook
from recommend.commands import single
from recommend.commands.completing import insoles, shoes
from recommend.commands.options import Force
from recommend.errors import Exit, InputError, Place
from recommend.measure.capture import CaptureOptions, measure_capture
from recommend.measure.model import Side
from recommend.measure.named import read_measured_visit
from recommend.output import SVG, write_output
from recommend.reading import read_document
from recommend.rulebook import Rulebook
from recommend.show.console import console
from recommend.show.curves_svg import svg_of
from recommend.show.trial import print_trial
from recommend.trial.entry import (
    Entry,
    Zero,
    add_step,
    read_angle,
    read_capture,
    read_comfort,
    read_step_file,
)
from recommend.trial.outcome import as_document, trial_outcome
from recommend.trial.steps import OWN
from recommend.visit.models import Reference
from recommend.way import outcome_of


def trial(
    visit: Annotated[Path, typer.Argument(metavar="VISIT", help="the visit file")],
    readings: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[READING...]",
            help="FOOT.PHASE=NUMBERS, such as left.contact=2.7,1.9 (also midstance, propulsion, "
            "standing, lateral-load); or a FILE: a capture, or YAML with `feet` as in a trial",
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
    catalogue: Annotated[
        list[Path] | None, typer.Option(help="folder of a catalogue; else as in `setup show`")
    ] = None,
    rules: Annotated[
        Path | None, typer.Option(help="folder of the rulebook; else as in `setup show`")
    ] = None,
    svg: Annotated[Path | None, typer.Option(help="write the curves here, as SVG")] = None,
    force: Force = False,
    as_json: Annotated[bool, typer.Option("--json", help="print the same as JSON")] = False,
) -> None:
    """Add what was tried to a visit, and judge the whole trial.

    Without readings it judges what the visit holds. Readings of a step that is there already
    add strides to it. Exit code 3 when a stop withholds the judgement.

    Add a step: recommend trial VISIT --shoe own left.contact=2.7,1.9,2.4 --comfort left.heel=8

    Example: recommend trial catalogue_demo/trials/three-much-alike.yaml
    """
    book = open_rulebook(rules)
    products = open_catalogue(book, catalogue)
    seen = read_measured_visit(visit, book.questions, book.parameters, book.measures)
    entry = Entry(shoe, insole)
    options = CaptureOptions(side=side, still=still)
    for text in readings or []:
        if "=" in text:
            read_angle(entry, text, seen, Zero(gait, reference))
        else:
            _read_file(entry, Path(text), book, options)
    for text in comfort or []:
        read_comfort(entry, text)
    _refuse_unknown(entry, products)
    if not entry.empty:
        _refuse_unsaid(entry, barefoot)
        add_step(visit, entry, anew=anew)
        seen = read_measured_visit(visit, book.questions, book.parameters, book.measures)
    elif shoe or insole or barefoot:
        raise InputError(Place("the command line"), "no reading is given for this step")
    judged = trial_outcome(outcome_of(seen, book, products), read_document(visit))
    if svg is not None and judged.shortlist is not None:
        write_output(svg, svg_of(judged), SVG, force=force)
    if as_json:
        print(json.dumps(as_document(judged), indent=2, ensure_ascii=False))
    else:
        print_trial(judged, console())
    if judged.shortlist is None:
        raise typer.Exit(Exit.STOP)


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


app = single(trial)
