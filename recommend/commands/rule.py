"""`recommend rule`: one rule in words, and a new one to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from recommend.atomic import write_atomically
from recommend.check.authoring import scaffold
from recommend.check.reach import touched
from recommend.commands.options import rule_ids
from recommend.errors import InputError, Place
from recommend.rulebook import load_rulebook
from recommend.rulebook.book import Stage
from recommend.rulebook.loading import STAGES, read_rulebook
from recommend.settings import setting
from recommend.show.console import console, print_byline
from recommend.show.rule import print_rule

app = typer.Typer(add_completion=False, rich_markup_mode=None, no_args_is_help=True)
RulesFolder = Annotated[
    Path | None, typer.Option("--rules", help="folder of the rulebook; the shop's by default")
]


@app.callback()
def _rule() -> None:
    """Show a rule in words, or start a new one."""


@app.command()
def show(
    rule_id: Annotated[
        str, typer.Argument(metavar="ID", help="id of the rule", autocompletion=rule_ids)
    ],
    rules: RulesFolder = None,
) -> None:
    """Print a rule in words: sources, the feet it touches, the rules beside it, its examples.

    Example: recommend rule show need-slow-support
    """
    book = load_rulebook(setting("rulebook", rules).value)
    print_rule(touched(book, book.rule(rule_id)), book, console())


@app.command("list")
def list_(rules: RulesFolder = None) -> None:
    """Print every rule with its stage and its title; `rule show ID` has the rest.

    Example: recommend rule list
    """
    book = load_rulebook(setting("rulebook", rules).value)
    for rule in sorted(book.rules, key=lambda one: (STAGES.index(one.stage), one.id)):
        print(f"{rule.stage}  {rule.id}: {rule.rule.title}")
    print_byline(book)


@app.command()
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
    for stage in STAGES:
        if word == stage:
            return stage
    allowed = ", ".join(STAGES)
    raise InputError(Place("STAGE"), f"`{word}` is no stage that a rule can be started in", allowed)
