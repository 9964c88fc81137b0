"""`recommend trial`: a step added to the visit, and the whole trial judged."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from recommend.catalogue import load_catalogue
from recommend.cli import single
from recommend.errors import Exit, InputError, Place
from recommend.match.outcome import outcome_of
from recommend.reading import read_document
from recommend.rulebook import load_rulebook, shipped_folder
from recommend.show.console import console
from recommend.show.curves_svg import svg_of
from recommend.show.trial import print_trial
from recommend.trial.entry import Entry, Zero, add_step, read_angle, read_comfort, read_step_file
from recommend.trial.outcome import as_document, trial_outcome
from recommend.trial.steps import OWN
from recommend.visit import Visit, read_visit


def trial(
    visit: Annotated[Path, typer.Argument(metavar="VISIT", help="the visit file")],
    readings: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[READING...]",
            help="FOOT.PHASE=NUMBERS, such as left.contact=5.1,4.8 (also midstance, propulsion, "
            "standing, lateral-load), or a FILE with `feet` as in a step of a visit",
        ),
    ] = None,
    shoe: Annotated[str | None, typer.Option(help="shoe worn: its id, or `own`")] = None,
    insole: Annotated[str | None, typer.Option(help="insole worn in it: its id")] = None,
    barefoot: Annotated[bool, typer.Option("--barefoot", help="barefoot once more")] = False,
    comfort: Annotated[
        list[str] | None,
        typer.Option(metavar="FOOT.REGION=0-10", help="heel, arch, forefoot, toes, ankle, overall"),
    ] = None,
    gait: Annotated[
        str | None, typer.Option(help="walking or running; as barefoot if left out")
    ] = None,
    reference: Annotated[
        str | None, typer.Option(help="zero of the angles; as barefoot if left out")
    ] = None,
    anew: Annotated[
        bool, typer.Option("--anew", help="write the step anew, not add strides")
    ] = False,
    catalogue: Annotated[Path | None, typer.Option(help="folder of the catalogue")] = None,
    rules: Annotated[Path | None, typer.Option(help="folder of the rulebook")] = None,
    svg: Annotated[Path | None, typer.Option(help="write the curves here, as SVG")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="print the same as JSON")] = False,
) -> None:
    """Add what was tried to a visit, and judge the whole trial.

    Without readings it judges what the visit holds. Readings of a step that is there already
    add strides to it. Exit code 3 when a stop withholds the judgement.

    Example: recommend trial my-visit.yaml --shoe own left.contact=5.4,5.1,4.9 --comfort left.heel=8
    """
    book = load_rulebook(rules or shipped_folder("rules"))
    products = load_catalogue(catalogue or shipped_folder("catalogue_demo"), book.attributes)
    seen = read_visit(visit, book.questions)
    entry = Entry(shoe, insole)
    _fill(entry, readings or [], comfort or [], seen, Zero(gait, reference))
    for part in (shoe, insole):
        if part not in (None, OWN):
            products.item(str(part))
    if not entry.empty:
        _refuse_unsaid(entry, barefoot)
        seen = add_step(visit, entry, anew=anew)
    elif shoe or insole or barefoot:
        raise InputError(Place("the command line"), "no reading is given for this step")
    judged = trial_outcome(outcome_of(seen, book, products), read_document(visit))
    if svg is not None:
        svg.write_text(svg_of(judged), encoding="utf-8")
    if as_json:
        print(json.dumps(as_document(judged), indent=2, ensure_ascii=False))
    else:
        print_trial(judged, console())
    if judged.shortlist is None:
        raise typer.Exit(Exit.STOP)


def _fill(entry: Entry, readings: list[str], comfort: list[str], visit: Visit, zero: Zero) -> None:
    for text in readings:
        if "=" in text:
            read_angle(entry, text, visit, zero)
        else:
            read_step_file(entry, Path(text))
    for text in comfort:
        read_comfort(entry, text)


def _refuse_unsaid(entry: Entry, barefoot: bool) -> None:
    if (entry.shoe is None) != barefoot:
        raise InputError(
            Place("the command line"),
            "it is not clear what was worn" if entry.shoe is None else "both a shoe and barefoot",
            "--shoe ID, --shoe ID --insole ID, or --barefoot",
        )


app = single(trial)
