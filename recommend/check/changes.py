"""The change log of a rulebook, and the ledger of stops in it: none is weakened in silence.

``changes.yaml`` lists versions, newest first. Under `stops` a version writes down the stops
that it brought, each with its condition as it then was. From then on the rulebook has to stop
every foot that one of them stops, unless a later version `accepts` the loss with a reason; what is
left of such a stop is written down anew. Writing one down weaker than before changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from itertools import takewhile
from typing import Annotated

from pydantic import Field, model_validator

from recommend.check.finding import Finding, from_error
from recommend.check.logic import Fate, fate_of, past_note
from recommend.errors import InputError, Place
from recommend.infer.conclusions import ContradictionError
from recommend.reading import Document, Id, Strict, problems_in
from recommend.reading.document import Loc
from recommend.rulebook.book import Rulebook
from recommend.rulebook.compiling import Compiler, leaves
from recommend.rulebook.conditions import Condition
from recommend.rulebook.contents import Bearing, Contents, hashes_of
from recommend.rulebook.models import NoteLevel
from recommend.rulebook.naming import check_leaf

FILE = "changes.yaml"
Reason = Annotated[str, Field(min_length=10)]
Code = Annotated[str, Field(min_length=2)]  # of a person, never the name


class StopWas(Strict):
    """A stop as it was when a version brought it."""

    rule: Id
    when: Condition


class Accepted(Strict):
    """A note of which less is left, or nothing, and why that is accepted, and by whom.

    `stop` names the rule of a stop, `note` that of a see-a-clinician note or a caution.
    """

    stop: Id | None = None
    note: Id | None = None
    reason: Reason
    by: Code

    @model_validator(mode="after")
    def _of_one(self) -> Accepted:
        if (self.stop is None) == (self.note is None):
            raise ValueError("write `stop` or `note`, the id of one rule")
        return self

    @property
    def rule(self) -> str:
        """The rule whose note it is."""
        return self.stop or self.note or ""


class Seen(Strict):
    """Who read the words of a rulebook, or looked at what it decides, and what that was then.

    `words`, `decides` and `holds` are the signatures that `recommend rulebook diff` prints.
    """

    by: Code
    words: str = ""
    decides: str = ""
    holds: str = ""


class Change(Strict):
    """One version: what it says, the stops it brought, the losses it accepts, who saw it."""

    version: Annotated[str, Field(pattern=r"^\d+\.\d+\.\d+$")]
    date: Annotated[str, Field(pattern=r"^\d{4}-\d{2}-\d{2}$")]
    says: list[str] = Field(min_length=1)
    stops: list[StopWas] = []
    accepts: list[Accepted] = []
    seen: list[Seen] = []


class ChangesFile(Strict):
    """``changes.yaml``."""

    title: str
    changes: list[Change] = Field(min_length=1)


def change_findings(book: Rulebook) -> Iterator[Finding]:
    """What is wrong with the change log, and every stop that was weakened in silence."""
    if FILE not in book.texts:
        yield Finding(
            "no-change-entry", "error", book.texts.place(FILE), "the rulebook has no change log",
            mend=f"write {FILE} with an entry for version {book.heading.version}",
        )  # fmt: skip
        return
    document = book.texts.document(FILE)
    file, problems = problems_in(ChangesFile, document)
    yield from map(from_error, problems)
    if file is not None:
        yield from _version(book, file, document)
        yield from _ledger(book, file, document)


def changes_of(book: Rulebook) -> tuple[Change, ...]:
    """The change log, newest version first; none where the rulebook has no log that can be read."""
    if FILE not in book.texts:
        return ()
    file, _ = problems_in(ChangesFile, book.texts.document(FILE))
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
            accepted.setdefault(one.rule, index)
    seen: set[str] = set()
    for index, change in enumerate(file.changes):
        for number, stop in enumerate(change.stops):
            loc: Loc = ("changes", index, "stops", number)
            if accepted.get(stop.rule, index) < index:
                continue  # what is left of it has to be written down anew
            seen.add(stop.rule)
            try:
                for leaf, where in leaves(stop.when, (*loc, "when")):
                    check_leaf(leaf, where, at, book)
            except InputError as error:
                yield from_error(error)
                continue
            holds, _ = Compiler(book.limits, book.vocabulary).normal_form(stop.when)
            with suppress(ContradictionError):  # which is told by itself
                found = fate_of(book, book, past_note(book, stop.rule, "stop", holds))
                if found.lost:
                    yield weakened(found, at.place(loc), book)
    yield from _not_listed(book, seen, at)


def _not_listed(book: Rulebook, seen: set[str], at: Document) -> Iterator[Finding]:
    for rule in book.noting("stop"):
        if rule.id not in seen:
            yield Finding(
                "no-change-entry", "error", rule.place,
                f"stop `{rule.id}` is not written down in the change log",
                mend=f"add it under `stops` of version {book.heading.version} in {at.file}",
            )  # fmt: skip


def weakened(what: Fate, place: Place, book: Rulebook) -> Finding:
    """The finding that some foot has lost a note, with that foot."""
    kind = "stop" if what.level == "stop" else "note"
    code = "weakened-stop" if what.level == "stop" else "weakened-note"
    gone = what.rule not in book.by_id
    lost = "it is gone, and" if gone else "it was weakened:"
    end = "is stopped now" if kind == "stop" else "gets one as grave now"
    return Finding(
        code, "error", place,
        f"{_LEVEL_WORDS[what.level]} `{what.rule}`: {lost} not every foot that had it {end}",
        mend=f"restore it, or accept the loss in {FILE}, in the entry of this version: "
        f"`accepts: [{{{kind}: {what.rule}, reason: ..., by: ...}}]`",
        foot=what.foot, visit=what.visit,
    )  # fmt: skip


_LEVEL_WORDS: dict[NoteLevel, str] = {
    "stop": "stop", "see-clinician": "see-a-clinician note", "caution": "caution"
}  # fmt: skip


def accepted_since(old: Rulebook, new: Rulebook) -> frozenset[str]:
    """Rules whose loss the change log of `new` accepts in a version that `old` had not."""
    had = {change.version for change in changes_of(old)}
    since = (change for change in changes_of(new) if change.version not in had)
    return frozenset(one.rule for change in since for one in change.accepts)


def accepted_after(book: Rulebook, version: str) -> frozenset[str]:
    """Rules whose loss a version later than `version` accepts."""
    newer = takewhile(lambda change: change.version != version, changes_of(book))
    return frozenset(one.rule for change in newer for one in change.accepts)


def unseen(book: Rulebook, contents: Contents) -> tuple[Bearing, ...]:
    """Of what decides, is read or holds it, what nobody signed in the newest entry as it is now."""
    now, newest = hashes_of(contents), changes_of(book)[:1]
    signed = {(b, getattr(s, b)) for change in newest for s in change.seen for b in SIGNED}
    return tuple(bearing for bearing in SIGNED if (bearing, now[bearing]) not in signed)


SIGNED: tuple[Bearing, ...] = ("decides", "words", "holds")


def signature(contents: Contents) -> str:
    """The line with which somebody says that they saw the rulebook as it is now."""
    now = hashes_of(contents)
    hashes = ", ".join(f"{bearing}: {now[bearing]}" for bearing in ("words", "decides", "holds"))
    return f"seen: [{{by: CODE, {hashes}}}]"
