"""The one console that everything is printed through."""

from __future__ import annotations

import io
import sys

from rich.console import Console

NARROW = 80


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
    return out
