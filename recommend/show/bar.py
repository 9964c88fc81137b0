"""A bar on the error stream while something long runs; nothing where it is not a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from recommend.show.console import console

Advance = Callable[[int, int], None]


@contextmanager
def stages() -> Iterator[Callable[[str], Advance]]:
    """Opens stages by name; each gives a function to call with how much is done, and of what."""
    out = console(stderr=True)
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
        yield stage


@contextmanager
def working(on: str) -> Iterator[Advance]:
    """A bar named `on` that shows something is under way; call what it gives to show how much."""
    with stages() as stage:
        yield stage(on)
