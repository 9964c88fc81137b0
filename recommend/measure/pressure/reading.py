"""Read pressure frames from NPZ or plain CSV, in pieces, within a limit of memory.

CSV: a head of ``# key: value`` lines, then numbers separated by commas, semicolons or tabs. One
line is one row of sensors, or one whole frame row after row; empty lines are skipped.
NPZ: the array ``pressure`` (time, rows, columns) and the same keys as in the head, with
underscores for hyphens (``rate_hz``, ``pitch_mm``, ``unit`` ...).
"""

from __future__ import annotations

import tokenize
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from recommend.errors import InputError, Place
from recommend.measure.header import CaptureHead, read_head
from recommend.measure.model import Side
from recommend.measure.pressure.mat import read_mat
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
    pitch_mm: float = Field(gt=0, le=50)
    column_pitch_mm: float | None = Field(default=None, gt=0, le=50)
    rows: int | None = Field(default=None, ge=4, le=4096)
    columns: int | None = Field(default=None, ge=4, le=4096)
    load: Load = "dynamic"
    saturation_kpa: float | None = Field(default=None, gt=0)

    def recording(self, frames: Frames, name: str) -> PressureRecording:
        """The recording of `frames`, given in this head's unit; converts them in place."""
        scale = _KPA_PER_UNIT[self.unit]
        if scale != 1.0:
            np.multiply(frames, np.float32(scale), out=frames)
        return PressureRecording(
            frames=frames,
            pitch_mm=(self.pitch_mm, self.column_pitch_mm or self.pitch_mm),
            rate_hz=self.rate_hz,
            side=self.side,
            load=self.load,
            gait=self.gait,
            condition=self.condition,
            saturation_kpa=self.saturation_kpa,
            name=name,
            device=self.device,
        )


def read_pressure(
    path: Path, parameters: Parameters, side: Side | None = None, mapping: Path | None = None
) -> PressureRecording:
    """Read a pressure capture, NPZ, CSV or .mat by its suffix.

    `side` is that where the head leaves it open; `mapping` says what the arrays of a .mat file are.

    Raises
    ------
    InputError
        If head or numbers do not fit, the recording is larger than ``capture.recording-limit``,
        or `side` is not the side in the head.
    """
    if path.suffix.lower() == ".mat":
        document, frames = read_mat(path, mapping, parameters.capture.recording_limit)
        _refuse_beyond(frames, Place(str(path)))
        recording = validate(PressureHead, document, from_text=True).recording(frames, str(path))
    else:
        reader = read_pressure_npz if path.suffix.lower() == ".npz" else read_pressure_csv
        recording = reader(path, parameters)
    if side and recording.side and side != recording.side:
        raise InputError(
            Place(str(path)), f"the head says `side: {recording.side}`, you say {side}",
            mend="correct one of the two",
        )  # fmt: skip
    return replace(recording, side=side or recording.side)


def read_pressure_csv(path: Path, parameters: Parameters) -> PressureRecording:
    """Read a CSV capture (see the module's docstring).

    Raises
    ------
    InputError
        If head or numbers do not fit, or the recording is larger than
        ``capture.recording-limit``.
    """
    document, lines = read_head(path)
    head = validate(PressureHead, document, from_text=True)
    for key in ("rows", "columns"):
        if getattr(head, key) is None:
            raise InputError(Place(str(path), 1), f"`{key}` is missing", mend=f"add `# {key}: ...`")
    shape = (head.rows or 0, head.columns or 0)
    limit = parameters.capture.recording_limit
    if path.stat().st_size > _MOST_BYTES_PER_NUMBER / 4 * limit * _MB:
        raise _too_large(Place(str(path)), limit)  # at once, not after reading half of it
    frames = _csv_frames(path, lines, shape, limit)
    _refuse_beyond(frames, Place(str(path)))
    return head.recording(frames, str(path))


