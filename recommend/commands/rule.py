"""`recommend rule`: one rule in words, and a new one to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from recommend.check.scaffold import scaffold
from recommend.check.touched import touched
from recommend.errors import InputError, Place
from recommend.rulebook import load_rulebook
from recommend.rulebook.loading import read_rulebook
from recommend.settings import setting
from recommend.show.console import console
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
    rule_id: Annotated[str, typer.Argument(metavar="ID", help="id of the rule")],
    rules: RulesFolder = None,
) -> None:
    """Print a rule in words: sources, the feet it touches, the rules beside it, its examples.

    Example: recommend rule show need-slow-support
    """
    book = load_rulebook(setting("rulebook", rules).value)
    print_rule(touched(book, book.rule(rule_id)), book, console())


@app.command()
def new(
    stage: Annotated[str, typer.Argument(metavar="STAGE", help="screen or need")],
    rule_id: Annotated[str, typer.Argument(metavar="ID", help="words joined by hyphens")],
    rules: Annotated[Path, typer.Option("--rules", help="folder of your rulebook")],
) -> None:
    """Write a new rule and an example that makes it fire, both valid, to be changed by you.

    A rule of `classify` concludes an axis: add the axis to axes.yaml first, and the rule by hand.

    Example: recommend rule new need need-roomy-toes --rules my-rules
    """
    made = scaffold(load_rulebook(rules), _stage(stage), rule_id)
    made.write()
    _, problems = read_rulebook(rules)
    if problems:
        made.rule_file.unlink()
        made.example_file.unlink()
        raise problems[0]
    print(f"Written: {made.rule_file}\n         {made.example_file}")
    print(f"Change both to what you mean, then run: recommend check {rules}")


def _stage(word: str) -> Literal["screen", "need"]:
    if word == "screen":
        return "screen"
    if word == "need":
        return "need"
    raise InputError(
        Place("STAGE"), f"`{word}` is no stage that a rule can be started in", "screen, need",
        "for `classify` add the axis to axes.yaml first, and write its rules by hand",
    )  # fmt: skip
