"""`recommend visit repeatability`: how well this lab repeats its own measures."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from recommend.catalogue.shop import open_rulebook
from recommend.commands.options import RulesFolder
from recommend.errors import InputError, Place
from recommend.measure.named import read_measured_visit
from recommend.measure.repeatability import Repeated
from recommend.measure.repeatability import repeatability as repeatability_of
from recommend.settings import write_settings
from recommend.show.console import print_byline
from recommend.show.dialogue import say
from recommend.show.repeats import EXPLAINED, repeat_lines
from recommend.trial.lab import lab_resemblance


def repeatability(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILES...", help="Visit files: the same feet, measured again."),
    ],
    use: Annotated[
        bool, typer.Option("--use", help="Write them to the settings without asking.")
    ] = False,
    rules: RulesFolder = None,
) -> None:
    """Estimate this lab's own errors of measurement from repeated visits.

    Measure some ten feet two or three times, with the marks put on anew, and name all the files.
    Visits of one reference code are repeats of the same feet, in the order given.

    Example: recommend visit repeatability catalogue_demo/repeats/*.yaml
    """
    book = open_rulebook(rules)
    visits = [
        read_measured_visit(file, book.questions, book.parameters, book.measures, book.purposes)
        for file in files
    ]
    found = repeatability_of(visits, book.measures, book.parameters)
    if not found:
        raise InputError(
            Place(str(files[0])),
            "no measure of two feet or more stands twice in these files",
            mend="give repeated visits the same reference code",
        )
    for line in repeat_lines(found, book.measures):
        print(line)
    print()
    say(EXPLAINED)
    alike = lab_resemblance(visits, book.parameters)
    for name, value in alike.items():
        say(f"{name}: each stride resembles the one before by at most {value:.2f} (95 %).")
    print_byline(book)
    _offer(found, alike, book.parameters.noise.repeat_freedom, use)


def _offer(found: Sequence[Repeated], alike: Mapping[str, float], enough: int, use: bool) -> None:
    """Write the errors that stand on enough repeats to the settings, if that is wanted."""
    usable = _usable(found, enough)
    few = [one.measure for one in found if one.measure not in usable]
    if few:
        say(f"Too few repeats to use (df below {enough}): {', '.join(dict.fromkeys(few))}.")
    if not usable or not (use or _wanted(usable)):
        return
    errors: dict[str, dict[str, Any]] = {}
    for name, one in usable.items():
        note = f"{one.targets} feet, {one.readings} visits, {date.today().isoformat()}"
        errors[name] = {"single": round(one.single, 4), "floor": round(one.floor, 4)}
        if name in alike:
            errors[name]["resemblance"] = round(alike[name], 3)
        errors[name]["note"] = note
    say(f"Written to {write_settings({}, errors)}; used from now on.")


def _usable(found: Sequence[Repeated], enough: int) -> Mapping[str, Repeated]:
    """By measure, the estimate on the most degrees of freedom, if those are enough."""
    best: dict[str, Repeated] = {}
    for one in sorted(found, key=lambda one: one.freedom):
        if one.freedom >= enough and one.sem > 0:
            best[one.measure] = one
    return best


def _wanted(usable: Mapping[str, Repeated]) -> bool:
    if not sys.stdin.isatty():
        say(f"To use them here ({', '.join(usable)}): the same command with --use.")
        return False
    print(f"Use these errors in this shop ({', '.join(usable)})? y or n > ", end="", flush=True)
    try:
        return input().strip().lower() in ("y", "yes")
    except (EOFError, KeyboardInterrupt):
        return False
