"""Pressure frames from a MATLAB file of version 5, by a mapping; needs the extra ``mat``.

The file is opened in a process of its own (``python -m recommend.measure.pressure.mat``), with
limits of time and memory.
"""

from __future__ import annotations

import importlib.util
import sys
import tempfile
from pathlib import Path
from typing import Any, Literal

import numpy as np
from pydantic import Field, model_validator

from recommend.errors import InputError, Place
from recommend.extras import not_installed
from recommend.measure.apart import GaveUpError, limit_memory, run_apart
from recommend.measure.pressure.recording import Frames
from recommend.reading import Document, Strict, read_document, validate

_SECONDS, _MEGABYTES = 10, 1500  # what opening a foreign file may take
Axis = Literal["time", "rows", "columns"]
_AXES: tuple[Axis, ...] = ("time", "rows", "columns")


class MatMapping(Strict):
    """How a lab's own MATLAB file is to be read.

    `pressure` is the name of the array, with dots where it lies in a struct; `axes` says what its
    three axes are; `head` is what the head of a capture would say (``rate-hz``, ``pitch-mm``,
    ``unit`` ...).
    """

    pressure: str
    head: dict[str, str | float]
    axes: list[Axis] = Field(default=list(_AXES), min_length=3, max_length=3)

    @model_validator(mode="after")
    def _each_once(self) -> MatMapping:
        if set(self.axes) != set(_AXES):
            raise ValueError("`axes` names time, rows and columns, each once")
        return self


def read_mat(path: Path, mapping: Path | None, limit_mb: float) -> tuple[Document, Frames]:
    """The head that `mapping` gives, and (time, rows, columns) as numbered in the file at `path`.

    Raises
    ------
    InputError
        If there is no mapping, it does not fit the file, or the file is no MATLAB file of version
        5, is damaged, or takes more than `limit_mb` of memory.
    RecommendError
        If the extra is not installed.
    """
    if mapping is None:
        raise InputError(
            Place(str(path)), "a .mat file does not say what its arrays are",
            mend="describe them in a file and give it with --mapping (`recommend help captures`)",
        )  # fmt: skip
    known = validate(MatMapping, read_document(mapping))
    words = {"capture": "pressure"} | {key: str(word) for key, word in known.head.items()}
    if importlib.util.find_spec("scipy") is None:
        raise not_installed("reading .mat", "mat")
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "pressure.npy"
        told = [str(path), str(out), known.pressure, str(limit_mb)]
        try:
            run_apart(__name__, told, quiet_s=_SECONDS)
        except GaveUpError as reason:
            raise InputError(
                Place(str(path)), f"cannot be read as MATLAB version 5 ({reason})"
            ) from None
        pressure = np.load(out, allow_pickle=False)
    frames = np.transpose(pressure, [known.axes.index(axis) for axis in _AXES])
    return Document(str(mapping), words, {(): (1, 1)}, {}, ""), np.ascontiguousarray(frames)


def main(file: str, out: str, name: str, limit_mb: str) -> int:
    """Write the array `name` of `file` to `out` as float32; 0 when that worked, else 3."""
    limit_memory(_MEGABYTES)
    try:
        pressure = _array(file, name)
        if pressure.size * 4 > float(limit_mb) * 1_000_000:
            raise ValueError(f"`{name[:40]}` takes more than {limit_mb} MB; cut the recording")
        np.save(out, pressure.astype(np.float32))
    except Exception as error:  # whatever a damaged file makes its reader raise is one sentence
        print(" ".join(str(error).split())[:200] or type(error).__name__, file=sys.stderr)
        return 3
    return 0


def _array(file: str, name: str) -> Any:
    """The numbers (three axes) that `name` stands for, a struct's fields parted by dots."""
    from scipy.io import loadmat, whosmat

    top, *fields = name.split(".")
    names = [one for one, _, _ in whosmat(file)]
    if top not in names:
        raise ValueError(f"`{top[:40]}` is not in it; it holds {', '.join(names)}")
    found = loadmat(file, variable_names=[top], struct_as_record=False, squeeze_me=True)[top]
    for field in fields:
        if not hasattr(found, field):
            raise ValueError(f"`{field[:40]}` is not in `{top[:40]}`")
        found = getattr(found, field)
    if getattr(found, "ndim", 0) != 3 or found.dtype.kind not in "fiu" or not found.size:
        shape = getattr(found, "shape", ())
        raise ValueError(f"`{name[:40]}` has the shape {shape}, not three axes of numbers")
    return found


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:5]))
