"""Small pieces that every screen is made of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

if TYPE_CHECKING:
    from rich.table import Table  # else where one is made: a screen of lines alone needs none

WIDE = 100  # columns from which a second column of detail is shown


class Heading(Text):
    """The title of a section, which says nothing by itself."""


def heading(title: str) -> Heading:
    """The title of a section, with a line of air above."""
    return Heading(f"\n{title}", style="bold underline")


def bullet(text: str | Text, style: str = "") -> RenderableType:
    """A line of a list that wraps under itself."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 1))
    grid.add_row("  -", Text(text, style=style) if isinstance(text, str) else text)
    return grid


def inset(text: str | Text, by: int, style: str = "") -> RenderableType:
    """A paragraph moved in by some columns."""
    body = Text(text, style=style) if isinstance(text, str) else text
    return Padding(body, (0, 0, 0, by))


def plain_table(*columns: str, gap: int = 2) -> Table:
    """A table without rules, columns `gap` apart."""
    from rich.table import Table

    table = Table(box=None, padding=(0, gap, 0, 0), pad_edge=False, header_style="bold")
    for column in columns:
        table.add_column(column)
    return table
