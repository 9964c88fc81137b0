"""Open a capture of any kind and measure it.

Kinds: pressure frames (``.npz``, ``.mat``, or ``.csv`` whose head says ``# capture: pressure``) and
video marks (``.csv`` whose head says ``# capture: marks``, or ``.c3d``), and films of marked legs.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from recommend.errors import InputError, Place, nearest
from recommend.measure.definitions import MeasureDefs
from recommend.measure.header import Facing, Gait, read_head
from recommend.measure.measured import Measured
from recommend.measure.model import Side
from recommend.parameters import Capture, Parameters
from recommend.reading import read_document
from recommend.reading.document import refuse_no_file

if TYPE_CHECKING:
    from recommend.measure.film.reading import FilmOptions, FilmRead
    from recommend.measure.video.recording import MarksRecording

_KINDS = ("pressure", "marks")
FILMS = (".mp4", ".mov", ".avi", ".mkv", ".m4v", ".webm", ".mts", ".3gp")
_BYTES_PER_HELD = 2  # of text to each byte held in memory: a number takes 8 and 4


@dataclass(frozen=True, slots=True)
class CaptureOptions:
    """What a capture file may leave open.

    Attributes
    ----------
    side : the foot, where the file does not say (or to check against what it says).
    still : capture of the same marks in still standing, the zero of ``relaxed-standing`` angles
        and the level of the camera.
    marks : for C3D files, which point stands for which mark (``upper-leg: NAME`` ...).
    facing : for C3D files, the way the person faces (``+x`` to ``-z``).
    gait, condition : for C3D files and films, what was done and worn.
    mapping : for marks in a lab's own text format and for ``.mat``, a file that says how its
        columns or arrays are named.
    film : for films, what they do not say of themselves.
    """

    side: Side | None = None
    still: Path | None = None
    marks: Mapping[str, str] = field(default_factory=dict)
    facing: Facing | None = None
    gait: Gait = "walking"
    condition: str = "barefoot"
    mapping: Path | None = None
    film: FilmOptions | None = None


def sha256_of(path: Path) -> str:
    """SHA-256 of the file's bytes, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def measure_capture(
    path: Path,
    parameters: Parameters,
    defs: MeasureDefs,
    options: CaptureOptions | None = None,
) -> tuple[Measured, ...]:
    """Measure every foot in the capture at `path`.

    `parameters` holds ``capture.*`` and ``noise.few-strides``; `defs` the usual error of one
    reading of each measure.

    Raises
    ------
    InputError
        If the file is missing, is no capture, or holds nothing that can be trusted.
    """
    path, options = Path(path), options or CaptureOptions()
    most = int(_BYTES_PER_HELD * parameters.capture.recording_limit * 1_000_000)
    for one in (path, options.still):
        if one is not None:
            refuse_no_file(one, None if is_film(one) else most, "a capture file")
    if is_film(path):
        read = open_film(path, parameters, options)
        return measure_film(path, read, parameters, defs, options)[0]
    try:
        found = _measure(path, parameters, defs, options)
        digest = sha256_of(path)
    except OSError as error:
        raise InputError(Place(str(path)), f"cannot be read ({error.strerror})") from error
    return tuple(one.hashed(digest, str(path)) for one in found)


def is_film(path: Path) -> bool:
    """Whether the name of the file ends as those of films do."""
    return path.suffix.lower() in FILMS


def open_film(
    path: Path,
    parameters: Parameters,
    options: CaptureOptions,
    tell: Callable[[int, int], None] | None = None,
) -> FilmRead:
    """The marks of both legs of a film, found and followed; `tell` hears of the progress."""
    from recommend.measure.film.reading import read_film

    refuse_no_file(path)
    return read_film(path, parameters.film, options, tell)


def measure_film(
    path: Path,
    read: FilmRead,
    parameters: Parameters,
    defs: MeasureDefs,
    options: CaptureOptions,
) -> tuple[tuple[Measured, ...], tuple[InputError, ...]]:
    """Measure each leg of a film that was opened, and why a leg could not be, beside the other.

    Raises
    ------
    InputError
        If no leg can be measured.
    """
    from recommend.measure.video import measure_marks

    found: list[Measured] = []
    failed: list[InputError] = []
    digest = sha256_of(path)
    for one in read.recordings:
        try:
            still = _still(options, one.side, parameters)
            measured = measure_marks(one, still, parameters, defs)
            found.append(measured.hashed(digest, str(path)))
        except InputError as error:
            failed.append(error)
    if not found:
        raise failed[0]
    return tuple(found), tuple(failed)


def _still(
    options: CaptureOptions, side: Side | None, parameters: Parameters
) -> MarksRecording | None:
    """The capture of still standing: marks, or the leg of `side` in a film."""
    if options.still is None:
        return None
    if not is_film(options.still):
        return _read_marks(options.still, options, None, parameters.capture)
    again = replace(options, side=side, gait="standing", still=None)
    return open_film(options.still, parameters, again).recordings[0]


def _measure(
    path: Path, parameters: Parameters, defs: MeasureDefs, options: CaptureOptions
) -> tuple[Measured, ...]:
    # Imported here, so that a pressure capture does not load the readers of video and back.
    if _kind(path, options.mapping) == "pressure":
        from recommend.measure.pressure import measure_pressure, read_pressure

        recording = read_pressure(path, parameters, options.side, options.mapping)
        return measure_pressure(recording, parameters, defs)
    from recommend.measure.video import measure_marks

    still = _still(options, options.side, parameters)
    marks = _read_marks(path, options, options.side, parameters.capture)
    return (measure_marks(marks, still, parameters, defs),)


def _read_marks(
    path: Path, options: CaptureOptions, side: Side | None, capture: Capture
) -> MarksRecording:
    """Marks of a CSV or C3D file; a still C3D capture is of the same foot as the other."""
    if path.suffix.lower() == ".c3d":
        from recommend.measure.video.c3d import read_marks_c3d

        return read_marks_c3d(path, options, capture)
    from recommend.measure.video.reading import read_marks_csv, read_marks_mat

    if path.suffix.lower() == ".mat" and options.mapping is not None:
        return read_marks_mat(path, side, options.mapping, capture.recording_limit)
    return read_marks_csv(path, side, options.mapping)


def _kind(path: Path, mapping: Path | None) -> str:
    """Which kind of capture it is; a mapping of a .mat names the array of one or the other."""
    suffix = path.suffix.lower()
    if suffix == ".mat":
        named = read_document(mapping).data if mapping is not None else {}
        return "marks" if isinstance(named, dict) and "marks" in named else "pressure"
    if suffix == ".c3d" or mapping is not None:
        return "marks"
    if suffix == ".npz":
        return "pressure"
    if suffix != ".csv":
        raise InputError(
            Place(str(path)),
            f"`{path.suffix or path.name}` is not a capture",
            ".csv, .npz, .mat, .c3d, or a film",
        )
    document, _ = read_head(path)
    kind = str(document.data.get("capture", ""))
    if kind not in _KINDS:
        raise InputError(
            document.place(("capture",)),
            f"`capture` is `{kind}`" if kind else "`capture` is missing",
            " or ".join(f"`# capture: {word}`" for word in _KINDS),
            nearest(kind, _KINDS),
        )
    return kind
