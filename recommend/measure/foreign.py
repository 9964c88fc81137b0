"""Opens one foreign binary file in a process of its own, and hands on plain numbers.

``python -m recommend.measure.foreign KIND FILE OUT JSON`` is started by `apart.opened`. KIND is
``npz`` (a pressure capture), ``mat`` (one array of a MATLAB file of version 5) or ``c3d`` (points).
OUT becomes one array, OUT with ``.json`` after it what else the file says. A library that crashes
on damaged bytes, or asks for all memory, ends this process and not the program.
"""

from __future__ import annotations

import json
import shutil
import struct
import sys
import zipfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from recommend.errors import nearest
from recommend.measure.apart import NOT_READ, TOO_LARGE, limit

_KINDS = "biufU"  # numbers and text
_LAST_SIGN = 0x10FFFF  # the last code point of Unicode
_MB = 1_000_000
Told = Mapping[str, Any]
# The array, or the name of one that is copied as it stands; and what else the file says.
Held = tuple[Any, dict[str, Any]]


class TooLargeError(Exception):
    """What the file holds takes more memory than a recording may."""


def main(kind: str, file: str, out: str, told: str) -> int:
    """Read `file`; 0 when that worked, else `NOT_READ` or `TOO_LARGE` and the reason in words."""
    options = json.loads(told)
    limit(int(options["megabytes"]), int(options["seconds"]))
    try:
        array, head = OPENERS[kind](file, options)
        with Path(out).open("wb") as stream:
            if isinstance(array, str):
                _copy_member(file, array, stream)
            else:
                np.save(stream, np.ascontiguousarray(array))
        Path(f"{out}.json").write_text(json.dumps(head), encoding="ascii")
    except TooLargeError:
        return TOO_LARGE
    except Exception as error:  # whatever a damaged file makes its reader raise is one sentence
        said = "it needs too much memory" if isinstance(error, MemoryError) else str(error)
        print(" ".join(said.split())[:200] or type(error).__name__, file=sys.stderr)
        return NOT_READ
    return 0


def npz(file: str, told: Told) -> Held:
    """The array ``pressure`` (time, rows, columns) as float32; the other arrays are the head."""
    with zipfile.ZipFile(file) as archive:
        if sum(info.file_size for info in archive.infolist()) > told["limit"] * _MB:
            raise TooLargeError
        for name in archive.namelist():
            _refuse_other_arrays(archive, name, told["limit"])
        as_held = _is_as_held(archive)
    with np.load(file, allow_pickle=False) as arrays:
        head = {name: _plain(name, arrays[name]) for name in arrays.files if name != "pressure"}
        if as_held:
            return _PRESSURE, head
        pressure = arrays["pressure"]
    if pressure.ndim != 3 or pressure.dtype.kind not in "fiu" or not pressure.size:
        raise ValueError(
            f"`pressure` is {pressure.dtype} of shape {pressure.shape}, not numbers (time, rows, "
            "columns)"
        )
    return _as_float32(pressure), head


_PRESSURE = "pressure.npy"


def _is_as_held(archive: zipfile.ZipFile) -> bool:
    """Whether the pressures are already what a recording holds, so that they are only copied."""
    if _PRESSURE not in archive.namelist():
        return False
    shape, fortran, kind = _array_head(archive, _PRESSURE)
    return len(shape) == 3 and min(shape) > 0 and not fortran and kind == np.dtype("<f4")


def _copy_member(file: str, name: str, stream: BinaryIO) -> None:
    """Copy an array out of an archive as it stands, piece by piece; its checksum is checked."""
    with zipfile.ZipFile(file) as archive, archive.open(name) as member:
        shape, _, kind = _array_head(archive, name)
        shutil.copyfileobj(member, stream, _MB)
        left = stream.tell() - int(np.prod(shape)) * kind.itemsize
        if left < 0 or left > _LONGEST_HEAD:
            raise ValueError(f"`{name}` does not hold what its head says")


_LONGEST_HEAD = 70_000  # bytes before the numbers of an array


def _array_head(archive: zipfile.ZipFile, name: str) -> tuple[tuple[int, ...], bool, Any]:
    """Shape, whether columns come first, and kind of an array of an archive."""
    with archive.open(name) as file:
        version = np.lib.format.read_magic(file)
        first = version == (1, 0)
        read = np.lib.format.read_array_header_1_0 if first else np.lib.format.read_array_header_2_0
        shape, fortran, kind = read(file)
    return shape, fortran, kind


def _refuse_other_arrays(archive: zipfile.ZipFile, name: str, limit_mb: float) -> None:
    """Refuse by its head an array that is too large, or of another kind than a capture's."""
    if not name.endswith(".npy"):
        raise ValueError(f"`{name[:40]}` is no array")
    shape, _, kind = _array_head(archive, name)
    count = int(np.prod(shape, dtype=object))
    # Values become float32, and are held twice while they do.
    if max(4, kind.itemsize) * count > limit_mb * _MB:
        raise TooLargeError
    if kind.kind not in _KINDS:
        raise ValueError(f"`{name[:40]}` holds {kind}")
    if min(shape, default=0) < 0 or (name != "pressure.npy" and shape):
        raise ValueError(f"`{name[:40]}` has the shape {shape}, not one number or word")


