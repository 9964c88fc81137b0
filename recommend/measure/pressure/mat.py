"""Pressure frames from a MATLAB file of version 5, by a mapping; needs the extra ``mat``."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from recommend.errors import InputError, Place
from recommend.extras import not_installed
from recommend.measure.apart import GaveUpError, opened
from recommend.measure.pressure.recording import Frames, too_large
from recommend.reading import Document, Strict, read_document, validate

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


def open_array(path: Path, name: str, limit_mb: float) -> NDArray[np.float32]:
    """The numbers, of three axes, that `name` stands for in the file at `path`.

    Raises
    ------
    InputError
        If it is no MATLAB file of version 5, is damaged, or takes more than `limit_mb` of memory.
    RecommendError
        If the extra is not installed.
    """
    if importlib.util.find_spec("scipy") is None:
        raise not_installed("reading .mat", "mat")
    try:
        array, _ = opened("mat", path, {"name": name, "limit": limit_mb})
    except GaveUpError as reason:
        if reason.too_large:
            raise too_large(path, limit_mb) from None
        if str(reason).startswith("there is no"):  # the file is well, its mapping is not
            raise InputError(Place(str(path)), str(reason)) from None
        found = f"cannot be read as MATLAB version 5 ({reason})"
        mend = "save it with `-v7`" if path.read_bytes()[:20].startswith(b"MATLAB 7") else ""
        raise InputError(Place(str(path)), found, mend=mend) from None
    return np.asarray(array, dtype=np.float32)


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
    pressure = open_array(path, known.pressure, limit_mb)
    frames = np.transpose(pressure, [known.axes.index(axis) for axis in _AXES])
    return Document(str(mapping), words, {(): (1, 1)}, {}, ""), np.ascontiguousarray(frames)
