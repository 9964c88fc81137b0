"""`recommend measure`: pressure frames and video marks in, measures with their errors out.

Of a film also its contact sheet, the marks that were found, and a cropped copy.
"""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args

import typer

from recommend.atomic import written_whole
from recommend.catalogue.shop import open_rulebook
from recommend.commands.options import AsJson, Force, RulesFolder, taking
from recommend.errors import InputError, Place, nearest
from recommend.measure.capture import (
    CaptureOptions,
    is_film,
    measure_capture,
    measure_film,
    open_film,
    sha256_of,
)
from recommend.measure.measured import Measured, as_document
from recommend.measure.model import SIDES
from recommend.output import MARKS as MARKS_FILE
from recommend.output import PICTURE, refuse_other_kinds, write_output
from recommend.parameters import Parameters
from recommend.reading import read_document
from recommend.reading.document import refuse_no_file
from recommend.rulebook import Rulebook
from recommend.settings import setting
from recommend.show.console import console, print_blocks, print_byline, working
from recommend.show.measured import error_terms_blocks, measured_blocks
from recommend.visit.shelf import Shelf

if TYPE_CHECKING:
    from recommend.measure.film.reading import FilmOptions, FilmRead


MARKS = ("upper-leg", "lower-leg", "upper-heel", "lower-heel")
Facing = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Moving = Literal["standing", "walking", "running"]


@dataclass(frozen=True, kw_only=True)
class MeasureAsked:
    """What is measured, and how it is to be read."""

    files: Annotated[
        list[Path],
        typer.Argument(
            help="captures: pressure frames (.npz, .csv), marks (.csv, .c3d), films (.mp4 ...)"
        ),
    ]
    side: Annotated[
        str | None, typer.Option(help="left or right, where the file does not say it")
    ] = None
    still: Annotated[
        Path | None,
        typer.Option(help="marks in still standing: the zero of the angle and the camera's level"),
    ] = None
    into: Annotated[
        Path | None, typer.Option(help="write the measures into this visit file (YAML)")
    ] = None
    plot: Annotated[
        Path | None, typer.Option(help="save the pictures for print (.svg, .png, .pdf)")
    ] = None
    rules: RulesFolder = None
    mark: Annotated[
        list[str] | None, typer.Option(help="C3D: which point is which mark, upper-leg=NAME")
    ] = None
    facing: Annotated[
        str | None, typer.Option(help="C3D: the way the person faces, +x -x +y -y +z -z")
    ] = None
    mapping: Annotated[
        Path | None, typer.Option(help="a lab's own columns, or .mat: how they are named (YAML)")
    ] = None
    gait: Annotated[str, typer.Option(help="C3D, film: standing, walking or running")] = "walking"
    put_right: Annotated[
        list[str] | None,
        typer.Option(help="film: a mark where you see it, upper-heel@120=412,633, or a file"),
    ] = None
    marks: Annotated[
        Path | None, typer.Option(help="film: save the marks found (.csv), one file for each leg")
    ] = None
    slow_motion: Annotated[
        float, typer.Option(min=0.1, max=40, help="film: how many times slower it plays than life")
    ] = 1.0
    plumb: Annotated[
        str | None, typer.Option(help="film: a plumb line in it, upper and lower end, X,Y:X,Y")
    ] = None
    ruler: Annotated[
        str | None, typer.Option(help="film: a length in it, X,Y:X,Y=MM, for marks in mm")
    ] = None
    crop: Annotated[
        int | None, typer.Option(min=1, help="film: only write a copy below this row of it")
    ] = None
    force: Force = False
    error_terms: Annotated[
        bool, typer.Option("--error-terms", help="what the error of each measure is made of")
    ] = False
    as_json: AsJson = False

    def options(self) -> CaptureOptions:
        """How captures are read.

        Raises
        ------
        InputError
            If a word does not have its form, or is said of files that are no films.
        """
        return CaptureOptions(
            side=_one_of(self.side, SIDES, "side"),
            still=self.still,
            marks=_named_marks(self.mark or []),
            facing=_one_of(self.facing, get_args(Facing), "facing"),
            gait=_one_of(self.gait, get_args(Moving), "gait"),
            mapping=self.mapping,
            film=self._film(),
        )

    def _film(self) -> FilmOptions | None:
        """What was said of the films among the files; None without films."""
        if not any(is_film(file) for file in self.files):
            if self.put_right or self.plumb or self.ruler or self.slow_motion != 1.0:
                raise InputError(
                    Place(str(self.files[0])), "this is not a film",
                    "--put-right, --plumb, --ruler and --slow-motion with films only",
                )  # fmt: skip
            return None
        from recommend.measure.film.by_hand import put_right
        from recommend.measure.film.reading import FilmOptions

        ends = "`120,40:118,600`: upper and lower end in px"
        line = _line(self.plumb, "--plumb", ends, of_length=False)
        ends = "`120,40:420,42=300`: two ends in px, mm between"
        return FilmOptions(
            slow_motion=self.slow_motion,
            put_right=put_right(self.put_right or []),
            plumb=line[0] if line else None,
            ruler=_line(self.ruler, "--ruler", ends, of_length=True),
        )


