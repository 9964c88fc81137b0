"""Commands: parse the arguments, call what decides, show it, return the exit code."""

from __future__ import annotations

from typing import Any

import typer


def single(function: Any) -> typer.Typer:
    """A typer app that is one command, for a module in `recommend/commands/`."""
    one = typer.Typer(add_completion=False, rich_markup_mode=None)
    one.command()(function)
    return one
