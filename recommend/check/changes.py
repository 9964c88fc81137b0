"""The change log of a rulebook, and the ledger of stops in it: none is weakened in silence.

``changes.yaml`` lists versions, newest first. Under `stops` a version writes down the stops
that it brought, each with its condition as it then was. From then on the rulebook has to stop
every foot that one of them stops, unless a later version `accepts` the loss with a reason; what is
left of such a stop is written down anew. Writing one down weaker than before changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import numpy as np
from pydantic import Field

from recommend.check.cells import space_of, truths
from recommend.check.finding import Finding, from_error
from recommend.check.logic import shown
from recommend.errors import InputError, Place
from recommend.reading import Document, Id, Strict, problems_in, read_document
from recommend.reading.document import Loc
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.compiling import Compiler, leaves
from recommend.rulebook.conditions import Condition
from recommend.rulebook.models import NoteThen
from recommend.rulebook.naming import Names, check_leaf

FILE = "changes.yaml"
Reason = Annotated[str, Field(min_length=10)]


class StopWas(Strict):
    """A stop as it was when a version brought it."""

    rule: Id
    when: Condition


class Accepted(Strict):
    """A stop of which less is left, or nothing, and why that is accepted, and by whom."""

    stop: Id
    reason: Reason
    by: Annotated[str, Field(min_length=2)]


class Change(Strict):
    """One version: what it says, the stops it brought, the lost stops it accepts."""

    version: Annotated[str, Field(pattern=r"^\d+\.\d+\.\d+$")]
    date: Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")]
    says: list[str] = Field(min_length=1)
    stops: list[StopWas] = []
    accepts: list[Accepted] = []


class ChangesFile(Strict):
    """``changes.yaml``."""

    title: str
    changes: list[Change] = Field(min_length=1)


def change_findings(book: Rulebook) -> Iterator[Finding]:
    """What is wrong with the change log, and every stop that was weakened in silence."""
    path = Path(book.folder) / FILE
    if not path.is_file():
        yield Finding(
            "no-change-entry", "error", Place(str(path)), "the rulebook has no change log",
            mend=f"write {FILE} with an entry for version {book.heading.version}",
        )  # fmt: skip
        return
    document = read_document(path)
    file, problems = problems_in(ChangesFile, document)
    yield from map(from_error, problems)
    if file is not None:
        yield from _version(book, file, document)
        yield from _ledger(book, file, document)


def changes_of(book: Rulebook) -> tuple[Change, ...]:
    """The change log, newest version first; none where the rulebook has no log that can be read."""
    path = Path(book.folder) / FILE
    if not path.is_file():
        return ()
    file, _ = problems_in(ChangesFile, read_document(path))
    return tuple(file.changes) if file else ()


def _version(book: Rulebook, file: ChangesFile, at: Document) -> Iterator[Finding]:
    newest = file.changes[0].version
    if newest != book.heading.version:
        yield Finding(
            "no-change-entry", "error", at.place(("changes", 0, "version")),
            f"the newest entry is {newest}, the rulebook is version {book.heading.version}",
            mend="write an entry for this version at the top, saying what changed",
        )  # fmt: skip


def _ledger(book: Rulebook, file: ChangesFile, at: Document) -> Iterator[Finding]:
    """Every stop ever written down still stops, unless a later version accepted the loss."""
    accepted: dict[str, int] = {}
    for index, change in enumerate(file.changes):
        for one in change.accepts:
            accepted.setdefault(one.stop, index)
    seen: set[str] = set()
    names = Names.of(book)
    for index, change in enumerate(file.changes):
        for number, stop in enumerate(change.stops):
            loc: Loc = ("changes", index, "stops", number)
            if accepted.get(stop.rule, index) < index:
                continue  # what is left of it has to be written down anew
            seen.add(stop.rule)
            try:
                for leaf, where in leaves(stop.when, (*loc, "when")):
                    check_leaf(leaf, where, at, names)
            except InputError as error:
                yield from_error(error)
                continue
            yield from weakened(book, stop.rule, stop.when, at.place(loc))
    yield from _not_listed(book, seen, at)


def _not_listed(book: Rulebook, seen: set[str], at: Document) -> Iterator[Finding]:
    for rule in stops_of(book):
        if rule.id not in seen:
            yield Finding(
                "no-change-entry", "error", rule.place,
                f"stop `{rule.id}` is not written down in the change log",
                mend=f"add it under `stops` of version {book.heading.version} in {at.file}",
            )  # fmt: skip


def stops_of(book: Rulebook) -> tuple[CompiledRule, ...]:
    """The rules that withhold the shortlist."""
    return tuple(
        rule
        for rule in book.rules
        if isinstance(rule.rule.then, NoteThen) and rule.rule.then.note == "stop"
    )


def weakened(book: Rulebook, stop: str, when: Condition, place: Place) -> Iterator[Finding]:
    """A finding when some foot that `when` stopped is not stopped by the rulebook any more."""
    now = stops_of(book)
    model = (now or book.rules)[0]
    holds, fails = Compiler(book.limits, book.vocabulary).normal_form(when)
    stopping = [set(branch) for rule in now for branch in rule.holds]
    holds = tuple(b for b in holds if not any(branch <= set(b) for branch in stopping))
    if not holds:  # each way to fire is one of a stop that stands, or asks for more
        return
    was = replace(
        model,
        rule=model.rule.model_copy(update={"id": "stop-as-it-was", "when": when}),
        stratum=max(rule.stratum for rule in book.rules),
        holds=holds,
        fails=fails,
    )
    with_old = replace(book, rules=(*book.rules, was))
    space = space_of(with_old, (*now, was))
    done = truths(with_old, (*now, was), space)
    stopped = np.zeros(space.count, np.bool_)
    for rule in now:
        stopped |= done.holds[rule.id]
    lost = done.holds[was.id] & ~stopped
    if lost.any():
        foot, visit = shown(space, lost, f"Was stopped by {stop}, and is not stopped any more.")
        yield Finding(
            "weakened-stop", "error", place,
            f"stop `{stop}` was weakened or removed: not every foot it stopped is stopped now",
            mend=f"restore it, or accept the loss in {FILE}: "
            f"`accepts: [{{stop: {stop}, reason: ..., by: ...}}]`",
            foot=foot, visit=visit,
        )  # fmt: skip
