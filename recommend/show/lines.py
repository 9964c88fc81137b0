"""Lines of a screen that are laid out already, printed without a console where none is needed.

A console knows terminals, colours and wide signs. To a file or another program goes plain text,
and a start is held light by leaving the console out there.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from recommend.door import NARROW

if TYPE_CHECKING:
    from rich.text import Text

# What makes a console of what is no terminal, or another width of it.
_ASKED_FOR = ("COLUMNS", "FORCE_COLOR", "TTY_COMPATIBLE")
_FIRST_WIDE = "\u0300"  # every printable sign before it is one column wide


class ScreenLine(NamedTuple):
    """One line of a screen: a label in a style of its own, and text."""

    label: str
    style: str
    text: str

    @property
    def plain(self) -> str:
        """The line without its style."""
        return self.label + self.text

    def __rich__(self) -> Text:
        """The line as the console prints it."""
        from rich.text import Text

        return Text.assemble((self.label, self.style), self.text)


def columns() -> int:
    """How many columns a line of the output has."""
    if _needs_no_console():
        return NARROW
    from recommend.show.console import console

    return console().width


def print_lines(lines: Sequence[ScreenLine], *, pager: bool = True) -> None:
    """Print lines as `print_paged` does, through the console where it is needed."""
    told = [line.plain.rstrip(" ") for line in lines]
    if _needs_no_console() and all(map(_narrow, told)):
        print(*told, sep="\n")
        return
    from recommend.show.console import print_paged

    print_paged(lines, pager=pager)


def _needs_no_console() -> bool:
    return not sys.stdout.isatty() and not any(name in os.environ for name in _ASKED_FOR)


def _narrow(line: str) -> bool:
    """Whether a line stands in its columns as it is, one sign in each."""
    return len(line) <= NARROW and line.isprintable() and max(line, default="") < _FIRST_WIDE
