"""`recommend setup`: the shop's own settings, and where each value comes from."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from recommend.atomic import write_atomically
from recommend.errors import InputError, Place, nearest
from recommend.infer.building import build_engine
from recommend.infer.engine import engine_name
from recommend.settings import (
    SETTINGS,
    lab_errors,
    read_settings,
    setting,
    settings_file,
    settings_text,
)
from recommend.show.settings import settings_lines

app = typer.Typer(add_completion=False, rich_markup_mode=None, invoke_without_command=True)

QUESTIONS = (
    ("catalogue", "Folder of your catalogue (several with a space between, later over earlier)"),
    ("visits", "Folder for visit files and drafts"),
    ("sizes", "Size system to ask for and show"),
    ("zero-reference", "What rearfoot angles are usually measured from"),
)


@app.callback()
def setup(
    context: typer.Context,
    change: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="NAME=VALUE", help="Set one value, without questions."),
    ] = None,
) -> None:
    """Write the shop's settings by asking four questions.

    An option of a command counts before an environment variable, that before the settings, and
    those before what ships.

    Example: recommend setup --set sizes=uk --set zero-reference=relaxed-standing
    """
    if context.invoked_subcommand:
        return
    file = settings_file()
    written = dict(read_settings(file))
    errors = written.pop("errors", {})
    answers = _given(change) if change else _asked()
    text = settings_text(_shown({**written, **answers}), errors)
    write_atomically(file, text)
    print(f"Settings: {file}")


@app.command()
def show() -> None:
    """Show every setting, its value, and where the value comes from.

    Example: recommend setup show
    """
    values = [setting(name) for name in SETTINGS]
    for line in settings_lines(settings_file(), values, lab_errors(), engine_name()):
        print(line)


@app.command()
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
    out: dict[str, Any] = {}
    for name, question in QUESTIONS:
        one = setting(name)
        now = " ".join(map(str, one.value)) if one.setting.many else one.value
        words = f" ({', '.join(one.setting.allowed)})" if one.setting.allowed else ""
        while True:
            print(f"\n{question}{words}\n[{now}] > ", end="", flush=True)
            text = _line()
            try:
                out |= {name: _checked(name, text)} if text else {}
            except InputError as error:
                print(f"  {error}")
            else:
                break
    return out


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
    given = [part for part in text.split() if part] if one.many else text
    value = setting(name, given).value
    for path in (value if one.many else [value]) if one.path else ():
        if name in ("catalogue", "rulebook", "stock") and not path.exists():
            raise InputError(Place(str(path)), "there is no such file or folder")
    return value


def _shown(values: dict[str, Any]) -> dict[str, Any]:
    """Paths made absolute, because settings count from any folder; None left out."""
    out: dict[str, Any] = {}
    for name, value in values.items():
        if isinstance(value, list):
            out[name] = [_absolute(one) for one in value]
        elif value is not None:
            out[name] = _absolute(value)
    return out


def _absolute(value: Any) -> str:
    return str(value.absolute()) if isinstance(value, Path) else str(value)
