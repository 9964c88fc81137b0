"""`recommend rulebook`, `rule`: the rulebook as a whole, and one rule in words or begun anew."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from recommend.atomic import write_atomically
from recommend.catalogue.shop import open_catalogue
from recommend.check.authoring import scaffold, write_schemas
from recommend.check.changes import changes_of
from recommend.check.differing import difference
from recommend.check.finding import fails
from recommend.check.promises import load_promises
from recommend.check.reach import touched
from recommend.check.released import write_released
from recommend.check.whole import check
from recommend.commands.options import AsJson, Force, group, print_json, rule_ids
from recommend.errors import Exit, InputError, Place
from recommend.output import PAGE, refuse_other_kinds, write_output
from recommend.rulebook import load_rulebook
from recommend.rulebook.book import Stage
from recommend.rulebook.contents import Edit
from recommend.rulebook.loading import STAGES, read_rulebook
from recommend.settings import setting
from recommend.show.book_page import book_page
from recommend.show.console import console, print_blocks, print_byline, working
from recommend.show.findings import findings_blocks
from recommend.show.rulebook import (
    books_heading,
    difference_blocks,
    difference_json,
    edits_blocks,
    rule_blocks,
)

app = group("The rulebook as a whole: compare versions, print it as a book, publish its schemas.")
ShopRules = Annotated[
    Path | None, typer.Option("--rules", help="folder of the rulebook; the shop's by default")
]
rule = group("Show a rule in words, or start a new one.")


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
        print_blocks(findings_blocks(found, report.looked_at, console().width))
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
    if not in_json:
        print_blocks([books_heading(books)])

    def told(edits: Sequence[Edit]) -> None:
        if not in_json:
            print_blocks(edits_blocks(edits))

    with working("asking what it does to customers") as done:
        found = difference(books, catalogues, customers, seed, told, done)
    if in_json:
        print_json(difference_json(found))
    else:
        print_blocks(difference_blocks(found, console().width))
    if found.weakened:
        raise typer.Exit(Exit.BAD_INPUT)
    if found.unread or found.page:
        raise typer.Exit(Exit.TO_BE_READ)


@rule.command()
def show(
    rule_id: Annotated[
        str, typer.Argument(metavar="ID", help="id of the rule", autocompletion=rule_ids)
    ],
    rules: ShopRules = None,
) -> None:
    """Print a rule in words: sources, the feet it touches, the rules beside it, its examples.

    Example: recommend rule show need-slow-support
    """
    book = load_rulebook(setting("rulebook", rules).value)
    print_blocks(rule_blocks(touched(book, book.rule(rule_id)), book))


@rule.command("list")
def list_(rules: ShopRules = None) -> None:
    """Print every rule with its stage and its title; `rule show ID` has the rest.

    Example: recommend rule list
    """
    book = load_rulebook(setting("rulebook", rules).value)
    for one in sorted(book.rules, key=lambda one: (STAGES.index(one.stage), one.id)):
        print(f"{one.stage}  {one.id}: {one.rule.title}")
    print_byline(book)


@rule.command()
def new(
    stage: Annotated[str, typer.Argument(metavar="STAGE", help="screen, classify or need")],
    rule_id: Annotated[str, typer.Argument(metavar="ID", help="words joined by hyphens")],
    rules: Annotated[Path, typer.Option("--rules", help="folder of your rulebook")],
) -> None:
    """Write a new rule and an example that makes it fire, both valid, to be changed by you.

    Of `classify` it is a new axis with a rule for each of its two values.

    Example: recommend rule new need need-roomy-toes --rules my-rules
    """
    made = scaffold(load_rulebook(rules), _stage(stage), rule_id)
    before = made.axes_file.read_bytes() if made.axes_file else b""
    made.write()
    _, problems = read_rulebook(rules)
    if problems:
        made.rule_file.unlink()
        made.example_file.unlink()
        if made.axes_file:
            write_atomically(made.axes_file, before)
        raise problems[0]
    print(f"Written: {made.rule_file}\n         {made.example_file}")
    print(f"Change both to what you mean, then run: recommend check {rules}")


def _stage(word: str) -> Stage:
    if word in STAGES:
        return word
    allowed = ", ".join(STAGES)
    raise InputError(Place("STAGE"), f"`{word}` is no stage that a rule can be started in", allowed)
