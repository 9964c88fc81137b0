"""Read pressure frames from NPZ or plain CSV, in pieces, within a limit of memory.

CSV: a head of ``# key: value`` lines, then numbers separated by commas, semicolons or tabs. One
line is one row of sensors, or one whole frame row after row; empty lines are skipped.
NPZ: the array ``pressure`` (time, rows, columns) and the same keys as in the head, with
underscores for hyphens (``rate_hz``, ``pitch_mm``, ``unit`` ...).
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from recommend.errors import InputError, Place
from recommend.measure.apart import GaveUpError, opened
from recommend.measure.header import (
    CaptureHead,
    LabMapping,
    foot_of,
    open_array,
    read_head,
    read_mapping,
    too_large,
)
from recommend.measure.model import Side
from recommend.measure.pressure.recording import Frames, Load, PressureRecording
from recommend.parameters import Parameters
from recommend.reading import Document, validate

_KPA_PER_UNIT = {"kPa": 1.0, "N/cm2": 10.0}  # definition: 1 N/cm2 = 10 kPa
_CHUNK = 500_000  # bytes of text held at a time
_MB = 1_000_000
_MOST_BYTES_PER_NUMBER = 8  # of text; a number takes 4 bytes in memory


class PressureHead(CaptureHead):
    """Head of a pressure capture; `rows` and `columns` are needed in CSV only."""

    capture: Literal["pressure"]
    unit: Literal["kPa", "N/cm2"]
    pitch_mm: float = Field(ge=0.1, le=50)
    column_pitch_mm: float | None = Field(default=None, ge=0.1, le=50)
    rows: int | None = Field(default=None, ge=4, le=4096)
    columns: int | None = Field(default=None, ge=4, le=4096)
    load: Load = "dynamic"
    saturation_kpa: float | None = Field(default=None, gt=0)

    def recording(self, frames: Frames, name: str) -> PressureRecording:
        """The recording of `frames`, given in this head's unit; converts them in place."""
        _refuse_beyond(frames, Place(name))
        scale = _KPA_PER_UNIT[self.unit]
        if scale != 1.0:
            np.multiply(frames, np.float32(scale), out=frames)
        return PressureRecording(
            frames=frames,
            pitch_mm=(self.pitch_mm, self.column_pitch_mm or self.pitch_mm),
            side=self.side,
            load=self.load,
            saturation_kpa=self.saturation_kpa,
            name=name,
            **self.common(),
        )


Axis = Literal["time", "rows", "columns"]
_AXES: tuple[Axis, ...] = ("time", "rows", "columns")


class MatMapping(LabMapping):
    """How a lab's own MATLAB file is to be read.

    `pressure` is the name of the array, with dots where it lies in a struct; `axes` says what its
    three axes are.
    """

    pressure: str
    axes: list[Axis] = Field(default=list(_AXES), min_length=3, max_length=3)

    @model_validator(mode="after")
    def _each_once(self) -> MatMapping:
        if set(self.axes) != set(_AXES):
            raise ValueError("`axes` names time, rows and columns, each once")
        return self


def read_pressure(
    path: Path, parameters: Parameters, side: Side | None = None, mapping: Path | None = None
) -> PressureRecording:
    """Read a pressure capture, NPZ, CSV or .mat by its suffix (see the module's docstring).

    `side` is that where the head leaves it open; `mapping` says what the arrays of a .mat file are.

    Raises
    ------
    InputError
        If head or numbers do not fit, the recording is larger than ``capture.recording-limit``,
        or `side` is not the side in the head.
    RecommendError
        If it is a .mat file, and the extra is not installed.
    """
    limit, suffix = parameters.capture.recording_limit, path.suffix.lower()
    if suffix == ".mat":
        recording = _of_mat(path, mapping, limit)
    else:
        recording = (_of_npz if suffix == ".npz" else _of_csv)(path, limit)
    return replace(recording, side=foot_of(path, recording.side, side))


