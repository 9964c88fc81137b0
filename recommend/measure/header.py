"""The head of a capture file: lines ``# key: value`` above the numbers of a CSV.

The head is checked like any other file a person writes: unknown keys are refused with the nearest
spelling, and every message names file and line.
"""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Literal

from pydantic import Field

from recommend.errors import InputError, Place
from recommend.measure.model import Side
from recommend.reading import Document, Strict
from recommend.visit.models import DeviceName

Gait = Literal["standing", "walking", "running"]


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
            if lines > _MOST_LINES:
                raise InputError(
                    Place(str(path), lines), f"the head has more than {_MOST_LINES} lines"
                )
            key, value = _key_value(raw, Place(str(path), lines))
            if key in data:
                raise InputError(Place(str(path), lines), f"`{key}` stands twice", "each key once")
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
