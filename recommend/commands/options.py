"""Options that several commands share, and the reading of values; light, so no start is slower."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any, Optional

import typer
from typer.core import TyperCommand

StorePath = Annotated[
    Optional[Path],  # noqa: UP045 - the option parser reads this spelling
    typer.Option(
        "--store",
        metavar="PATH",
        help="The record store. Default: RECOMMEND_STORE, else the platform's data folder.",
    ),
]

_NEGATIVE = re.compile(r"-\s*[.,]?\d")


class TakesNegatives(TyperCommand):
    """A command whose last argument may be a negative number, such as ``-2`` or ``"-3 -4"``.

    The parser would take it for an option; no option of ours begins with a digit.
    """

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse `args`, negative numbers behind a ``--`` of their own."""
        if "--" in args:
            return super().parse_args(ctx, args)
        negative = [arg for arg in args if _NEGATIVE.match(arg)]
        rest = [arg for arg in args if not _NEGATIVE.match(arg)]
        return super().parse_args(ctx, [*rest, "--", *negative] if negative else rest)
