"""The one console that everything is printed through."""

from __future__ import annotations

import io
import re
import sys
from typing import IO, Any, TextIO, cast

from rich.console import Console

NARROW = 80
_BLANKS = re.compile(r"[ \t]+$", re.MULTILINE)


def console(*, stderr: bool = False) -> Console:
    """A console for stdout (or stderr); plain text when that is not a terminal.

    ``NO_COLOR`` and ``COLUMNS`` are honoured. Not at a terminal, lines are 80 wide.
    """
    stream = sys.stderr if stderr else sys.stdout
    if isinstance(stream, io.TextIOWrapper) and not stream.encoding.lower().startswith("utf"):
        stream.reconfigure(errors="replace")  # a sign the terminal lacks becomes a question mark
    out = Console(file=stream, highlight=False, soft_wrap=False, emoji=False)
    if not out.is_terminal and "COLUMNS" not in out._environ:
        out = Console(file=stream, highlight=False, width=NARROW, no_color=True, emoji=False)
    if not out.is_terminal:
        out.file = cast(IO[str], _Trimmed(stream))
    return out


class _Trimmed:
    """A stream without the blanks that fill a line to its end: a file keeps none of them."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write `text` without blanks before the end of a line."""
        return self._stream.write(_BLANKS.sub("", text))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)
