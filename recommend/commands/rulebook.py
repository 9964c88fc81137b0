"""`recommend rulebook`: the rulebook as a whole: compare versions, print it, publish schemas."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from recommend.catalogue.shop import open_catalogue
from recommend.check.authoring import write_schemas
from recommend.check.changes import changes_of
from recommend.check.differing import difference
from recommend.check.finding import fails
from recommend.check.promises import load_promises
from recommend.check.released import write_released
from recommend.check.whole import check
from recommend.commands.options import AsJson, Force
from recommend.errors import Exit
from recommend.output import PAGE, refuse_other_kinds, write_output
from recommend.rulebook import load_rulebook
from recommend.settings import setting
from recommend.show.book_page import book_page
from recommend.show.console import console, working
from recommend.show.difference import (
    difference_json,
    print_books,
    print_difference,
    print_edits,
)
from recommend.show.findings import print_findings

app = typer.Typer(add_completion=False, rich_markup_mode=None, no_args_is_help=True)


@app.callback()
def _rulebook() -> None:
    """The rulebook as a whole: compare versions, print it as a book, publish its schemas."""


@app.command()
def book(
    rules: Annotated[
        Path | None, typer.Argument(help="folder of the rulebook; the shop's when not given")
    ] = None,
    to: Annotated[Path, typer.Option(metavar="FILE", help="the page to write")] = Path(
        "rulebook.html"
    ),
    force: Force = False,
) -> None:
    """Write the whole rulebook as one readable page: stops first, then all that decides.

    Example: recommend rulebook book --to rulebook.html
    """
    refuse_other_kinds(to, PAGE, force=force)
    read = load_rulebook(setting("rulebook", rules).value)
    promises, problems = load_promises(read)
    if problems:
        raise problems[0]
    write_output(to, book_page(read, promises, changes_of(read)), PAGE, force=force)
    print(f"Written: {to}")


@app.command()
def schemas(
    to: Annotated[Path, typer.Argument(metavar="FOLDER", help="where to write them")],
    rules: Annotated[
        Path | None,
        typer.Option(
            "--rules", help="whose questions and typed measures a visit has; the shop's by default"
        ),
    ] = None,
    force: Force = False,
) -> None:
    """Write JSON Schemas of all files, for completion and checking in editors.

    Name one in the first line of a file:
    `# yaml-language-server: $schema=../schemas/rules.schema.json`

    Example: recommend rulebook schemas my-rules/schemas
    """
    book = load_rulebook(setting("rulebook", rules).value)
    for path in write_schemas(to, book.questions, book.measures, force=force):
        print(path)


@app.command()
def release(
    rules: Annotated[Path, typer.Argument(help="folder of the rulebook")],
    by: Annotated[str, typer.Option(help="code of who releases it, never the name")],
    draft: Annotated[
        bool, typer.Option("--draft", help="guard the notes, while the rest may still change")
    ] = False,
) -> None:
    """Write down what this version says and whom it warns; from then on `check` holds it to that.

    Refused while the check finds an error (a draft is made anew with weaker notes), and for a
    version that was released before.

    Example: recommend rulebook release my-rules --by F7
    """
    report = check(rules, [])
    found = [one for one in report.findings if not (draft and one.code == "weakened-note")]
    if fails(found, strict=False):
        print_findings(found, report.looked_at, console())
        raise typer.Exit(Exit.BAD_INPUT)
    print(f"Written: {write_released(load_rulebook(rules), by, draft=draft)}")


@app.command()
def diff(
    old: Annotated[Path, typer.Argument(help="folder of the old rulebook")],
    new: Annotated[Path, typer.Argument(help="folder of the new rulebook")],
    catalogue: Annotated[
        Path | None, typer.Option(help="folder of the catalogue; the shop's when not given")
    ] = None,
    customers: Annotated[int, typer.Option(min=1, max=60000, help="how many are drawn")] = 1500,
    seed: Annotated[int, typer.Option(help="which customers are drawn")] = 1,
    in_json: AsJson = False,
) -> None:
    """Say everything that changed, and over a population of customers whom it touches.

    Exit code 2 when a note or a stop was weakened or removed and the change log does not accept
    it; 5 when what decides or is read has changed, until the change log says by code who saw it.

    Example: recommend rulebook diff rules rules-new
    """
    books = load_rulebook(old, kept=True), load_rulebook(new)
    listed = [catalogue] if catalogue else None
    catalogues = open_catalogue(books[0], listed), open_catalogue(books[1], listed)
    out = console()
    if not in_json:
        print_books(books, out)
    with working("asking what it does to customers") as done:
        told = partial(print_edits, out=out) if not in_json else lambda _edits: None
        found = difference(books, catalogues, customers, seed, told, done)
    if in_json:
        print(json.dumps(difference_json(found), indent=2, ensure_ascii=False))
    else:
        print_difference(found, out)
    if found.weakened:
        raise typer.Exit(Exit.BAD_INPUT)
    if found.unread or found.page:
        raise typer.Exit(Exit.TO_BE_READ)
