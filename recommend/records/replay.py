"""Deriving a record again: identical bit for bit, or exactly what differs.

Records of the first format go on being derived again, as documents of that format (`as_kept`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from recommend.match.outcome import (
    Outcome,
    assessed_document,
    broken_document,
    candidate_document,
)
from recommend.match.shortlist import GROUPS, Candidate, Shortlist
from recommend.records.documents import canonical, separate
from recommend.records.keeping import Archive, facts_document, outcome_document, versions
from recommend.records.store import Record
from recommend.rulebook.book import Rulebook
from recommend.way import outcome_of


@dataclass(frozen=True, slots=True)
class ChangedValue:
    """One value that came out otherwise: where, what it was, what it is now."""

    path: str
    was: str
    now: str


@dataclass(frozen=True)
class Replayed:
    """A record derived again with the rulebook and catalogue it was made with.

    Attributes
    ----------
    outcome : as it is derived now.
    by_rules : the same in the order of the rules alone, where it heeds more.
    differences : where it differs from what was kept; empty when every byte is the same.
    versions : programs whose version is another one: name, then, now.
    """

    record: Record
    outcome: Outcome
    by_rules: Outcome
    differences: tuple[ChangedValue, ...]
    versions: tuple[tuple[str, str, str], ...]

    @property
    def identical(self) -> bool:
        """Whether the outcome is the one that was kept, byte for byte."""
        return not self.differences


# What an outcome becomes where a record heeds more than the rules, and documents beside it.
Heed = Callable[[Outcome, Record, Archive], tuple[Outcome, dict[str, Any]]]


class Replayer:
    """Derives records again, one by one; `heed` adds what a record heeds beside the rules."""

    def __init__(self, archive: Archive, heed: Heed | None = None) -> None:
        self.archive, self._heed = archive, heed

    def replay(self, record: Record) -> Replayed:
        """Derive `record` again.

        Raises
        ------
        InputError
            If the record is not of a visit, or damaged, or this version of the tool no longer
            reads its rulebook or catalogue.
        """
        visit = self.archive.visit(record)
        book, catalogue = self.archive.book(record), self.archive.catalogue(record)
        by_rules = outcome_of(visit, book, catalogue)
        outcome, more = by_rules, dict[str, Any]()
        if self._heed is not None:
            outcome, more = self._heed(outcome, record, self.archive)
        kept = self.archive.store.body(record.bodies["outcome"])
        facts = self.archive.store.body(record.bodies["facts"]) if "facts" in record.bodies else {}
        made = {
            **more,
            "outcome": as_kept(outcome, kept),
            "facts": _only(facts, facts_document(outcome)),
        }
        now, _ = separate(made)
        was = {n: self.archive.store.body(h) for n, h in record.bodies.items() if n in now}
        was |= {"facts": _only(facts, facts)} if facts else {}
        found = () if canonical(now) == canonical(was) else tuple(differences(was, now))
        return Replayed(record, outcome, by_rules, found, _other_versions(record))


def _only(kept: Mapping[str, Any], facts: Mapping[str, Any]) -> dict[str, Any]:
    """What a record kept of facts, but for what names the program's own definitions."""
    return {name: value for name, value in facts.items() if name in kept and name != "basis"}


def _other_versions(record: Record) -> tuple[tuple[str, str, str], ...]:
    then: Mapping[str, str] = record.head.get("versions", {})
    now = dict(versions())
    names = sorted(then.keys() | now.keys())
    return tuple(
        (name, then.get(name, "none"), now.get(name, "none"))
        for name in names
        if then.get(name) != now.get(name)
    )


def differences(was: Any, now: Any, path: str = "") -> Iterator[ChangedValue]:
    """Every leaf at which two plain documents differ, in the order of the first."""
    if isinstance(was, Mapping) and isinstance(now, Mapping):
        for key in [*was, *(key for key in now if key not in was)]:
            below = f"{path}.{key}" if path else str(key)
            yield from differences(was.get(key, _ABSENT), now.get(key, _ABSENT), below)
    elif isinstance(was, list | tuple) and isinstance(now, list | tuple):
        for index in range(max(len(was), len(now))):
            one, other = (x[index] if index < len(x) else _ABSENT for x in (was, now))
            yield from differences(one, other, f"{path}[{index}]")
    elif was is _ABSENT or now is _ABSENT or canonical(was) != canonical(now):
        yield ChangedValue(path, _shown(was), _shown(now))


_ABSENT = object()


def _shown(value: object) -> str:
    text = "nothing" if value is _ABSENT else canonical(value).decode()
    return text if len(text) <= 60 else f"{text[:57]}..."


def as_kept(outcome: Outcome, kept: dict[str, Any]) -> dict[str, Any]:
    """The outcome as a document of the format of one that was kept.

    Rulebooks of the first format's time ranked by score, then price, then id, and their products
    were listed one by one; the order is still theirs (see `match.ranking`), only the document is
    another one today.
    """
    if kept.get("format") != 1:
        return outcome_document(outcome)
    ranked, book = outcome.shortlist, outcome.book
    return {
        "format": 1,
        **_assessed(outcome),
        "shortlist": _shortlist(ranked, book) if ranked else None,
        "cautions": list(book.heading.cautions),
    }


# What the first format told of an outcome, a note and a reading; doubts that it did not know yet.
_OF_OUTCOME = (
    "rulebook", "catalogue", "visit", "stopped", "notes", "to-ask", "feet", "needs", "conflicts",
    "size",
)  # fmt: skip
_OF_NOTE = ("level", "say", "because", "rule", "sides")
_OF_READING = ("name", "value", "unit", "error", "n", "method", "qualifiers", "flags", "capture")
_OF_SIZE = ("availability", "size", "count", "smaller", "short_of")
_LATER_FLAGS = ("beside", "too-unsure")


def _assessed(outcome: Outcome) -> dict[str, Any]:
    whole = assessed_document(outcome)
    told = {name: whole[name] for name in _OF_OUTCOME}
    notes = [{name: note[name] for name in _OF_NOTE} for note in told["notes"]]
    feet = {side: _foot(foot) for side, foot in told["feet"].items()}
    size = told["size"] and {k: v for k, v in told["size"].items() if k != "shorter-foot"}
    return {**told, "notes": notes, "feet": feet, "size": size}


def _foot(foot: dict[str, Any]) -> dict[str, Any]:
    """A foot with its readings as they were told then."""
    lists = ("measures", "further-readings")
    return {**foot, **{name: [_reading(one) for one in foot[name]] for name in lists}}


def _reading(reading: dict[str, Any]) -> dict[str, Any]:
    told = {name: reading[name] for name in _OF_READING}
    flags = [flag for flag in told["flags"] if flag["name"] not in _LATER_FLAGS]
    return {**told, "flags": flags}


def _shortlist(ranked: Shortlist, book: Rulebook) -> dict[str, Any]:
    shown = book.parameters.rank.shown
    return {
        group: {
            "ranked": [_candidate(c) for c in ranked.ranked[group][:shown]],
            "suitable": len(ranked.ranked[group]),
            "suitable-not-in-stock": [c.id for c in ranked.missing[group][:shown]],
            "excluded": {c.id: broken_document(c) for c in ranked.excluded[group]},
        }
        for group in GROUPS
    }


def _candidate(candidate: Candidate) -> dict[str, Any]:
    told = candidate_document(candidate)
    del told["offered"]
    return told | {"sizes": [{name: size[name] for name in _OF_SIZE} for size in told["sizes"]]}