def _of_mat(path: Path, mapping: Path | None, limit_mb: float) -> PressureRecording:
    if mapping is None:
        raise InputError(
            Place(str(path)), "a .mat file does not say what its arrays are",
            mend="describe them in a file and give it with --mapping (`recommend help captures`)",
        )  # fmt: skip
    known, document = read_mapping(MatMapping, mapping, "pressure")
    pressure = open_array(path, known.pressure, limit_mb)
    frames = np.transpose(pressure, [known.axes.index(axis) for axis in _AXES])
    head = validate(PressureHead, document, from_text=True)
    return head.recording(np.ascontiguousarray(frames), str(path))


def _of_csv(path: Path, limit_mb: float) -> PressureRecording:
    document, lines = read_head(path)
    head = validate(PressureHead, document, from_text=True)
    for key in ("rows", "columns"):
        if getattr(head, key) is None:
            raise InputError(Place(str(path), 1), f"`{key}` is missing", mend=f"add `# {key}: ...`")
    if path.stat().st_size > _MOST_BYTES_PER_NUMBER / 4 * limit_mb * _MB:
        raise too_large(path, limit_mb)  # at once, not after reading half of it
    frames = _csv_frames(path, lines, (head.rows or 0, head.columns or 0), limit_mb)
    return head.recording(frames, str(path))


def _of_npz(path: Path, limit_mb: float) -> PressureRecording:
    try:
        frames, said = opened("npz", path, {"limit": limit_mb})
    except GaveUpError as reason:
        if reason.too_large:
            raise too_large(path, limit_mb) from None
        raise InputError(
            Place(str(path)),
            f"the file is not a pressure capture in NPZ ({reason})",
            "an archive with the array `pressure` (time, rows, columns) and the keys of the head",
        ) from None
    data = {"capture": "pressure"} | {key.replace("_", "-"): one for key, one in said.items()}
    head = validate(PressureHead, Document(str(path), data, {(): (0, 0)}, {}, ""), from_text=True)
    return head.recording(frames, str(path))


def _refuse_beyond(frames: NDArray[np.float32], place: Place) -> None:
    """Refuse numbers so large that reckoning with them overflows."""
    low, high = np.fmin.reduce(frames, axis=None), np.fmax.reduce(frames, axis=None)
    if max(-low, high) > _BEYOND:
        raise InputError(
            place, "`pressure` holds numbers that no sensor gives", "finite numbers, or nan"
        )


_BEYOND = 1e6  # a guard of reckoning, not a limit of the trade


def _csv_frames(path: Path, head_lines: int, shape: tuple[int, int], limit_mb: float) -> Frames:
    """(time, rows, columns) float32, read in pieces that end at a line."""
    cells = shape[0] * shape[1]
    pieces: list[NDArray[np.float32]] = []
    size = 0
    with path.open("rb") as file:
        for _ in range(head_lines):
            file.readline()
        for first_line, text in _chunks(file, head_lines + 1):
            pieces.append(_numbers(text, path, first_line, shape))
            size += pieces[-1].nbytes
            if size > limit_mb * _MB:
                raise too_large(path, limit_mb)
    count = sum(len(piece) for piece in pieces)
    if not count or count % cells:
        raise InputError(
            Place(str(path)),
            f"there are {count} numbers",
            f"whole frames of {shape[0]} x {shape[1]} = {cells} numbers",
            "check `rows` and `columns`, and that the last frame is complete",
        )
    out = np.empty(count, dtype=np.float32)
    at = 0
    while pieces:
        piece = pieces.pop(0)
        out[at : at + len(piece)] = piece
        at += len(piece)
    return out.reshape(-1, *shape)


def _chunks(file: BinaryIO, line: int) -> Iterator[tuple[int, bytes]]:
    """Whole lines of `file`, some at a time, with the number of the first."""
    while text := file.read(_CHUNK):
        text += file.readline()
        yield line, text
        line += text.count(b"\n")


