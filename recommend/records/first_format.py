"""Outcomes as records of the first format hold them, so that those go on being derived again.

Rulebooks of that time ranked by score, then price, then id, and their products were listed one by
one; the order is still theirs (see `match.ranking`), only the document is another one today.
"""

from __future__ import annotations

from typing import Any

from recommend.match.outcome import (
    Outcome,
    assessed_document,
    broken_document,
    verdict_document,
)
from recommend.match.shortlist import GROUPS, Candidate, Shortlist
from recommend.match.sizes import Sized
from recommend.records.keeping import outcome_document
from recommend.rulebook.book import Rulebook


def as_kept(outcome: Outcome, kept: dict[str, Any]) -> dict[str, Any]:
    """The outcome as a document of the format of one that was kept."""
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
    return {
        "id": candidate.id,
        "titles": [part.product.title for part in candidate.parts],
        "prices": [part.product.price for part in candidate.parts],
        "score": round(candidate.score, 4),
        "sizes": [_sized(one) for one in candidate.sized],
        "unsure": list(candidate.unsure),
        "verdicts": [verdict_document(verdict) for verdict in candidate.judgement.verdicts],
    }


def _sized(sized: Sized) -> dict[str, Any]:
    names = ("availability", "size", "count", "smaller", "short_of")
    return {name: getattr(sized, name) for name in names}
