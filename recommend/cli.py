"""The `recommend` command: which commands there are, and how an error leaves the program.

A module of `recommend/commands/` is imported only when its command is called, so that the
shortlist starts fast.
"""

from __future__ import annotations

import gc
import os
import sys
from types import SimpleNamespace
from typing import Any, NoReturn, cast

import typer
from typer.core import TyperGroup

from recommend.commands import COMMANDS, command_called
from recommend.door import open_door
from recommend.errors import EXIT_WORDS, Exit, InputError, Place, RecommendError


class LazyGroup(TyperGroup):
    """A group that imports a command's module only when that command is called."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Names of all commands, in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command called `cmd_name`, imported now; None when there is none."""
        if cmd_name not in COMMANDS:
            return None
        if cmd_name == "shortlist":  # its arrays are too small for a second thread to be worth it
            os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        command = command_called(cmd_name)
        if not gc.isenabled():  # at the start of a process: what was imported stays
            gc.freeze()
            gc.enable()
        command.name = cmd_name
        return command

    def shell_complete(self, ctx: Any, incomplete: str) -> list[Any]:
        """Names that begin with `incomplete`, from the table, importing no command."""
        if incomplete.startswith("-"):
            return super().shell_complete(ctx, incomplete)
        return [
            SimpleNamespace(value=name, type="plain", help=line)
            for name, (_, line) in COMMANDS.items()
            if name.startswith(incomplete)
        ]

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """List the commands from the table, importing none of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


app = typer.Typer(
    cls=LazyGroup,
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=True,
    pretty_exceptions_enable=False,
)


_CODES = "; ".join(f"{code.value} {words.partition(':')[0]}" for code, words in EXIT_WORDS.items())


@app.callback(
    help="From measured feet to a reasoned shortlist of shoes and insoles.\n\n"
    f"Fitting advice, not a diagnosis. Exit codes: {_CODES}. More: `recommend help`.\n\n"
    "Example: recommend shortlist catalogue_demo/visits/pronated.yaml"
)
def _root() -> None:
    """Hold the commands together."""


# What a newcomer needs first, within one screen; the whole table is behind --help.
WELCOME = """\
From measured feet to a reasoned shortlist of shoes and insoles.
Fitting advice, not a diagnosis.

Look around, without a customer
  recommend demo                       the main job on an invented visit, step by step
  recommend help                       the manual, by topic

Fitter
  recommend visit new A-1042           a reference code, never a name
  recommend shortlist A-1042           the answer on one screen
  recommend trial A-1042               what was tried, and whether it worked
  recommend visit decide A-1042        what was chosen, sold or left
  recommend sheet A-1042               the page that the customer takes home

Buyer
  recommend coverage                   which feet the catalogue serves, and why not others
  recommend gaps                       what to stock next
  recommend order --season 400         how many pieces in which size

Lead fitter, auditor
  recommend check                      whether rules and catalogue can be trusted
  recommend explain last               where each word of a kept shortlist came from

All commands: recommend --help"""

# Typer brings its option parser along under a private name; this is how it is reached from outside.
_UsageError: Any = typer.BadParameter.__base__


_LONGEST = 300  # signs of a name that are shown
_SELDOM = 50_000, 20, 50  # new objects until rubbish is looked for, and so on
_COMPLETING = "_RECOMMEND_COMPLETE"  # a shell asks what could be typed, by no argument


def main(args: list[str] | None = None) -> NoReturn:
    """Run the command line; errors raised on purpose become one sentence on stderr.

    Nothing typed at all shows where to begin.
    """
    _start_light()
    open_door()
    nothing = not (sys.argv[1:] if args is None else args) and _COMPLETING not in os.environ
    try:
        code = print(WELCOME) if nothing else app(args, standalone_mode=False)
        sys.stdout.flush()
    except RecommendError as error:
        _leave(error)
    except OSError as error:  # of a file that was looked for, such as one of too long a name
        place = Place(os.fsdecode(error.filename or "a file or folder")[:_LONGEST])
        _leave(InputError(place, f"cannot be used ({error.strerror or error})"))
    except _UsageError as error:
        _leave_usage(error)
    except typer.Abort:
        print("Aborted!", file=sys.stderr)
        sys.exit(1)
    sys.exit(code if isinstance(code, int) else Exit.DONE)


def _start_light() -> None:
    """Do without what costs a short run time: most of what a start makes lives until its end."""
    gc.set_threshold(*_SELDOM)
    # No plugin of it is ours. It is told so, and what would look for them is not even imported.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")
    sys.modules.setdefault("pydantic.plugin._loader", cast(Any, SimpleNamespace(get_plugins=tuple)))


def _leave(error: RecommendError) -> NoReturn:
    print(f"recommend: {error}", file=sys.stderr)
    sys.exit(error.exit_code)


def _leave_usage(error: Any) -> NoReturn:
    """Leave because of a command line that does not fit; nothing typed at all shows the help."""
    if error.message.startswith("Usage:"):
        error.show()
        sys.exit(error.exit_code)
    from recommend.show.usage_words import usage_error  # only here: no start is slower for it

    _leave(usage_error(error))
