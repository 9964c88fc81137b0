"""Options that several commands share, and the reading of values; light, so no start is slower."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Optional

import typer
from typer.core import TyperCommand

from recommend.commands.completing import references
from recommend.errors import InputError, Place, nearest
from recommend.settings import setting

StorePath = Annotated[
    Optional[Path],  # noqa: UP045 - the option parser reads this spelling
    typer.Option(
        "--store",
        metavar="PATH",
        help="The record store. Default: RECOMMEND_STORE, else the platform's data folder.",
    ),
]

Keep = Annotated[
    Optional[bool],  # noqa: UP045
    typer.Option("--keep/--no-keep", help="keep it as a record; as in `setup show`"),
]

Force = Annotated[
    bool, typer.Option("--force", help="Write over a file of another kind that is there.")
]

AsJson = Annotated[bool, typer.Option("--json", help="print the same as JSON")]

Full = Annotated[bool, typer.Option("--full", help="show all of it")]

Pager = Annotated[
    bool, typer.Option("--pager/--no-pager", help="open what is longer than the screen in it")
]

ClusterOption = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option("--cluster", help="Count on the dask cluster whose scheduler is there."),
]

RulesFolder = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option("--rules", help="folder of the rulebook; else as in `setup show`"),
]

CatalogueFolders = Annotated[
    Optional[list[Path]],  # noqa: UP045
    typer.Option(
        "--catalogue",
        metavar="FOLDER",
        help="folder of a catalogue, may be repeated; else as in `setup show`",
    ),
]

VisitName = Annotated[
    str,
    typer.Argument(
        metavar="VISIT",
        help="the customer's reference code (the newest visit), or a visit file",
        autocompletion=references,
    ),
]


def visit_file(name: str, visits: Path | None = None) -> Path:
    """The file of a visit that is called by its path, or by the customer's reference code.

    What looks like a path, or is one, is a path; else it is a code of the folder of visits.

    Raises
    ------
    InputError
        If no visit has that code, with the nearest one.
    """
    if re.search(r"[/\\]|\.(ya?ml|json)$", name) or os.path.isfile(name):
        return Path(name)  # `is_file` of a path would raise where a name is too long
    from recommend.visit.shelf import Shelf  # only here: a path needs none of it

    return Shelf(setting("visits", visits).value).newest(name).path


def called(path: Path) -> str:
    """What to type for a visit file: its reference code where that finds it, else its path."""
    from recommend.visit.shelf import code_of

    code = code_of(path)
    try:
        return code if code and visit_file(code) == path else str(path)
    except InputError:
        return str(path)


_ALSO = {"needs": "wants", "why": "wants"}  # what is wanted stands there with its reasons


def asked_sections(asked: Sequence[str], known: Sequence[str], full: bool) -> tuple[str, ...]:
    """Which sections of a long answer to show: names after ``--show``, or all with ``--full``.

    Raises
    ------
    InputError
        If one is not known, with the nearest.
    """
    if full:
        return tuple(known)
    names = [name for one in asked for name in re.split(r"[,\s]+", one) if name]
    names = [name if name in known else _ALSO.get(name, name) for name in names]
    for name in names:
        if name not in known:
            raise InputError(
                Place("--show"), f"`{name}` is no section", ", ".join(known), nearest(name, known)
            )
    return tuple(names)


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