def _plain(name: str, value: Any) -> Any:
    if value.dtype.kind == "U" and value.reshape(1).view(np.uint32).max(initial=0) > _LAST_SIGN:
        raise ValueError(f"`{name}` holds no text")
    return value.item()


def _as_float32(numbers: Any) -> Any:
    with np.errstate(over="ignore"):  # what is too large becomes infinite, and is told
        return np.asarray(numbers, dtype=np.float32, order="C")


def mat(file: str, told: Told) -> Held:
    """The numbers (three axes) that ``name`` stands for, a struct's fields parted by dots."""
    from scipy.io import loadmat, whosmat

    name = str(told["name"])
    top, *fields = name.split(".")
    _refuse_unnamed(top, [one for one, _, _ in whosmat(file)], "the file")
    found = loadmat(file, variable_names=[top], struct_as_record=False, squeeze_me=True)[top]
    for field in fields:
        _refuse_unnamed(field, getattr(found, "_fieldnames", []), f"`{top[:40]}`")
        found = getattr(found, field)
    if getattr(found, "ndim", 0) != 3 or found.dtype.kind not in "fiu" or not found.size:
        shape = getattr(found, "shape", ())
        raise ValueError(f"`{name[:40]}` has the shape {shape}, not three axes of numbers")
    if found.size * 4 > told["limit"] * _MB:
        raise TooLargeError
    return _as_float32(found), {}


def _refuse_unnamed(name: str, known: Sequence[str], where: str) -> None:
    """Refuse a name that is not there, with the nearest that is."""
    if name not in known:
        held = ", ".join(known[:40]) or "nothing by name"
        hint = nearest(name, known)
        raise LookupError(
            f"there is no `{name[:40]}` in {where}, which holds {held}{'; ' if hint else ''}{hint}"
        )


def c3d(file: str, _told: Told) -> Held:
    """The points (3, points, frames); names, unit, rate, events and force plates are the head."""
    data = _parsed(file)
    point = data["parameters"]["POINT"]
    points = data["data"]["points"]
    if points.shape[2] < _frames_said(file):
        raise ValueError("it is cut short")
    units = (point.get("UNITS") or {"value": ["mm"]})["value"]
    head = {
        "labels": [str(label).strip() for label in point["LABELS"]["value"]],
        "unit": str(units[0]) if len(units) else "mm",
        "rate": float(data["header"]["points"]["frame_rate"]),
        "first": int(data["header"]["points"]["first_frame"]),
        "events": _events(data["parameters"].get("EVENT") or {}),
    }
    force, corners = _plates(data["data"].get("platform", ()), points.shape[2])
    head |= {"force": force.round(1).tolist(), "corners": corners.tolist()}
    return points[:3].astype(np.float64), head


# What the library cannot make out of a file's force plates is as if there were none.
_NO_PLATES = (OSError, RuntimeError, ValueError, IndexError, KeyError, MemoryError)


def _parsed(file: str) -> Any:
    """What is in the file, with its force plates where they can be made out."""
    import ezc3d

    try:
        return ezc3d.c3d(file, extract_forceplat_data=True)
    except _NO_PLATES:
        return ezc3d.c3d(file)


def _plates(plates: Any, frames: int) -> tuple[Any, Any]:
    """(plates, frames) force into each force plate in N, and (plates, 3, 4) its corners."""
    try:
        corners = np.array([plate["corners"] for plate in plates], dtype=np.float64)
        force = np.array([_pressed(plate, frames) for plate in plates])
        whole = corners.ndim == 3 and force.ndim == 2 and np.isfinite(corners).all()
    except _NO_PLATES:
        whole = False
    return (
        (np.nan_to_num(force), corners) if whole else (np.empty((0, frames)), np.empty((0, 3, 4)))
    )


def _pressed(plate: Any, frames: int) -> Any:
    """(frames,) size of the force across one plate in N, at the instant of each frame."""
    force, corners = np.asarray(plate["force"]), np.asarray(plate["corners"])
    if plate["unit_force"] != "N" or not frames or force.shape[1] < frames:
        raise ValueError("no force in N for each frame")
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 1])
    every = force.shape[1] // frames
    return np.abs(across / np.linalg.norm(across) @ force[:, ::every][:, :frames])


def _events(group: Any) -> list[list[Any]]:
    """Label, context (the side) and time in s of each event."""
    try:
        labels, contexts = (list(group[name]["value"]) for name in ("LABELS", "CONTEXTS"))
        times = np.atleast_2d(np.asarray(group["TIMES"]["value"], dtype=np.float64))
    except (KeyError, TypeError, ValueError):
        return []
    if times.shape[0] != 2 or not len(labels) == len(contexts) == times.shape[1]:
        return []
    seconds = 60.0 * times[0] + times[1]
    return [
        [str(a).strip(), str(b).strip(), float(t)]
        for a, b, t in zip(labels, contexts, seconds, strict=True)
    ]


def _frames_said(file: str) -> int:
    """How many frames the head promises (words 4 and 5, c3d.org); the library forgives fewer."""
    with Path(file).open("rb") as stream:
        head = stream.read(512)
        stream.seek((head[0] - 1) * 512 + 3)
        processor = stream.read(1)
    if processor != bytes([84]):  # another order of bytes
        return 0
    first, last = struct.unpack("<HH", head[6:10])
    return int(last - first + 1)


OPENERS: Mapping[str, Callable[[str, Told], Held]] = {"npz": npz, "mat": mat, "c3d": c3d}

if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:5]))
