"""What `recommend measure` does with a film: contact sheet, saved marks, a cropped copy."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from recommend.atomic import written_whole
from recommend.errors import InputError, Place
from recommend.measure.capture import (
    CaptureOptions,
    is_film,
    measure_film,
    open_film,
    sha256_of,
)
from recommend.output import PICTURE, refuse_other_kinds, table, write_output
from recommend.parameters import Parameters
from recommend.reading.document import refuse_no_file
from recommend.show.bar import working

if TYPE_CHECKING:
    from recommend.measure.film.reading import FilmOptions, FilmRead
    from recommend.measure.measured import Measured
    from recommend.rulebook import Rulebook

_NUMBER = r"[0-9]{1,9}(?:\.[0-9]{1,9})?"
_LINE = re.compile(rf"({_NUMBER}),({_NUMBER}):({_NUMBER}),({_NUMBER})(?:=({_NUMBER}))?")


def options_of(
    files: Sequence[Path],
    put_right: Sequence[str],
    slow_motion: float,
    plumb: str | None,
    ruler: str | None,
) -> FilmOptions | None:
    """What was said of the films among `files` on the command line; None without films.

    Raises
    ------
    InputError
        If a word does not have its form, or is said of files that are no films.
    """
    if not any(is_film(file) for file in files):
        if put_right or plumb or ruler or slow_motion != 1.0:
            raise InputError(
                Place(str(files[0])), "this is not a film",
                "--put-right, --plumb, --ruler and --slow-motion with films only",
            )  # fmt: skip
        return None
    from recommend.measure.film.by_hand import put_right as read_marks
    from recommend.measure.film.reading import FilmOptions

    line = _line(plumb, "--plumb", "`120,40:118,600`: upper and lower end in px", of_length=False)
    length = _line(ruler, "--ruler", "`120,40:420,42=300`: two ends in px, mm between", True)
    return FilmOptions(
        slow_motion=slow_motion,
        put_right=read_marks(put_right),
        plumb=line[0] if line else None,
        ruler=length if length else None,
    )


Line = tuple[tuple[tuple[float, float], tuple[float, float]], float]


def _line(word: str | None, option: str, allowed: str, of_length: bool) -> Line | None:
    if word is None:
        return None
    found = _LINE.fullmatch(word.replace(" ", ""))
    if not found or bool(found[5]) != of_length or found.group(1, 2) == found.group(3, 4):
        raise InputError(Place(option), f"`{word[:60]}` is not such a line", allowed)
    a, b, c, d = (float(found[k]) for k in (1, 2, 3, 4))
    return ((a, b), (c, d)), float(found[5] or 0)


def measure(
    file: Path,
    book: Rulebook,
    options: CaptureOptions,
    marks: Path | None,
    tell: Callable[[int, int], None],
    written: list[Path],
    *,
    force: bool,
) -> list[Measured]:
    """Measure the legs of a film; write its contact sheet, and its marks where that was asked.

    `written` takes the names of what was written; with `force` marks are written over any file.
    """
    refuse_other_kinds(marks, MARKS_KIND, force=force)
    read = open_film(file, book.parameters, options, tell)
    written.append(_write_sheet(file, read, book.parameters, tell))
    _tell_doubtful(file, read)
    if marks is not None:
        written += _save(marks, read, sha256_of(file), force=force)
    found, failed = measure_film(file, read, book.parameters, book.measures, options)
    for error in failed:
        typer.echo(str(error), err=True)
    return list(found)


def sheet_path(file: Path) -> Path:
    """Where the contact sheet of a film is written: next to it."""
    return file.with_name(f"{file.stem}.marks.png")


def _write_sheet(
    file: Path, read: FilmRead, parameters: Parameters, tell: Callable[[int, int], None]
) -> Path:
    from recommend.measure.film.contact_sheet import contact_sheet

    out = sheet_path(file)
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


MARKS_KIND = table("# capture: marks")


def _save(path: Path, read: FilmRead, digest: str, *, force: bool) -> list[Path]:
    from recommend.measure.video.reading import marks_csv

    written = []
    for one in read.recordings:
        several = len(read.recordings) > 1
        out = path.with_name(f"{path.stem}-{one.side}{path.suffix}") if several else path
        write_output(out, marks_csv(one, digest), MARKS_KIND, private=True, force=force)
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
        cropped(file, made, row, parameters, tell)
        with written_whole(out) as stream, made.open("rb") as whole:
            shutil.copyfileobj(whole, stream)
    typer.echo(f"saved {out}; the film itself is as it was", err=True)