def _numbers(
    text: bytes, path: Path, first_line: int, shape: tuple[int, int]
) -> NDArray[np.float32]:
    """All numbers of some whole lines; finds the line at fault when one does not fit."""
    separator = _separator(text)
    if separator != b",":
        text = text.replace(b",", b".")  # a decimal comma
    _check_lines(text, separator, path, first_line, shape)
    flat = text.replace(b"\r", b"").replace(b" ", b"").strip(b"\n")
    while b"\n\n" in flat:
        flat = flat.replace(b"\n\n", b"\n")
    if not flat:
        return np.empty(0, dtype=np.float32)
    values = _parse(flat.replace(b"\n", separator) + separator, separator)
    if values is None or np.isinf(values).any():
        raise _fault(text, separator, path, first_line)
    return values


def _parse(flat: bytes, separator: bytes) -> NDArray[np.float32] | None:
    """Numbers of `flat`, each ended by `separator`; None when one of them is not a number.

    Most sensors of a frame carry no load, so cells of one digit are taken by their byte and only
    the others go through the text parser: about four times as fast as parsing all of them.
    """
    codes = np.frombuffer(flat, dtype=np.uint8)
    ends = np.flatnonzero(codes == separator[0])
    starts = np.concatenate(([0], ends[:-1] + 1))
    short = ends - starts == 1
    values = codes[starts].astype(np.float32) - np.float32(ord("0"))
    empty = (ends == starts).any()
    if empty or (values[short] < 0).any() or (values[short] > 9).any():
        return None
    in_short = np.zeros(len(codes), dtype=bool)
    in_short[starts[short]] = True
    in_short[ends[short]] = True
    long_text = codes[~in_short].tobytes()[:-1]
    if not long_text:
        return values
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)  # how older numpy says 'not a number'
        try:
            parsed = np.fromstring(long_text.decode("ascii"), np.float32, sep=separator.decode())
        except (DeprecationWarning, ValueError, UnicodeDecodeError):
            return None
    if len(parsed) != np.count_nonzero(~short):
        return None
    values[~short] = parsed
    return values


def _separator(text: bytes) -> bytes:
    line = text.lstrip(b"\r\n").split(b"\n", 1)[0]
    return next((sign for sign in (b";", b"\t") if sign in line), b",")


def _check_lines(
    text: bytes, separator: bytes, path: Path, first_line: int, shape: tuple[int, int]
) -> None:
    """Each line holds one row or one frame; a short line would shift all that follow."""
    allowed = {shape[1] - 1, shape[0] * shape[1] - 1}
    for offset, line in enumerate(text.split(b"\n")):
        count = line.count(separator)
        if count not in allowed and line.strip():
            raise InputError(
                Place(str(path), first_line + offset),
                f"this line holds {count + 1} numbers",
                f"{shape[1]} (one row of sensors) or {shape[0] * shape[1]} (one frame)",
            )


def _fault(text: bytes, separator: bytes, path: Path, first_line: int) -> InputError:
    for offset, line in enumerate(text.split(b"\n")):
        if not line.strip():
            continue
        for column, cell in enumerate(line.split(separator), start=1):
            fault = _cell_fault(cell)
            if fault:
                return InputError(
                    Place(str(path), first_line + offset),
                    f"number {column} of the line {fault}",
                    "finite numbers with a decimal point, or nan for a dead sensor",
                    "write 0 for a sensor without load" if not cell.strip() else "",
                )
    return InputError(Place(str(path), first_line), "the numbers cannot be read")


def _cell_fault(cell: bytes) -> str:
    word = cell.strip().decode("utf-8", "replace")
    if not word:
        return "is empty"
    try:
        value = float(word)
    except ValueError:
        return f"is `{word[:20]}`"
    return "is infinite" if abs(value) > float(np.finfo(np.float32).max) else ""
