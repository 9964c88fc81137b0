"""Commands: parse the arguments, call what decides, show it, return the exit code.

Which commands there are; a module is imported only when its command is called.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

import typer

# name of the command: (its module here and what it is there, one line of help)
COMMANDS: dict[str, tuple[str, str]] = {
    "shortlist": ("shortlist:shortlist", "Turn a measured visit into a shortlist"),
    "visit": ("visit:app", "Type a visit at the counter, go on with it, look back"),
    "trial": ("trial:app", "Add what was tried to a visit, and judge whether it worked"),
    "demo": ("demo:demo", "See the main job on an invented visit, step by step"),
    "check": ("check:check", "Check rules and catalogue; prove what they promise"),
    "rulebook": ("rulebook:app", "Compare rulebooks; print one as a book"),
    "rule": ("rulebook:rule", "Show a rule in words, or start a new one"),
    "coverage": ("coverage:coverage", "Show which feet a catalogue serves, and why not"),
    "compare": ("compare:compare", "Products side by side for a customer, wish by wish"),
    "sheet": ("sheet:sheet", "Write the page that the customer takes home"),
    "effects": ("effects:effects", "What the shop's kept trials teach of its products"),
    "setup": ("setup:app", "The shop's settings, and where each comes from"),
    "measure": ("measure:measure", "Measure feet from pressure frames and video marks"),
    "gaps": ("supply:gaps", "Say what to stock next, and which lines can go"),
    "order": ("supply:order", "Say how many pieces to order in which size"),
    "import": ("supply:import_list", "Read a supplier's list into the catalogue"),
    "explain": ("explain:explain", "Where each word of a kept shortlist came from"),
    "help": ("help:help_", "Measuring well, what the numbers mean, limits of the tool"),
    "replay": ("replay:replay", "Derive kept records again; what other rules change"),
    "store": ("store:app", "Look after the records: verify, export, forget"),
}


def command_called(name: str) -> Any:
    """The command called `name`, imported now: a group of commands, or a function that is one."""
    module, _, within = COMMANDS[name][0].partition(":")
    found = getattr(import_module(f"{__name__}.{module}"), within)
    if not isinstance(found, typer.Typer):
        function, found = found, typer.Typer(add_completion=False, rich_markup_mode=None)
        found.command()(function)
    return typer.main.get_command(found)