@taking
def measure(asked: MeasureAsked) -> None:
    """Measure feet from pressure frames and from marks on rear-view video.

    Shows footprint, path of load, rearfoot angle over stance, and every measure with its
    standard error and its doubts. What cannot be trusted is left out, and says so. Next to a film
    it writes a contact sheet of frames with the marks drawn: look at it first.

    Example: recommend measure catalogue_demo/captures/walk-left.csv
    """
    book = open_rulebook(asked.rules)
    if asked.crop is not None:
        for file in asked.files:
            write_crop(file, asked.crop, book.parameters)
        return
    found, written = _measured(asked, book)
    if asked.as_json:
        print(json.dumps(as_document(found), ensure_ascii=False))
    else:
        out = console()
        plain = not out.encoding.lower().startswith("utf")
        print_blocks(measured_blocks(found, book, out.width, plain=plain))
        if asked.error_terms:
            print_blocks(error_terms_blocks(found, book))
        print_byline(book)
    if asked.plot is not None:
        from recommend.show.plots import save_plot

        save_plot(asked.plot, found, book, force=asked.force)
        typer.echo(f"saved {asked.plot}", err=True)
        written.append(asked.plot)
    if asked.into is not None:
        _write(asked.into, found, book, written)


def _measured(asked: MeasureAsked, book: Rulebook) -> tuple[list[Measured], list[Path]]:
    """Every foot of every file, and the names of what is written beside films."""
    found: list[Measured] = []
    written: list[Path] = []
    options = asked.options()
    with working("measuring") as tell:
        for done, file in enumerate(asked.files):
            tell(done, len(asked.files))
            if is_film(file):
                feet, beside = _of_film(file, book, options, asked, tell)
                found += feet
                written += beside
            else:
                found += measure_capture(file, book.parameters, book.measures, options)
    return found, written


def _write(into: Path, found: list[Measured], book: Rulebook, pictures: list[Path]) -> None:
    """Write what was measured into a visit, and note its pictures, so that forgetting has them."""
    from recommend.measure.into import write_into

    for sentence in write_into(into, found, book.parameters):
        typer.echo(f"{into}: {sentence}", err=True)
    whose = str(read_document(into).data["reference"])
    for one in pictures:
        Shelf(setting("visits").value).remember(whose, one)


def _one_of(word: str | None, allowed: Sequence[str], option: str) -> Any:
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


_NUMBER = r"[0-9]{1,9}(?:\.[0-9]{1,9})?"
_LINE = re.compile(rf"({_NUMBER}),({_NUMBER}):({_NUMBER}),({_NUMBER})(?:=({_NUMBER}))?")


