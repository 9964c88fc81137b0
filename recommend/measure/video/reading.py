"""Read and write marks as CSV: a head of ``# key: value`` lines, column names, then frames.

Columns: ``frame``, then for each mark ``upper-leg-x``, ``upper-leg-y`` and so on; optional
``contact`` (0 or 1), ``heel-height`` above the ground, ``time`` in seconds (which may stand for
``frame``) and ``plumb-upper-x`` to ``plumb-lower-y``. An empty cell is a missing mark.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from itertools import islice
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from recommend.errors import InputError, Place, nearest
from recommend.measure.filtering import FloatArray, Mask
from recommend.measure.header import (
    CaptureHead,
    LabMapping,
    foot_of,
    open_array,
    read_head,
    read_mapping,
)
from recommend.measure.model import EFFECTS, Flag, Side
from recommend.measure.video.recording import MARKS, Mark, MarksRecording
from recommend.reading import validate

MAX_FRAMES = 200_000  # a guard of memory: more than half an hour at 100 frames per second

MARK_COLUMNS = [f"{mark}-{axis}" for mark in MARKS for axis in "xy"]
PLUMB_COLUMNS = [f"plumb-{end}-{axis}" for end in ("upper", "lower") for axis in "xy"]
_COLUMNS = ["frame", "time", *MARK_COLUMNS, "contact", "heel-height", *PLUMB_COLUMNS]


class MarksHead(CaptureHead):
    """Head of a capture of marks.

    `y_axis` says which way y counts: ``down`` as in most image programs, or ``up``. `stance`
    gives stances as frame numbers, ``12-80; 152-220``, first and last frame on the ground.
    `toe_out_deg` says how far the foot points outwards from the line of the camera. Marks saved
    from a film say its hash, the error of their centres in `unit`, and what was `seen` against
    them.
    """

    capture: Literal["marks"]
    unit: Literal["px", "mm"] = "px"
    y_axis: Literal["up", "down"]
    view: Literal["rear"] = "rear"
    stance: str | None = None
    toe_out_deg: float | None = Field(default=None, ge=-60, le=60)
    film_sha256: str | None = Field(default=None, pattern=r"^[0-9a-f]{64}$")
    centre_error: float = Field(default=0.0, ge=0, le=100)
    seen: str | None = None

    def recording(
        self, points: FloatArray, path: Path, side: Side | None, **more: Any
    ) -> MarksRecording:
        """The recording of `points` (frames, 4, 2), y up; `side` is the foot where this does not.

        Raises
        ------
        InputError
            If neither says which foot it is, or they differ.
        """
        return MarksRecording(
            points=points,
            unit=self.unit,
            side=self.foot(path, side),
            name=str(path),
            toe_out_deg=self.toe_out_deg,
            centre_error=self.centre_error,
            **self.common(),
            **more,
        )

    def foot(self, path: Path, given: Side | None) -> Side:
        """The foot that this head names, or else the one that is `given`; errors as above."""
        side = foot_of(path, self.side, given)
        if side is None:
            raise InputError(
                Place(str(path), 1),
                "the head does not say which foot this is",
                "`# side: left` or `# side: right`",
            )
        return side


class MarksMapping(LabMapping):
    """How the columns of a lab's own export are named.

    `columns` is the name in the file of each column of ours, `skip_lines` how many lines stand
    above the line of names. Columns that are not named are left out.
    """

    columns: dict[str, str]
    skip_lines: int = Field(default=0, ge=0, le=1000)


class MatMarks(LabMapping):
    """How the marks of a lab's own MATLAB file of version 5 are to be read.

    `marks` is the name of the array, with dots where it lies in a struct; `axes` says what its
    three axes are, `order` which marks it holds one after another.
    """

    marks: str
    axes: list[Literal["time", "marks", "xy"]] = ["time", "marks", "xy"]
    order: list[Mark] = list(MARKS)


def read_marks_mat(path: Path, side: Side | None, mapping: Path, limit_mb: float) -> MarksRecording:
    """Read marks of a MATLAB file by a `mapping` (`MatMarks`); `side` when it leaves it open.

    Raises
    ------
    InputError
        If the mapping does not fit the file, or the file is damaged.
    RecommendError
        If the extra is not installed.
    """
    known, document = read_mapping(MatMarks, mapping, "marks")
    head = validate(MarksHead, document, from_text=True)
    if sorted(known.axes) != ["marks", "time", "xy"] or sorted(known.order) != sorted(MARKS):
        raise InputError(Place(str(mapping)), "`axes` or `order` leaves something out",
                         f"axes: time, marks, xy; order: {', '.join(MARKS)}")  # fmt: skip
    array = open_array(path, known.marks, limit_mb).astype(np.float64)
    points = np.transpose(array, [known.axes.index(axis) for axis in ("time", "marks", "xy")])
    if points.shape[1:] != (4, 2) or len(points) > MAX_FRAMES:
        found = f"`{known.marks[:40]}` is {points.shape} as time, marks, xy"
        mend = "correct `axes` in the mapping"
        raise InputError(Place(str(path)), found, "four marks with x and y", mend)
    points = points[:, [known.order.index(mark) for mark in MARKS]]
    points[..., 1] *= -1.0 if head.y_axis == "down" else 1.0
    return head.recording(points, path, side)


def read_marks_csv(
    path: Path, side: Side | None = None, mapping: Path | None = None
) -> MarksRecording:
    """Read a CSV of marks (see the module's docstring); `side` when the head leaves it open.

    Cells are parted by commas, semicolons or tabs; with the last two a decimal comma may stand.
    With a `mapping` the columns bear the lab's own names.

    Raises
    ------
    InputError
        If head, columns or numbers do not fit; names the line.
    """
    names: dict[str, str] = {}
    if mapping is None:
        document, lines = read_head(path)
    else:
        known, document = read_mapping(MarksMapping, mapping, "marks")
        lines, names = known.skip_lines, known.columns
        _refuse_unknown(Place(str(mapping)), names)
    head = validate(MarksHead, document, from_text=True)
    foot = head.foot(path, side)
    frames, table, dropped = _table(path, lines, names, head.rate_hz)
    if head.y_axis == "down":
        for name in (*MARK_COLUMNS, *PLUMB_COLUMNS):
            if name.endswith("-y") and name in table:
                table[name] = -table[name]
    plumb = all(name in table for name in PLUMB_COLUMNS)
    return head.recording(
        np.stack([table[name] for name in MARK_COLUMNS], axis=1).reshape(-1, 4, 2),
        path,
        foot,
        contact=_contact(table),
        stances=_stances(document.place(("stance",)), head.stance, frames),
        plumb=np.stack([table[name] for name in PLUMB_COLUMNS], axis=1).reshape(-1, 2, 2)
        if plumb
        else None,
        dropped=dropped,
        seen=_seen(document.place(("seen",)), head.seen),
        heel_height=table.get("heel-height"),
    )


def _table(
    path: Path, head_lines: int, names: Mapping[str, str], rate_hz: float
) -> tuple[NDArray[np.int64], dict[str, FloatArray], int]:
    """Frame numbers, a column of each name, and how many frames were left out."""
    numbers, columns = _rows(path, head_lines, names)
    if "frame" not in columns:  # a column of seconds
        seconds = numbers[:, columns.index("time")]
        counted = np.round((seconds - seconds[0]) * rate_hz)
        numbers, columns = np.column_stack([counted, numbers]), ["frame", *columns]
    return _even_frames(path, head_lines, numbers, columns)


def _seen(place: Place, text: str | None) -> tuple[Flag, ...]:
    """The doubts that a line of a head states: ``widened motion-blur: what it says | ...``."""
    flags = []
    for part in (text or "").split(" | ") if text else []:
        words, colon, detail = part.partition(": ")
        effect, _, name = words.partition(" ")
        known = next((one for one in EFFECTS if one == effect), None)
        if not (colon and name and known):
            raise InputError(
                place, f"`{part[:40]}` is no doubt", "`widened motion-blur: what it says`"
            )
        flags.append(Flag(name, detail, known))
    return tuple(flags)


def _refuse_unknown(place: Place, columns: Iterable[str]) -> None:
    for name in columns:
        if name not in _COLUMNS:
            hint = nearest(name, _COLUMNS)
            raise InputError(
                place, f"`{name[:40]}` is not a known column", ", ".join(_COLUMNS), hint
            )


def _rows(path: Path, head_lines: int, names: Mapping[str, str]) -> tuple[FloatArray, list[str]]:
    """All numbers below the line of column names, NaN for empty cells.

    `names` says how our columns are called in the file; empty when they bear our names.
    """
    rows: list[list[float]] = []
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        lines = islice(file, head_lines, None)
        title = next(lines, "")
        separator = next((sign for sign in (";", "\t") if sign in title), ",")
        found = [name.strip() for name in next(csv.reader([title], delimiter=separator), [])]
        place = Place(str(path), head_lines + 1)
        columns, kept = _named(place, found, names)
        _check_columns(place, columns)
        reader = csv.reader(lines, delimiter=separator)
        for cells in reader:
            place = Place(str(path), head_lines + 1 + reader.line_num)
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) == len(found) + 1 and not cells[-1].strip():
                cells.pop()  # a separator at the end of each line
            if separator != ",":
                cells = [cell.replace(",", ".") for cell in cells]
            if kept is not None and len(cells) == len(found):
                cells = [cells[i] for i in kept]
            rows.append(_numbers(place, cells, columns))
            if len(rows) > MAX_FRAMES:
                raise InputError(place, f"more than {MAX_FRAMES} frames", mend="cut the recording")
    if len(rows) < 2:
        raise InputError(Place(str(path)), f"there are {len(rows)} frames", "at least 2")
    return np.array(rows), columns


def _named(
    place: Place, found: list[str], names: Mapping[str, str]
) -> tuple[list[str], list[int] | None]:
    """Our names of the columns that are read, and where they stand; None when it is all."""
    if not names:
        return found, None
    for ours, theirs in names.items():
        if theirs not in found:
            raise InputError(
                place, f"there is no column `{theirs[:40]}`, which is to be `{ours}`",
                ", ".join(found[:40]), nearest(theirs, found),
            )  # fmt: skip
    return list(names), [found.index(theirs) for theirs in names.values()]


def _check_columns(place: Place, columns: list[str]) -> None:
    for number, name in enumerate(columns):
        _refuse_unknown(place, [name])
        if name in columns[number + 1 :]:
            raise InputError(place, f"the column `{name}` stands twice", "each column once")
    if "frame" not in columns and "time" not in columns:
        raise InputError(place, "the column `frame` is missing", mend="add `frame`, or `time` in s")
    for name in MARK_COLUMNS:
        if name not in columns:
            raise InputError(place, f"the column `{name}` is missing", mend=f"add `{name}`")


def _numbers(place: Place, cells: list[str], columns: list[str]) -> list[float]:
    if len(cells) != len(columns):
        raise InputError(
            place, f"this line has {len(cells)} cells", f"{len(columns)}, one for each column"
        )
    out = []
    for name, cell in zip(columns, cells, strict=True):
        word = cell.strip()
        try:
            value = float(word) if word else float("nan")
        except ValueError:
            value = float("inf")
        if np.isinf(value):
            raise InputError(
                place, f"`{name}` is `{word[:20]}`", "a finite number, or nothing if missing"
            )
        out.append(value)
    return out


def _even_frames(
    path: Path, head_lines: int, numbers: FloatArray, columns: list[str]
) -> tuple[NDArray[np.int64], dict[str, FloatArray], int]:
    """Rows for every frame number from first to last; frames left out become NaN."""
    frames = numbers[:, columns.index("frame")]
    steps = np.diff(frames)
    wrong = np.flatnonzero(~((steps >= 1) & (steps == np.round(steps))))
    if np.isnan(frames).any() or len(wrong):
        row = int(wrong[0]) + 1 if len(wrong) else int(np.argmax(np.isnan(frames)))
        raise InputError(
            Place(str(path), head_lines + 2 + row),
            f"the frame number is {frames[row]:g} after {frames[max(row - 1, 0)]:g}",
            "whole numbers that count up",
        )
    count = int(frames[-1] - frames[0]) + 1
    if count > MAX_FRAMES:
        raise InputError(
            Place(str(path)), f"the frames span {count} numbers", f"up to {MAX_FRAMES}"
        )
    at = (frames - frames[0]).astype(np.int64)
    table = {}
    for i, name in enumerate(columns):
        table[name] = np.full(count, np.nan)
        table[name][at] = numbers[:, i]
    return np.arange(count) + int(frames[0]), table, count - len(frames)


def _contact(table: Mapping[str, FloatArray]) -> Mask | None:
    """Contact of every frame; a frame that does not say it has that of the frame before it.

    A dropped frame must not cut one stance in two.
    """
    if "contact" not in table:
        return None
    signal = table["contact"]
    known = np.flatnonzero(~np.isnan(signal))
    if not len(known):
        return None
    last = np.searchsorted(known, np.arange(len(signal)), side="right") - 1
    return np.asarray(signal[known[np.maximum(last, 0)]] > 0)


def _stances(
    place: Place, text: str | None, frames: NDArray[np.int64]
) -> tuple[tuple[int, int], ...] | None:
    if text is None:
        return None
    spans = []
    for part in text.split(";"):
        first, dash, last = part.strip().partition("-")
        if not (dash and first.strip().isdigit() and last.strip().isdigit()):
            raise InputError(place, f"`{part.strip()[:30]}` is not a stance", "`12-80; 152-220`")
        start, stop = int(first) - int(frames[0]), int(last) - int(frames[0]) + 1
        if not 0 <= start < stop - 1 <= len(frames) - 1:
            raise InputError(
                place,
                f"the stance {part.strip()} does not lie in the frames of the file",
                f"frames {frames[0]} to {frames[-1]}, the first before the last",
            )
        spans.append((start, stop))
    return tuple(spans)


def marks_csv(recording: MarksRecording, film_sha256: str) -> str:
    """The marks of one leg as text; numbers keep four digits behind the point, y counts up."""
    head = {
        "capture": "marks",
        "unit": recording.unit,
        "y-axis": "up",
        "rate-hz": f"{recording.rate_hz:g}",
        "side": recording.side,
        "gait": recording.gait,
        "condition": recording.condition,
        "film-sha256": film_sha256,
        "centre-error": f"{recording.centre_error:.3g}",
    }
    if recording.seen:
        told = (f"{f.effect} {f.name}: {f.detail.replace('|', '/')}" for f in recording.seen)
        head["seen"] = " | ".join(told)
    columns, table = [*MARK_COLUMNS], recording.points.reshape(len(recording.points), -1)
    if recording.heel_height is not None:
        columns.append("heel-height")
        table = np.column_stack([table, recording.heel_height])
    if recording.plumb is not None:
        columns += PLUMB_COLUMNS
        table = np.column_stack([table, recording.plumb.reshape(len(table), -1)])
    out = io.StringIO()
    out.writelines(f"# {key}: {word}\n" for key, word in head.items())
    out.write(",".join(["frame", "time", *columns]) + "\n")
    for number, row in enumerate(table):
        cells = ["" if np.isnan(value) else f"{value:.4f}" for value in row]
        out.write(",".join([str(number + 1), f"{number / recording.rate_hz:.4f}", *cells]) + "\n")
    return out.getvalue()