def read_pressure_npz(path: Path, parameters: Parameters) -> PressureRecording:
    """Read an NPZ capture (see the module's docstring); errors as in `read_pressure_csv`."""
    place = Place(str(path))
    try:
        with zipfile.ZipFile(path) as archive:
            _refuse_large_array(archive, place, parameters.capture.recording_limit)
        with np.load(path, allow_pickle=False) as arrays:
            data = {key.replace("_", "-"): arrays[key] for key in arrays.files if key != "pressure"}
            pressure = arrays["pressure"]
    except _NOT_NPZ as error:
        raise InputError(
            place,
            f"the file is not a pressure capture in NPZ ({error})",
            "an archive with the array `pressure` (time, rows, columns) and the keys of the head",
        ) from None
    head = validate(PressureHead, _scalar_document(path, data), from_text=True)
    if pressure.ndim != 3 or pressure.dtype.kind not in "fiu" or not pressure.size:
        raise InputError(
            place,
            f"`pressure` is {pressure.dtype} of shape {pressure.shape}",
            "numbers (time, rows, columns)",
        )
    with np.errstate(over="ignore"):  # what is too large becomes infinite, and is told
        frames = np.asarray(pressure, dtype=np.float32, order="C")
    _refuse_beyond(frames, place)
    return head.recording(frames, str(path))


def _refuse_beyond(frames: NDArray[np.float32], place: Place) -> None:
    """Refuse numbers so large that reckoning with them overflows."""
    low, high = np.fmin.reduce(frames, axis=None), np.fmax.reduce(frames, axis=None)
    if max(-low, high) > _BEYOND:
        raise InputError(
            place, "`pressure` holds numbers that no sensor gives", "finite numbers, or nan"
        )


_BEYOND = 1e6  # a guard of reckoning, not a limit of the trade
_LAST_SIGN = 0x10FFFF  # the last code point of Unicode
_KINDS = "biufU"  # numbers and text
# What a damaged archive makes its readers raise.
_NOT_NPZ = (
    zipfile.BadZipFile, zlib.error, EOFError, ValueError, OSError, KeyError, SyntaxError, TypeError,
    NotImplementedError, RuntimeError, MemoryError, tokenize.TokenError,
)  # fmt: skip


def _scalar_document(path: Path, data: Mapping[str, NDArray[Any]]) -> Document:
    plain: dict[str, Any] = {"capture": "pressure"}
    for key, value in data.items():
        if value.ndim:
            raise InputError(Place(str(path)), f"`{key}` is an array", "one number or word")
        if value.dtype.kind == "U" and value.reshape(1).view(np.uint32).max(initial=0) > _LAST_SIGN:
            raise InputError(Place(str(path)), f"`{key}` holds no text", "a word")
        plain[key] = value.item()
    return Document(str(path), plain, {(): (0, 0)}, {}, "")


def _refuse_large_array(archive: zipfile.ZipFile, place: Place, limit_mb: float) -> None:
    unpacked = sum(info.file_size for info in archive.infolist())
    if unpacked > limit_mb * _MB:
        raise _too_large(place, limit_mb)
    for name in archive.namelist():
        if not name.endswith(".npy"):
            raise ValueError(f"`{name[:40]}` is no array")
        with archive.open(name) as file:
            version = np.lib.format.read_magic(file)
            read = np.lib.format.read_array_header_1_0
            shape, _, kind = (read if version == (1, 0) else np.lib.format.read_array_header_2_0)(
                file
            )
        count = int(np.prod(shape, dtype=object))
        # Values become float32, and are held twice while they do.
        if max(4, kind.itemsize) * count > limit_mb * _MB:
            raise _too_large(place, limit_mb)
        if kind.kind not in _KINDS:
            raise ValueError(f"`{name[:40]}` holds {kind}")
        if min(shape, default=0) < 0 or (name != "pressure.npy" and shape):
            raise ValueError(f"`{name[:40]}` has the shape {shape}")


def _too_large(place: Place, limit_mb: float) -> InputError:
    return InputError(
        place,
        f"the recording takes more than {limit_mb:g} MB in memory",
        f"up to {limit_mb:g} MB (capture.recording-limit in rules/parameters/capture.yaml)",
        "cut it into files of some steps each",
    )


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
                raise _too_large(Place(str(path)), limit_mb)
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
