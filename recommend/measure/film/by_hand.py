"""Marks put right by hand: ``upper-heel@120=412,633``, on the command line or in a text file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from recommend.errors import InputError, Place, nearest
from recommend.measure.model import SIDES, Side
from recommend.measure.video.recording import MARKS
from recommend.reading import read_text

_FORM: Final = re.compile(
    r"(?:(?P<side>left|right)-)?(?P<mark>[a-z-]+)@(?P<frame>[0-9]{1,9})="
    r"(?:(?P<x>[0-9]{1,9}(?:\.[0-9]{1,9})?),(?P<y>[0-9]{1,9}(?:\.[0-9]{1,9})?)|none)"
)
_ALLOWED = "`upper-heel@120=412,633`: mark, frame, x and y in px; or `upper-heel@120=none`"


@dataclass(frozen=True, slots=True)
class PutRight:
    """A mark as the fitter sees it.

    `side` is None where the pixel says it; `frame` counts from 1; `at` is x and y in px from the
    upper left of the picture, or None when the mark cannot be seen there.
    """

    mark: int
    frame: int
    at: tuple[float, float] | None
    side: Side | None
    said: str


def put_right(words: Sequence[str]) -> tuple[PutRight, ...]:
    """The marks that `words` put right; a word that is a file holds one on each line.

    Raises
    ------
    InputError
        If a word, or a line of a file, does not have the form.
    """
    out: list[PutRight] = []
    for word in words:
        if "@" in word:
            out.append(_parsed(word, Place("--put-right")))
            continue
        try:
            lines = read_text(Path(word)).splitlines()
        except InputError as error:
            raise InputError(
                Place("--put-right"), f"`{word[:60]}` is neither a mark nor a file that can be "
                f"read ({error.found})", _ALLOWED,
            ) from None  # fmt: skip
        for number, line in enumerate(lines, 1):
            if line.strip() and not line.lstrip().startswith("#"):
                out.append(_parsed(line.strip(), Place(word, number)))
    return tuple(out)


def _parsed(word: str, place: Place) -> PutRight:
    found = _FORM.fullmatch(word)
    if not found:
        raise InputError(place, f"`{word[:60]}` names no mark in a frame", _ALLOWED)
    if found["mark"] not in MARKS:
        raise InputError(
            place, f"`{found['mark'][:40]}` is no mark", ", ".join(MARKS),
            nearest(found["mark"], MARKS),
        )  # fmt: skip
    at = None if found["x"] is None else (float(found["x"]), float(found["y"]))
    side = next((one for one in SIDES if one == found["side"]), None)
    return PutRight([*MARKS].index(found["mark"]), int(found["frame"]), at, side, word)
