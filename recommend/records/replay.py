"""Deriving a record again: identical bit for bit, or exactly what differs."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from recommend.match.outcome import Outcome
from recommend.records.canonical import canonical
from recommend.records.first_format import as_kept
from recommend.records.keeping import Archive, facts_document, versions
from recommend.records.private import separate
from recommend.records.store import Record
from recommend.way import outcome_of


@dataclass(frozen=True, slots=True)
class Difference:
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
    differences: tuple[Difference, ...]
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


def differences(was: Any, now: Any, path: str = "") -> Iterator[Difference]:
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
        yield Difference(path, _shown(was), _shown(now))


_ABSENT = object()


def _shown(value: object) -> str:
    text = "nothing" if value is _ABSENT else canonical(value).decode()
    return text if len(text) <= 60 else f"{text[:57]}..."
