"""The one door to the terminal: what is let out and in, and what becomes of signs it cannot show.

Names of files, remarks and lists are written by others. A control character in them, or one that
turns the direction of writing, is shown as its number and never obeyed. A sign that the console
lacks becomes one that it has. A reader that goes away (`| head`) ends nothing.
"""

from __future__ import annotations

import codecs
import errno
import io
import os
import re
import sys
import unicodedata
from collections.abc import Callable, Iterable
from contextlib import suppress
from typing import Any, TextIO

from recommend.errors import InputError, Place

NARROW = 80  # columns where there is no terminal

# Colour and weight, which only our own console writes. All else that controls a terminal, what
# turns the direction of writing, and what stands in for a byte that is no character.
_OURS = r"\x1b\[[0-9;]*m"
_OTHERS = (
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ufeff\ud800-\udfff]"
)
_WITH_COLOUR, _PLAIN = re.compile(f"{_OURS}|{_OTHERS}"), re.compile(_OTHERS)
_LONGEST = 10_000  # characters of a line that is typed
_LACKING = "plain-signs"  # the name of our way with signs that a console lacks
# Said otherwise where the console has no such sign; letters lose their marks.
_OTHERWISE = {
    "°": " deg", "±": "+/-", "·": "-", "−": "-", "–": "-", "—": "-", "→": "->",
    "≥": ">=", "≤": "<=", "×": "x", "ß": "ss", "█": "#", "▓": "#", "▒": "+",
    "░": ".", "●": "*", "◐": "o", "○": ".",
}  # fmt: skip


def visible(text: str, *, colour: bool = False) -> str:
    """`text` with what would control a terminal shown as its number: ``<U+001B>`` for escape.

    Line ends and tabs stay, and with `colour` colours do.
    """
    return (_WITH_COLOUR if colour else _PLAIN).sub(_number, text)


def _number(found: re.Match[str]) -> str:
    text = found.group()
    return text if len(text) > 1 else f"<U+{ord(text):04X}>"


def in_plain_signs(error: UnicodeError) -> tuple[str, int]:
    """What is written in place of signs that an encoding lacks, for `codecs.register_error`."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lacking = error.object[error.start : error.end]
    said = "".join(_OTHERWISE.get(sign, unicodedata.normalize("NFKD", sign)) for sign in lacking)
    plain = said.encode("ascii", "ignore").decode() or "?" * len(lacking)
    return plain, error.end


class Door:
    """A stream that lets out text as `visible` has it.

    Parameters
    ----------
    stream : where it goes.
    must : whether it is an error when nothing can be written there (the disk is full).
    """

    def __init__(self, stream: TextIO, *, must: bool) -> None:
        self._stream, self._must = stream, must
        # Colour may be asked for where there is no terminal, for a pager that shows it.
        self._colour = stream.isatty() or bool(os.environ.get("FORCE_COLOR"))
        self._gone = False

    def write(self, text: str) -> int:
        """Write `text`; what a reader that went away would have read is dropped.

        Nothing is done of an empty text: libraries write one to find out what a stream is, and
        keep to themselves that it fails.
        """
        shown = visible(text, colour=self._colour)
        if shown:
            self._do(lambda: self._stream.write(shown))
        return len(text)

    @property
    def unchecked(self) -> TextIO:
        """The stream itself, for what this program alone draws: a bar goes back over its line."""
        return self._stream

    def writelines(self, lines: Iterable[str]) -> None:
        """Write each of `lines`."""
        for line in lines:
            self.write(line)

    def flush(self) -> None:
        """Hand on what is written."""
        self._do(self._stream.flush)

    def _do(self, what: Callable[[], object]) -> None:
        if self._gone:
            return
        try:
            what()
        except BrokenPipeError:
            self._give_up()
        except OSError as error:
            self._give_up()
            if self._must:
                found = f"cannot be written ({error.strerror})"
                mend = (
                    "make room"
                    if error.errno == errno.ENOSPC
                    else "let it go where it can be written"
                )
                raise InputError(Place("output"), found, mend=mend) from error

    def _give_up(self) -> None:
        """Let what is still buffered, and all that is still written, go nowhere."""
        self._gone = True
        nowhere = os.open(os.devnull, os.O_WRONLY)
        with suppress(OSError):  # of a stream that was closed from the beginning
            os.dup2(nowhere, self._stream.fileno())
        os.close(nowhere)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


class Closed(io.StringIO):
    """An output that was closed before the program began: nothing can be written there."""

    def write(self, _text: str) -> int:
        """Fail, as a full disk does."""
        raise OSError(errno.EBADF, "it is closed")

    def fileno(self) -> int:
        """Fail: there is none."""
        raise OSError(errno.EBADF, "it is closed")


def typed() -> str:
    """One line of what is typed, or handed over by a file or another program.

    Raises
    ------
    EOFError
        If there is nothing more, or nothing can be read.
    InputError
        If the line has no end, as that of some devices.
    """
    if sys.stdin.isatty():
        return input()
    try:
        line = sys.stdin.readline(_LONGEST)
    except OSError:  # opened for writing alone
        line = ""
    if not line:
        raise EOFError
    if len(line) == _LONGEST:
        raise InputError(
            Place("input"), f"a line is longer than {_LONGEST} characters", "an answer on each line"
        )
    return line.rstrip("\n")


def open_door() -> None:
    """Put the door before both outputs; a closed input or error output is an empty one."""
    codecs.register_error(_LACKING, in_plain_signs)
    if sys.stdin is None:
        sys.stdin = open(os.devnull, encoding="utf-8")  # noqa: SIM115 - for as long as we run
    elif isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")  # bytes that are no text are refused as an answer
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            nowhere = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - as long as we run
            stream = Closed() if name == "stdout" else nowhere
        if not isinstance(stream, Door):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors=_LACKING)
            setattr(sys, name, Door(stream, must=name == "stdout"))
