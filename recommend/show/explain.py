"""An explained record at the terminal: what it is, its derivation, how sure it is."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

from recommend.errors import counted
from recommend.explain.node import Node
from recommend.records.keeping import engine_kept
from recommend.records.replay import Replayed
from recommend.records.store import BEHIND
from recommend.show.sure import change_lines, sure_data, sure_lines
from recommend.show.tree import tree_lines
from recommend.whatif.nearest import Change, Effect
from recommend.whatif.redraw import HowSure

FORMAT = 2  # of the JSON; raised when a field changes its meaning or goes away


def head_lines(replayed: Replayed) -> Iterator[str]:
    """What the record is, and whether deriving it again gave the same."""
    record, book = replayed.record, replayed.outcome.book
    yield f"Record {record.seq}, kept {record.made_at}, SHA-256 {record.hash}"
    yield f"by the {book.heading.name} {book.stamp}"
    yield f"catalogue ({replayed.outcome.catalogue.digest[:12]})"
    made = ", ".join(f"{n} {v}" for n, v in record.head.get("versions", {}).items())
    yield f"made with {made}"
    yield from _by_lines(record.head)
    now = replayed.outcome.assessment.engine
    yield f"concluded by the engine {engine_kept(record)}, just now by {now}"
    if replayed.identical:
        yield "Derived again just now: identical, byte for byte."
    else:
        places = counted(len(replayed.differences), "place")
        yield f"DERIVED AGAIN JUST NOW, IT DIFFERS in {places}: see `recommend replay`."


_HEEDS = {
    "tried": "The order heeds what was tried on at this visit.",
    "learned": "The order heeds effects learned from the shop's own trials.",
}


def _by_lines(head: Mapping[str, Any]) -> Iterator[str]:
    """Who measured, what program kept it, what the order heeds, and a clock that was wrong."""
    measured = head.get("by", {}).get("measured")
    if "by" in head:
        yield f"measured by {measured or '(no code given)'}"
    if "program" in head:
        yield f"program SHA-256 {head['program'][:16]}"
    yield from (_HEEDS[one] for one in head.get("heeds", []) if one in _HEEDS)
    if head.get("clock") == BEHIND:
        yield "THE CLOCK WAS BEHIND: it says that it was made before the record that it follows."


def explain_lines(
    replayed: Replayed, tree: Node, sure: HowSure | None, changes: tuple[Change, ...], width: int
) -> Iterator[str]:
    """The whole explanation, at most `width` columns wide."""
    book = replayed.outcome.book
    for line in head_lines(replayed):
        yield from _wrapped(line, width, "")
    yield ""
    yield from tree_lines(tree, width)
    if sure is not None:
        yield from _section("How sure", sure_lines(sure, book), width)
        title = "Nearest changes (one reading alone, smallest in standard errors first)"
        yield from _section(title, change_lines(changes, book), width)
    yield from _section("Before it is used", book.heading.cautions, width)


def _section(title: str, lines: Any, width: int) -> Iterator[str]:
    yield ""
    yield title
    for line in lines:
        yield from _wrapped(line, width, "- ")


def _wrapped(line: str, width: int, mark: str) -> Iterator[str]:
    yield from textwrap.wrap(
        line, width, initial_indent=mark, subsequent_indent=" " * len(mark), break_on_hyphens=False
    )


def explain_data(
    replayed: Replayed, tree: Node, sure: HowSure | None, changes: tuple[Change, ...]
) -> dict[str, Any]:
    """The same as plain data: what ``--json`` prints.

    Fields: ``record`` (number, SHA-256, kept-at, identical, engine, versions, documents), ``tree``
    (nodes of kind, text, truth, id, facts, children), ``how-sure`` and ``nearest-changes``
    (null with ``--rule``, ``--product`` and ``--why-not``), ``cautions``. The foot of a reading
    is null when one reading stands for both.
    """
    record = replayed.record
    return {
        "format": FORMAT,
        "record": {
            "number": record.seq,
            "sha256": record.hash,
            "kept-at": record.made_at,
            "identical": replayed.identical,
            "engine": engine_kept(record),
            "versions": dict(record.head.get("versions", {})),
            "documents": record.bodies,
        },
        "tree": tree.as_data(),
        "how-sure": None if sure is None else sure_data(sure),
        "nearest-changes": None if sure is None else [_change_data(one) for one in changes],
        "cautions": list(replayed.outcome.book.heading.cautions),
    }


def _change_data(change: Change) -> dict[str, Any]:
    return {
        "foot": change.side,
        "measure": change.measure,
        "unit": change.unit,
        "was": change.was,
        "value": change.value,
        "change": change.by,
        "change-in-errors": change.errors,
        "effects": [_effect_data(effect) for effect in change.effects],
    }


def _effect_data(effect: Effect) -> dict[str, str]:
    data = {"alters": effect.alters, "before": effect.before, "after": effect.after}
    return data | ({"level": effect.level} if effect.level else {})
