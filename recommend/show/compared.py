"""Products side by side: place, price, fit, and in what they differ, each in a column."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Any

from recommend.errors import counted
from recommend.match.judge import NeedVerdict
from recommend.match.needs import Need, level_words
from recommend.match.outcome import Outcome, group_document
from recommend.match.shortlist import Candidate, Equals
from recommend.match.telling import against_lines, fit_lines
from recommend.rulebook.book import Rulebook
from recommend.show.labels import wish_words

_HEAD = 26  # columns of what is compared
_GAP = 2
_MET = ", met"
_PARTS = {"shoe": "shoe", "insole": "insole", "pair": "together"}


def compared_lines(
    candidates: Sequence[Candidate], outcome: Outcome, width: int, *, full: bool = False
) -> Iterator[str]:
    """A table as lines of at most `width` columns: what tells them apart, or `full` every wish."""
    cells = max(10, (width - _HEAD) // len(candidates) - _GAP)
    for head, row in _rows(candidates, outcome, full):
        columns = [textwrap.wrap(head, _HEAD - _GAP) or [""]]
        columns += [textwrap.wrap(cell, cells) or [""] for cell in row]
        for line in range(max(map(len, columns))):
            parts = [column[line] if line < len(column) else "" for column in columns]
            widths = (_HEAD, *([cells + _GAP] * len(candidates)))
            padded = (text.ljust(w) for text, w in zip(parts, widths, strict=True))
            yield "".join(padded).rstrip()


def _rows(
    candidates: Sequence[Candidate], outcome: Outcome, full: bool
) -> Iterator[tuple[str, list[str]]]:
    book = outcome.book
    yield "", [one.title for one in candidates]
    yield "place", [_place(one, outcome) for one in candidates]
    yield "price", [_price(one, outcome) for one in candidates]
    yield "fit", ["; ".join(fit_lines(one, book)) or "look at it" for one in candidates]
    yield "against it", ["; ".join(against_lines(one, book)) or "nothing" for one in candidates]
    alike = 0
    for need in _needs(candidates):
        row = [_standing(need, one, book) for one in candidates]
        met = all(cell.endswith(_MET) for cell in row)
        same = met or (len(row) > 1 and len(set(row)) == 1)
        if full or not same:
            yield _head(need, book), row
        else:
            alike += 1
    if full:
        yield "weight against", [f"fit {one.fit:g}, rest {one.function:g}" for one in candidates]
    elif alike:
        how = "met alike" if len(candidates) > 1 else "met"
        told = f"{counted(alike, 'wish', 'wishes')} {how}: --full"
        yield "more", [told, *[""] * (len(candidates) - 1)]


def _head(need: Need, book: Rulebook) -> str:
    """What is asked of which part, as it is said aloud: ``insole: soft heel cushioning``."""
    part = need.attribute.partition(".")[0]
    return f"{_PARTS[part]}: {wish_words(need, book)}"


def _needs(candidates: Sequence[Candidate]) -> list[Need]:
    """Every need that speaks of one of them, in the order of the needs."""
    found = dict.fromkeys(v.need for one in candidates for v in one.judgement.verdicts)
    order = ("never", "must", "prefer")
    return sorted(found, key=lambda need: (order.index(need.strength), -need.weight))


def _standing(need: Need, one: Candidate, book: Rulebook) -> str:
    verdict = next((v for v in one.judgement.verdicts if v.need == need), None)
    return "-" if verdict is None else _verdict_words(verdict, book)


def _verdict_words(verdict: NeedVerdict, book: Rulebook) -> str:
    if verdict.level is None:
        return "not stated" + (", ruled out" if verdict.broken else "")
    level = level_words(verdict.need.attribute, verdict.level, book)
    if verdict.broken:
        return f"{level}, ruled out"
    if verdict.satisfaction == 1:
        return f"{level}{_MET}"
    return f"{level}, {verdict.satisfaction:.0%} met"


def _place(one: Candidate, outcome: Outcome) -> str:
    """Which group of equals it stands in, or why in none."""
    ranked = outcome.shortlist
    assert ranked is not None
    for number, equals in enumerate(ranked.groups[one.group], start=1):
        if any(member.id == one.id for member in equals.members):
            return f"group {number} of {len(ranked.groups[one.group])}"
    if one.harm or one.refused:
        return f"out: {one.harm or one.refused}"
    if one in ranked.will_not_do[one.group]:
        return "will not do: more is asked"
    if not one.judgement.suitable:
        return "ruled out"
    return "no place yet" if ranked.unplaced else "suits, not in stock in this size"


def _price(one: Candidate, outcome: Outcome) -> str:
    if one.price is None:
        return "not stated"
    return f"{one.price:.2f} {outcome.catalogue.currency}".rstrip()


def compared_data(candidates: Sequence[Candidate], outcome: Outcome) -> list[dict[str, Any]]:
    """The same for programs."""
    return [
        {"id": one.id, "place": _place(one, outcome)} | group_document(Equals((one,)), outcome.book)
        for one in candidates
    ]
