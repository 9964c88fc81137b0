"""Options that several commands share, what the shell offers for them, and the reading of values.

Light, so that no start is slower. What the shell offers on Tab (codes, products, rules, records) is
found without loading rules; it must be quick and never fail: what cannot be read offers nothing.
"""

from __future__ import annotations

import inspect
import json
import os
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import MISSING, fields
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer
from typer.core import TyperCommand

from recommend.errors import InputError, Place, RecommendError, nearest
from recommend.settings import setting

if TYPE_CHECKING:
    from recommend.match.outcome import Outcome
    from recommend.visit.shelf import Shelf

_ID = re.compile(r"^\s*(?:-\s+)?id:\s*([a-z0-9-]+)\s*(?:#.*)?$", re.MULTILINE)
_RULES = re.compile(r"^rules:", re.MULTILINE)
_KIND = re.compile(r"^\s*(?:-\s+)?kind:\s*(shoe|insole)\b", re.MULTILINE)


def offering(find: Callable[[], Iterable[str]]) -> Callable[[str], list[str]]:
    """What is offered on Tab: all that `find` gives and that begins as it was typed."""

    def offered(incomplete: str) -> list[str]:
        try:
            return [one for one in find() if one.startswith(incomplete)]
        except (RecommendError, OSError, UnicodeDecodeError):
            return []

    return offered


def _shelf() -> Shelf:
    from recommend.visit.shelf import Shelf

    return Shelf(setting("visits").value)


@offering
def references() -> Iterable[str]:
    """Reference codes of visits on the shelf and under way."""
    shelf = _shelf()
    under_way = {one.reference for one in shelf.drafts()}
    return sorted({one.reference for one in shelf.finished()} | under_way)


@offering
def drafts() -> Iterable[str]:
    """Reference codes of visits under way."""
    return (one.reference for one in _shelf().drafts())


@offering
def shoes() -> Iterable[str]:
    """Ids of shoes in the catalogue of the shop."""
    return _products("shoe")


@offering
def insoles() -> Iterable[str]:
    """Ids of insoles in the catalogue of the shop."""
    return _products("insole")


@offering
def rule_ids() -> Iterable[str]:
    """Ids of the rules of the shop's rulebook, by the look of their lines."""
    texts = [file.read_text("utf-8") for file in sorted(setting("rulebook").value.glob("*/*.yaml"))]
    return sorted({one[1] for text in texts if _RULES.search(text) for one in _ID.finditer(text)})


@offering
def records() -> Iterable[str]:
    """Numbers of kept records and the references they are of, `last` among them."""
    count, codes = _kept()
    return ("last", *map(str, range(count, 0, -1)), *codes)


@offering
def customers() -> Iterable[str]:
    """References that kept records are of."""
    return _kept()[1]


def _kept() -> tuple[int, list[str]]:
    """How many records are kept, and of which references."""
    from recommend.records.database import store_path
    from recommend.records.store import Store

    try:
        with Store(store_path(None)) as opened:
            return len(opened), opened.known_references()
    except (RecommendError, OSError):
        return 0, []


def _products(kind: str) -> list[str]:
    folders: list[Path] = setting("catalogue").value
    return sorted({id_ for folder in folders for id_, k in _ids(folder) if k == kind})


def _ids(folder: Path) -> Iterator[tuple[str, str]]:
    """Ids and kinds of the products in a folder, by the look of their lines."""
    inner = folder / "products" if (folder / "products").is_dir() else folder
    for file in sorted(inner.glob("*.yaml")):
        text = file.read_text("utf-8")
        places = [*_ID.finditer(text)]
        for number, place in enumerate(places):
            end = places[number + 1].start() if number + 1 < len(places) else len(text)
            kind = _KIND.search(text, place.end(), end)
            if kind:
                yield place[1], kind[1]


StorePath = Annotated[
    Path | None,
    typer.Option(
        "--store",
        metavar="PATH",
        help="The record store. Default: RECOMMEND_STORE, else the platform's data folder.",
    ),
]

Keep = Annotated[
    bool | None, typer.Option("--keep/--no-keep", help="keep it as a record; as in `setup show`")
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
    str | None,
    typer.Option("--cluster", help="Count on the dask cluster whose scheduler is there."),
]

RulesFolder = Annotated[
    Path | None, typer.Option("--rules", help="folder of the rulebook; else as in `setup show`")
]

CatalogueFolders = Annotated[
    list[Path] | None,
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


def outcome_for(visit: str, catalogue: list[Path] | None, rules: Path | None) -> Outcome:
    """What the shop's rules and products make of a visit that is called by its path or its code."""
    from recommend.catalogue.shop import open_catalogue, open_rulebook, open_visit
    from recommend.way import outcome_of

    book = open_rulebook(rules)
    seen = open_visit(visit_file(visit), book)
    return outcome_of(seen, book, open_catalogue(book, catalogue))


def print_json(data: Any) -> None:
    """Print plain data as indented JSON."""
    print(json.dumps(data, indent=2, ensure_ascii=False))


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


def group(words: str, **more: Any) -> typer.Typer:
    """A group of commands that is explained in these words."""
    return typer.Typer(
        help=words, add_completion=False, rich_markup_mode=None, no_args_is_help=True, **more
    )


def taking(command: Callable[[Any], None]) -> Callable[..., None]:
    """A command whose argument is a dataclass, each field of that an option or argument of its own.

    Fields are listed in the order of the class, those without a default first.
    """
    (kind,) = (hint for name, hint in get_type_hints(command).items() if name != "return")
    hints = get_type_hints(kind, include_extras=True)
    listed = [
        inspect.Parameter(
            one.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=inspect.Parameter.empty if one.default is MISSING else one.default,
            annotation=hints[one.name],
        )
        for one in sorted(fields(kind), key=lambda one: one.default is not MISSING)
    ]

    @wraps(command)
    def taken(**given: Any) -> None:
        command(kind(**given))

    taken.__signature__ = inspect.Signature(listed)  # type: ignore[attr-defined]
    taken.__annotations__ = {one.name: one.annotation for one in listed}
    del taken.__wrapped__
    return taken


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
