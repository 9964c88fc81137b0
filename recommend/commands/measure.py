"""`recommend measure`: pressure frames and video marks in, measures with their errors out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal, cast

import typer

from recommend.catalogue.shop import open_rulebook
from recommend.commands import films, single
from recommend.commands.options import Force, RulesFolder
from recommend.errors import InputError, Place, nearest
from recommend.measure.capture import CaptureOptions, is_film, measure_capture
from recommend.measure.measured import Measured, as_document
from recommend.measure.model import Side
from recommend.reading import read_document
from recommend.rulebook import Rulebook
from recommend.settings import setting
from recommend.show.bar import working
from recommend.show.console import console, print_byline
from recommend.show.measured import print_error_terms, print_measured
from recommend.show.stance_curve import usual_bands
from recommend.visit.shelf import Shelf

MARKS = ("upper-leg", "lower-leg", "upper-heel", "lower-heel")
Facing = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Moving = Literal["standing", "walking", "running"]


Files = Annotated[
    list[Path],
    typer.Argument(
        help="captures: pressure frames (.npz, .csv), marks (.csv, .c3d), films (.mp4 ...)"
    ),
]
ForSide = Annotated[str | None, typer.Option(help="left or right, where the file does not say it")]
Still = Annotated[
    Path | None,
    typer.Option(help="marks in still standing: the zero of the angle and the camera's level"),
]
Into = Annotated[Path | None, typer.Option(help="write the measures into this visit file (YAML)")]
Plot = Annotated[Path | None, typer.Option(help="save the pictures for print (.svg, .png, .pdf)")]
NamedMarks = Annotated[
    list[str] | None, typer.Option(help="C3D: which point is which mark, upper-leg=NAME")
]
Faced = Annotated[str | None, typer.Option(help="C3D: the way the person faces, +x -x +y -y +z -z")]
Mapping = Annotated[
    Path | None, typer.Option(help="a lab's own columns, or .mat: how they are named (YAML)")
]
WhatGait = Annotated[str, typer.Option(help="C3D, film: standing, walking or running")]
PutRight = Annotated[
    list[str] | None,
    typer.Option(help="film: a mark where you see it, upper-heel@120=412,633, or a file"),
]
SaveMarks = Annotated[
    Path | None, typer.Option(help="film: save the marks found (.csv), one file for each leg")
]
SlowMotion = Annotated[
    float, typer.Option(min=0.1, max=40, help="film: how many times slower it plays than life")
]
Plumb = Annotated[
    str | None, typer.Option(help="film: a plumb line in it, upper and lower end, X,Y:X,Y")
]
Ruler = Annotated[
    str | None, typer.Option(help="film: a length in it, X,Y:X,Y=MM, for marks in mm")
]
Crop = Annotated[
    int | None, typer.Option(min=1, help="film: only write a copy below this row of it")
]
ErrorTerms = Annotated[
    bool, typer.Option("--error-terms", help="what the error of each measure is made of")
]
AsJson = Annotated[bool, typer.Option("--json", help="print the same as JSON")]


def measure(
    files: Files,
    side: ForSide = None,
    still: Still = None,
    into: Into = None,
    plot: Plot = None,
    rules: RulesFolder = None,
    mark: NamedMarks = None,
    facing: Faced = None,
    mapping: Mapping = None,
    gait: WhatGait = "walking",
    put_right: PutRight = None,
    marks: SaveMarks = None,
    slow_motion: SlowMotion = 1.0,
    plumb: Plumb = None,
    ruler: Ruler = None,
    crop: Crop = None,
    force: Force = False,
    error_terms: ErrorTerms = False,
    as_json: AsJson = False,
) -> None:
    """Measure feet from pressure frames and from marks on rear-view video.

    Shows footprint, path of load, rearfoot angle over stance, and every measure with its
    standard error and its doubts. What cannot be trusted is left out, and says so. Next to a film
    it writes a contact sheet of frames with the marks drawn: look at it first.

    Example: recommend measure catalogue_demo/captures/walk-left.csv
    """
    book = open_rulebook(rules)
    if crop is not None:
        for file in files:
            films.write_crop(file, crop, book.parameters)
        return
    options = CaptureOptions(
        side=cast(Side | None, _one_of(side, ("left", "right"), "side")),
        still=still,
        marks=_named_marks(mark or []),
        facing=cast(Facing | None, _one_of(facing, ("+x", "-x", "+y", "-y", "+z", "-z"), "facing")),
        gait=cast(Moving, _one_of(gait, ("standing", "walking", "running"), "gait")),
        mapping=mapping,
        film=films.options_of(files, put_right or [], slow_motion, plumb, ruler),
    )
    written: list[Path] = []
    found = _measured(files, book, options, (marks, force), written)
    if as_json:
        print(json.dumps(as_document(found), ensure_ascii=False))
    else:
        print_measured(found, usual_bands(book), book.measures, book.parameters, console())
        if error_terms:
            print_error_terms(found, book.measures, console())
        print_byline(book)
    if plot is not None:
        from recommend.show.measured_plot import save_plot

        save_plot(plot, found, usual_bands(book), book.parameters, force=force)
        typer.echo(f"saved {plot}", err=True)
    if into is not None:
        _write(into, found, book, written if plot is None else [*written, plot])


def _measured(
    files: list[Path],
    book: Rulebook,
    options: CaptureOptions,
    marks: tuple[Path | None, bool],
    written: list[Path],
) -> list[Measured]:
    """Every foot of every file; `marks` is where those found in films go.

    `marks` says too whether any file there is written over; `written` takes the names of what is
    written beside films.
    """
    found: list[Measured] = []
    with working("measuring") as tell:
        for done, file in enumerate(files):
            tell(done, len(files))
            if is_film(file):
                found += films.measure(file, book, options, marks[0], tell, written, force=marks[1])
            else:
                found += measure_capture(file, book.parameters, book.measures, options)
    return found


def _write(into: Path, found: list[Measured], book: Rulebook, pictures: list[Path]) -> None:
    """Write what was measured into a visit, and note its pictures, so that forgetting has them."""
    from recommend.measure.into import write_into

    for sentence in write_into(into, found, book.parameters):
        typer.echo(f"{into}: {sentence}", err=True)
    whose = str(read_document(into).data["reference"])
    for one in pictures:
        Shelf(setting("visits").value).remember(whose, one)


def _one_of(word: str | None, allowed: tuple[str, ...], option: str) -> str | None:
    if word is not None and word not in allowed:
        raise InputError(
            Place(f"--{option}"), f"`{word}` is not allowed", ", ".join(allowed),
            nearest(word, allowed),
        )  # fmt: skip
    return word


def _named_marks(pairs: list[str]) -> dict[str, str]:
    names = {}
    for pair in pairs:
        mark, equals, point = pair.partition("=")
        if not equals or mark not in MARKS or not point:
            raise InputError(
                Place("--mark"), f"`{pair}` does not name a mark",
                ", ".join(f"{name}=POINT" for name in MARKS),
            )  # fmt: skip
        names[mark] = point
    return names


app = single(measure)
