"""`recommend setup`: the shop's own settings, and where each value comes from."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from recommend.errors import InputError, Place, nearest
from recommend.infer.building import build_engine
from recommend.infer.engine import engine_name
from recommend.settings import (
    SETTINGS,
    Value,
    lab_errors,
    setting,
    settings_file,
    write_settings,
)
from recommend.show.dialogue import say

app = typer.Typer(add_completion=False, rich_markup_mode=None, invoke_without_command=True)

# name of the setting, the question, what "?" says of it.
QUESTIONS = (
    (
        "shop", "Name of the shop, for the customer's page",
        "It stands at the head of the page that the customer takes home. Never a customer's name.",
    ),
    ("language", "Language of the customer's page (en, de)", "The screen itself is English."),
    (
        "catalogue",
        "Folder of your catalogue",
        "Where your shoes and insoles are written down as YAML files. Without one of your own, the "
        "invented demo is used. A supplier's list becomes a catalogue with `recommend import`. "
        f"Several folders: write {os.pathsep} between; what stands in a later one counts.",
    ),
    (
        "stock", "Stock list (a CSV file with product,size,count), if there is one",
        "It replaces the counts of the catalogue, and goes down by one when a decision says sold.",
    ),
    (
        "visits", "Folder for visit files and drafts",
        "What is typed at the counter is kept here, readable by you alone. Back it up.",
    ),
    (
        "rulebook", "Folder of the rules",
        "The rules that ship, unless your shop has rules of its own (`recommend help rules`).",
    ),
    (
        "keep", "Keep every shortlist as a record",
        "A record says what was measured, concluded and offered, and can be replayed years later. "
        "Without records nobody can say afterwards why something was handed over.",
    ),
    (
        "records", "File of the records",
        "One file; not on a network drive. Forgetting a customer is `recommend store forget`.",
    ),
    (
        "fitter", "Code of the fitter at this computer, if it is always the same",
        "Stands with what is measured and decided. A code, never a name; empty: it is asked.",
    ),
    (
        "sizes", "Size system to ask for and show",
        "What stands on your boxes. Lengths stay in mm, and the size in every system is shown.",
    ),
    (
        "measured-from", "What rearfoot angles are usually measured from",
        "vertical: the floor's upright; relaxed-standing: the heel as it stands; subtalar-neutral. "
        "The three differ by up to 7 degrees and are never compared.",
    ),
    (
        "readings", "Readings that the shop takes, or Enter for all of them",
        "Several with blanks between, such as: posture heights angles. What is not named is not "
        "asked for at the counter and counts as not taken: posture, heights (of instep and inner "
        "arch), captures (files of mat or video), footprint, angles, load-path. Lengths and widths "
        "are always taken.",
    ),
    (
        "feet", "Left and right typed side by side, or one by one",
        "side-by-side: `268 270` on one line. one-by-one: a question for each foot.",
    ),
)  # fmt: skip
HELP, BACK = "?", "<"
INTRO = (
    "Who only wants to look needs no setup: the rules that ship and an invented demo are used. "
    "At any question: ? explains it, < goes back, Enter keeps what stands in [brackets]. Nothing "
    "is written before the last question."
)


@app.callback()
def setup(
    context: typer.Context,
    change: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="NAME=VALUE", help="Set one value, without questions."),
    ] = None,
) -> None:
    """Write the shop's settings by asking some questions; ? explains each, < goes back.

    An option of a command counts before an environment variable, that before the settings, and
    those before what ships.

    Example: recommend setup --set sizes=uk --set measured-from=relaxed-standing
    """
    if context.invoked_subcommand:
        return
    answers = _given(change) if change else _asked()
    print(f"Settings: {write_settings(_shown(answers))}")
    for name, value in answers.items():
        print(f"  {name:<15} {_words(value) or 'as shipped'}")
    if not change:
        print("All of them: recommend setup show. Next: recommend visit new, or recommend demo")


@app.command(short_help="Every setting, its value, and where it comes from.")
def show(
    full: Annotated[bool, typer.Option("--full", help="what each is for, how to set it")] = False,
) -> None:
    """Show every setting, its value, and where the value comes from.

    Example: recommend setup show
    """
    values = [setting(name) for name in SETTINGS]
    print("\n".join([*_lines(values), *(_explained(values) if full else ())]))


@app.command(short_help="Build the engine that concludes one visit.")
def engine() -> None:
    """Build the engine that concludes one visit, where this machine can; nothing is lost where not.

    Without it the engine for many feet concludes each visit, with the same outcome.

    Example: recommend setup engine
    """
    print(build_engine())


def _given(change: list[str]) -> dict[str, Any]:
    """Values of NAME=VALUE; an empty value takes the setting out of the file again."""
    out: dict[str, Any] = {}
    for text in change:
        name, equals, value = text.partition("=")
        if name not in SETTINGS or not equals:
            raise InputError(
                Place("--set"), f"`{text}` is not a setting and its value",
                ", ".join(f"{known}=..." for known in SETTINGS), nearest(name, SETTINGS),
            )  # fmt: skip
        out[name] = _checked(name, value) if value else None
    return out


def _asked() -> dict[str, Any]:
    if not sys.stdin.isatty():
        raise InputError(
            Place("setup"), "there is no terminal to ask at", mend="use --set NAME=VALUE"
        )
    say(INTRO)
    out: dict[str, Any] = {}
    at = 0
    while at < len(QUESTIONS):
        name, question, explained = QUESTIONS[at]
        text = _answer_to(name, question, out)
        if text == HELP:
            say(explained, "  ")
        elif text == BACK:
            at = max(0, at - 1)
        else:
            at += _taken(name, text, out)
    return out


def _answer_to(name: str, question: str, out: dict[str, Any]) -> str:
    one = SETTINGS[name]
    now = _words(out[name] if name in out else _offered(name))
    words = f" ({', '.join(one.allowed)})" if one.allowed and not one.many else ""
    print()
    say(f"{question}{words}")
    print(f"[{now}] > ", end="", flush=True)
    return _line()


def _offered(name: str) -> Any:
    """What Enter keeps: the value in force; of a shop that sets itself up, records are kept."""
    value = setting(name)
    return "yes" if name == "keep" and value.origin == "default" else value.value


def _taken(name: str, text: str, out: dict[str, Any]) -> bool:
    """Note an answer down; whether it was one."""
    if not text:
        if name == "keep" and name not in out:
            out[name] = _offered(name)
        return True
    try:
        out[name] = _checked(name, text)
    except InputError as error:
        say(str(error).removeprefix(f"--{name}: "), "  ")
        return False
    return True


def _words(value: Any) -> str:
    return os.pathsep.join(map(str, value)) if isinstance(value, list) else str(value or "")


def _line() -> str:
    try:
        return input().strip()
    except (EOFError, KeyboardInterrupt):
        print()
        raise InputError(Place("setup"), "left before the end", mend="nothing was written") from (
            None
        )


def _checked(name: str, text: str) -> Any:
    one = SETTINGS[name]
    given = [text] if one.path and Path(text).expanduser().exists() else text.split(os.pathsep)
    if one.allowed:  # words, not paths: as people write several
        given = [word for word in re.split(rf"[\s,{os.pathsep}]+", text) if word]
    value = setting(name, given if one.many else text).value
    for path in (value if one.many else [value]) if one.path else ():
        if name in ("catalogue", "rulebook", "stock") and not path.exists():
            raise InputError(Place(str(path)), "there is no such file or folder")
    return value


def _shown(values: dict[str, Any]) -> dict[str, Any]:
    """Paths made absolute, because settings count from any folder."""
    out: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, list):
            out[name] = [_absolute(one) for one in value]
        else:
            out[name] = None if value is None else _absolute(value)
    return out


def _absolute(value: Any) -> str:
    return str(value.absolute()) if isinstance(value, Path) else str(value)


def _lines(values: Sequence[Value]) -> Iterator[str]:
    """A line for each setting: its name, its value, where it comes from."""
    yield f"Settings: {settings_file()}"
    if not settings_file().exists():
        yield "  not there yet; `recommend setup` writes it"
    width = max(len(one.setting.name) for one in values)
    for one in values:
        origin = "" if one.origin == "default" else f"   ({_origin(one)})"
        yield f"  {one.setting.name:<{width}}  {_told(one)}{origin}"
    lab = ", ".join(lab_errors()) or "none; those of the rulebook are used"
    yield f"  {'errors':<{width}}  of this lab: {lab}"
    engine = engine_name()
    build = "" if engine == "durable-rules" else " `recommend setup engine` builds durable-rules."
    yield f"A visit is concluded by {engine}.{build}"
    yield "What each is for, and its environment variable: recommend setup show --full"


def _explained(values: Sequence[Value]) -> Iterator[str]:
    """What each setting is for, where it comes from, and how else it can be set."""
    yield "What counts: option, then environment, then the settings file, then default."
    for one in values:
        yield ""
        yield f"{one.setting.name}: {one.setting.help}"
        yield f"  {_told(one)}   (from {_origin(one)}; or set {one.setting.variable})"
    yield ""
    yield "errors: of measurement of this lab, from `recommend visit repeatability`"
    for measure, table in lab_errors().items():
        yield f"  {measure}: " + ", ".join(f"{key} {value:g}" for key, value in table.items())


def _origin(one: Value) -> str:
    return "file" if one.origin.startswith("file ") else one.origin


def _told(one: Value) -> str:
    if one.value is None or one.value == []:
        return "not set" if one.value is None else "all"
    return ", ".join(map(str, one.value if isinstance(one.value, list) else [one.value]))
