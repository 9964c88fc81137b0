"""The one console that everything is printed through, and the small pieces of every screen."""

from __future__ import annotations

import contextlib
import functools
import io
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING, Any, Literal, ParamSpec, TextIO, cast

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.pager import Pager
from rich.text import Text

from recommend.door import NARROW, Door, visible
from recommend.rulebook import Rulebook

if TYPE_CHECKING:
    from rich.table import Table  # tables and bars are imported where one is made: seldom

WIDE = 100  # columns from which a second column of detail is shown


class SectionTitle(Text):
    """The title of a section, which says nothing by itself."""


class Unbroken(Text):
    """A line with a path or a piece of a file in it, which only the terminal itself breaks."""


def heading(title: str) -> SectionTitle:
    """The title of a section, with a line of air above."""
    return SectionTitle(f"\n{title}", style="bold underline")


def bullet(text: str | Text, style: str = "") -> RenderableType:
    """A line of a list that wraps under itself."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 1))
    grid.add_row("  -", Text(text, style=style) if isinstance(text, str) else text)
    return grid


def bullets(lines: Sequence[str], most: int, more: str) -> Iterator[RenderableType]:
    """A list of at most `most` lines, or that there is none; `more` says where the others are."""
    yield from map(bullet, lines[:most] or ["none"])
    if len(lines) > most:
        yield bullet(f"and {len(lines) - most} more ({more})")


def numbered(lines: Iterable[str], none: str) -> Iterator[RenderableType]:
    """A list with numbers; where there is nothing in it, `none` says so."""
    texts = list(lines)
    if not texts:
        yield bullet(none)
    yield from (inset(f"{n}. {text}", 2) for n, text in enumerate(texts, 1))


def inset(block: RenderableType, by: int, style: str = "") -> RenderableType:
    """A paragraph or a table moved in by some columns."""
    return Padding(Text(block, style=style) if isinstance(block, str) else block, (0, 0, 0, by))


_NONE = slice(0)


def plain_table(*columns: str, gap: int = 2, right: slice = _NONE, whole: slice = _NONE) -> Table:
    """A table without rules, columns `gap` apart.

    Columns of `right` are set to the right, those of `whole` are not broken into lines.
    """
    from rich.table import Table

    table = Table(box=None, padding=(0, gap, 0, 0), pad_edge=False, header_style="bold")
    for name in columns:
        table.add_column(name)
    for column in table.columns[right]:
        column.justify = "right"
    for column in table.columns[whole]:
        column.no_wrap = True
    return table


FIRST = 23  # lines of an answer where not all of it is asked for: a screen of 24 with its prompt
NARROWEST = 40  # below it nothing is laid out; the terminal breaks the lines
Given = ParamSpec("Given")
_BLANKS = re.compile(r"[ \t]+$", re.MULTILINE)


def console(*, stderr: bool = False) -> Console:
    """A console for stdout (or stderr); plain text when that is not a terminal.

    ``NO_COLOR`` and ``COLUMNS`` are honoured. Not at a terminal, lines are 80 wide.
    """
    stream = sys.stderr if stderr else sys.stdout
    # NO_COLOR asks for plain text: neither colour nor weight.
    colours: Literal["auto"] | None = None if os.environ.get("NO_COLOR") else "auto"
    out = Console(file=stream, highlight=False, soft_wrap=False, emoji=False, color_system=colours)
    if not out.is_terminal and "COLUMNS" not in out._environ:
        out = Console(file=stream, highlight=False, width=NARROW, no_color=True, emoji=False)
    out.width = max(out.width, NARROWEST)
    if not out.is_terminal:
        out.file = cast(IO[str], _Trimmed(stream))
    return out


def print_byline(book: Rulebook) -> None:
    """Print by which rules a screen was made, as its last line, where no line of it says so."""
    console().print(Text(book.byline, style="dim"))


def print_paged(blocks: Iterable[RenderableType], *, pager: bool = True) -> None:
    """Print `blocks`; at a terminal, what is longer than the screen opens in the user's pager.

    ``PAGER`` names it; ``less`` is told to keep bold and colour unless ``LESS`` says otherwise.
    """
    out = console()
    if not (pager and out.is_terminal and sys.stdin.isatty()):
        _print_all(out, blocks)
        return
    kept = list(blocks)
    with out.capture() as seen:
        _print_all(out, kept)
    if seen.get().count("\n") < out.height:
        _print_all(out, kept)
        return
    os.environ.setdefault("LESS", "-R")
    with out.pager(_Pager(), styles=True):
        _print_all(out, kept)


def print_blocks(blocks: Iterable[RenderableType]) -> None:
    """Print `blocks`, one below the other."""
    _print_all(console(), blocks)


def _print_all(out: Console, blocks: Iterable[RenderableType]) -> None:
    for block in blocks:
        out.print(block, soft_wrap=isinstance(block, Unbroken))


def first_screen(blocks: Iterable[RenderableType], more: str) -> list[RenderableType]:
    """As many whole `blocks` as a screen of `FIRST` lines holds, then `more`: how to see all."""
    out, last = console(), Text(more, style="dim")
    kept: list[RenderableType] = []
    left = FIRST - len(out.render_lines(last))
    for block in blocks:
        left -= len(out.render_lines(block))
        if left < 0:
            break
        kept.append(block)
    while kept and isinstance(kept[-1], SectionTitle):
        kept.pop()
    return [*kept, last]


def paged(command: Callable[Given, None]) -> Callable[Given, None]:
    """A command that prints line by line; at a terminal, what is too long opens in the pager."""

    @functools.wraps(command)
    def held(*args: Given.args, **named: Given.kwargs) -> None:
        if not (sys.stdout.isatty() and sys.stdin.isatty()):
            command(*args, **named)
            return
        kept = io.StringIO()
        try:
            with contextlib.redirect_stdout(kept):
                command(*args, **named)
        finally:
            if kept.getvalue().count("\n") < console().height:
                sys.stdout.write(kept.getvalue())
            else:
                _Pager().show(kept.getvalue())

    return held


class _Pager(Pager):
    """The user's pager, which is a door of its own."""

    def show(self, content: str) -> None:
        """Show `content`, its colours kept."""
        from pydoc import pager  # only here: a screen that fits needs none of it

        pager(visible(content, colour=True))


class _Trimmed:
    """A stream without the blanks that fill a line to its end: a file keeps none of them."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write `text` without blanks before the end of a line."""
        return self._stream.write(_BLANKS.sub("", text))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


Advance = Callable[[int, int], None]


@contextmanager
def stages() -> Iterator[Callable[[str], Advance]]:
    """Opens stages by name; each gives a function to call with how much is done, and of what."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    out = console(stderr=True)
    out.file = getattr(sys.stderr, "unchecked", sys.stderr)
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:3.0f} %"),
        TimeRemainingColumn(),
        console=out,
        transient=True,
        disable=not out.is_terminal,
    )

    def stage(name: str) -> Advance:
        task = bar.add_task(name, total=None)
        return lambda done, total: bar.update(task, completed=done, total=total)

    with bar:
        if out.is_terminal:  # what others write while the bar runs goes through the door still
            sys.stdout, sys.stderr = Door(sys.stdout, must=True), Door(sys.stderr, must=False)
        yield stage


@contextmanager
def working(on: str) -> Iterator[Advance]:
    """A bar named `on` that shows something is under way; call what it gives to show how much."""
    with stages() as stage:
        yield stage(on)