Line = tuple[tuple[tuple[float, float], tuple[float, float]], float]


def _line(word: str | None, option: str, allowed: str, of_length: bool) -> Line | None:
    if word is None:
        return None
    found = _LINE.fullmatch(word.replace(" ", ""))
    ends_alike = found and found.group(1, 2) == found.group(3, 4)
    if not found or ends_alike or bool(float(found[5] or 0)) != of_length:
        raise InputError(Place(option), f"`{word[:60]}` is not such a line", allowed)
    a, b, c, d = (float(found[k]) for k in (1, 2, 3, 4))
    return ((a, b), (c, d)), float(found[5] or 0)


def _of_film(
    file: Path,
    book: Rulebook,
    options: CaptureOptions,
    asked: MeasureAsked,
    tell: Callable[[int, int], None],
) -> tuple[Sequence[Measured], list[Path]]:
    """Measure the legs of a film; write its contact sheet, and its marks where that was asked.

    Returns the feet, and the names of what was written.
    """
    refuse_other_kinds(asked.marks, MARKS_FILE, force=asked.force)
    read = open_film(file, book.parameters, options, tell)
    written = [_write_sheet(file, read, book.parameters, tell)]
    _tell_doubtful(file, read)
    if asked.marks is not None:
        written += _save(asked.marks, read, sha256_of(file), force=asked.force)
    found, failed = measure_film(file, read, book.parameters, book.measures, options)
    for error in failed:
        typer.echo(str(error), err=True)
    return found, written


def _write_sheet(
    file: Path, read: FilmRead, parameters: Parameters, tell: Callable[[int, int], None]
) -> Path:
    from recommend.measure.film.contact_sheet import contact_sheet

    out = file.with_name(f"{file.stem}.marks.png")  # next to the film
    write_output(out, contact_sheet(file, read, parameters, tell), PICTURE, private=True)
    typer.echo(f"{out}: look whether every ring sits on its mark", err=True)
    return out


def _tell_doubtful(file: Path, read: FilmRead) -> None:
    from recommend.measure.film.doubting import doubtful_frames
    from recommend.measure.film.marked import names_of

    for side, one in read.marked.items():
        frames = doubtful_frames(one)
        if frames:
            typer.echo(
                f"{file.name}: {side}, a mark is missing or unsure in frames {names_of(frames)}; "
                "it is left out there, or say where it is: --put-right "
                f"{side}-lower-heel@{frames[0] + 1}=X,Y",
                err=True,
            )


def _save(path: Path, read: FilmRead, digest: str, *, force: bool) -> list[Path]:
    from recommend.measure.video.reading import marks_csv

    written = []
    for one in read.recordings:
        several = len(read.recordings) > 1
        out = path.with_name(f"{path.stem}-{one.side}{path.suffix}") if several else path
        write_output(out, marks_csv(one, digest), MARKS_FILE, private=True, force=force)
        typer.echo(f"saved {out}", err=True)
        written.append(out)
    return written


def write_crop(file: Path, row: int, parameters: Parameters) -> None:
    """Write a copy of a film without what lies above `row`.

    Raises
    ------
    InputError
        If it is no film, or the copy is there already.
    """
    from recommend.measure.film.opening import cropped

    refuse_no_file(file)
    if not is_film(file):
        raise InputError(Place(str(file)), "this is not a film", "--crop with films only")
    out = file.with_name(f"{file.stem}.below-{row}.mp4")
    if out.exists():
        raise InputError(Place(str(out)), "it is there already", mend="move it away first")
    with tempfile.TemporaryDirectory() as folder, working("copying") as tell:
        made = Path(folder) / out.name
        cropped(file, made, row, parameters.film, tell)
        with written_whole(out) as stream, made.open("rb") as whole:
            shutil.copyfileobj(whole, stream)
    typer.echo(f"saved {out}; the film itself is as it was", err=True)
