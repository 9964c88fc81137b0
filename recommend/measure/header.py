"""What every capture file says of itself, and how it is opened where it says that otherwise.

The head of a CSV are lines ``# key: value`` above its numbers. It is checked like any other file a
person writes: unknown keys are refused with the nearest spelling, and every message names file
and line. What a lab's own file does not say, a mapping says in its place.
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from recommend.errors import InputError, Place
from recommend.extras import need
from recommend.measure.apart import GaveUpError, opened
from recommend.measure.model import Side
from recommend.reading import Document, Strict, read_document, validate
from recommend.visit.models import DeviceName

Gait = Literal["standing", "walking", "running"]
Facing = Literal["+x", "-x", "+y", "-y", "+z", "-z"]  # a way in a laboratory's axes


class CaptureHead(Strict):
    """What every capture says of itself.

    `condition` is ``barefoot`` or the id of the product worn. `side` may be left out of a
    pressure capture only, where it is told from the footprint. `device` is what took it, `date`
    the day.
    """

    capture: Literal["pressure", "marks"]
    rate_hz: float = Field(ge=1, le=10_000)
    side: Side | None = None
    gait: Gait = "walking"
    condition: str = "barefoot"
    device: DeviceName = ""
    date: datetime.date | None = None

    def common(self) -> dict[str, Any]:
        """What a recording of any kind takes over."""
        names = ("rate_hz", "gait", "condition", "device", "date")
        return {name: getattr(self, name) for name in names}


class LabMapping(Strict):
    """How a lab's own file is to be read; `head` is what the head of a capture would say."""

    head: dict[str, str | float]


Mapped = TypeVar("Mapped", bound=LabMapping)


def read_mapping(kind: type[Mapped], path: Path, capture: str) -> tuple[Mapped, Document]:
    """A mapping for a `capture` of one kind, and the head that it stands for.

    Raises
    ------
    InputError
        If it does not fit.
    """
    known = validate(kind, read_document(path))
    words = {"capture": capture} | {key: str(word) for key, word in known.head.items()}
    return known, Document(str(path), words, {(): (1, 1)}, {}, "")


def foot_of(path: Path, in_head: Side | None, given: Side | None) -> Side | None:
    """The foot that the head names, or else the one that is `given`.

    Raises
    ------
    InputError
        If both do, and differ.
    """
    if in_head and given and in_head != given:
        found = f"the head says `side: {in_head}`, you say {given}"
        raise InputError(Place(str(path)), found, mend="correct one of the two")
    return in_head or given


def open_array(path: Path, name: str, limit_mb: float) -> NDArray[np.float32]:
    """The numbers, of three axes, that `name` stands for in the MATLAB file at `path`.

    Raises
    ------
    InputError
        If it is no MATLAB file of version 5, is damaged, or takes more than `limit_mb` of memory.
    RecommendError
        If the extra is not installed.
    """
    need("reading .mat", "mat", "scipy")
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


def too_large(path: Path, limit_mb: float) -> InputError:
    """The error of a recording that takes more memory than one may."""
    return InputError(
        Place(str(path)),
        f"the recording takes more than {limit_mb:g} MB in memory",
        f"up to {limit_mb:g} MB (capture.recording-limit in rules/parameters/capture.yaml)",
        "cut it into files of some steps each",
    )


_MOST_LINES = 200  # a guard of memory


def read_head(path: Path) -> tuple[Document, int]:
    """The head of the CSV at `path` as a document, and the number of lines it takes.

    Raises
    ------
    InputError
        If the file cannot be read, has no head, or a line of it is not ``# key: value``.
    """
    data: dict[str, str] = {}
    places: dict[tuple[str | int, ...], tuple[int, int]] = {(): (1, 1)}
    lines = 0
    with path.open("rb") as file:
        while (raw := file.readline(4096)).lstrip(b"\xef\xbb\xbf").startswith(b"#"):
            lines += 1
            place = Place(str(path), lines)
            if lines > _MOST_LINES:
                raise InputError(place, f"the head has more than {_MOST_LINES} lines")
            key, value = _key_value(raw, place)
            if key in data:
                raise InputError(place, f"`{key}` stands twice", "each key once")
            data[key] = value
            places[(key,)] = (lines, 1)
    if not data:
        raise InputError(
            Place(str(path), 1),
            "the capture has no head",
            "lines `# key: value` above the numbers, such as `# capture: pressure`",
            "see catalogue_demo/captures/README.md, or say how a lab's own columns are named with "
            "--mapping (`recommend help captures`)",
        )
    return Document(str(path), data, places, dict(places), ""), lines


def _key_value(raw: bytes, place: Place) -> tuple[str, str]:
    try:
        text = raw.decode("utf-8-sig").strip()
    except UnicodeDecodeError:
        raise InputError(place, "the head is not text in UTF-8", mend="save it as UTF-8") from None
    key, colon, value = text.lstrip("# ").partition(":")
    if not colon or not key.strip() or not value.strip():
        raise InputError(place, f"`{text[:60]}` is not a line of the head", "`# key: value`")
    return key.strip(), value.strip()
