"""Replayed records and rule impact, in lines of text and as data."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any

from recommend.trail.impact import Changed, Impact
from recommend.trail.replay import Replayed

SHOWN = 12  # differences shown of one record


def replayed_lines(one: Replayed) -> Iterator[str]:
    """Whether a record replays identically, or exactly what differs and which version."""
    record = one.record
    if one.identical:
        yield f"record {record.seq} ({record.hash[:12]}): identical, byte for byte"
        return
    yield f"record {record.seq} ({record.hash[:12]}): DIFFERS in {len(one.differences)} places"
    for difference in one.differences[:SHOWN]:
        yield f"  {difference.path}: was {difference.was}, is {difference.now}"
    if len(one.differences) > SHOWN:
        yield f"  and {len(one.differences) - SHOWN} more (--json lists all)"
    for name, then, now in one.versions:
        yield f"  version of {name}: was {then}, is {now}"
    if not one.versions:
        yield "  no version differs: the store or the program was altered; run `store verify`"


def replayed_data(one: Replayed) -> dict[str, Any]:
    """The same for programs."""
    return {
        "number": one.record.seq,
        "sha256": one.record.hash,
        "identical": one.identical,
        "differences": [{"path": d.path, "was": d.was, "now": d.now} for d in one.differences],
        "versions": [{"name": n, "was": then, "now": now} for n, then, now in one.versions],
    }


def impact_lines(impact: Impact, keep: int, width: int) -> Iterator[str]:
    """Rule impact, what endangers people first."""
    for line in _impact_lines(impact, keep):
        indent = len(line) - len(line.lstrip())
        yield from textwrap.wrap(
            line, width, subsequent_indent=" " * (indent + 2), break_on_hyphens=False
        ) or [""]


def _impact_lines(impact: Impact, keep: int) -> Iterator[str]:
    yield from _lost(impact, keep)
    yield f"{impact.records} visits, {impact.changed} would come out otherwise:"
    yield f"  foot type: {impact.types}"
    for group, count in sorted(impact.firsts.items()):
        yield f"  first {group}: {count}"
    for word, counts in (("lost", impact.lost_notes), ("gained", impact.gained_notes)):
        for (level, rule), count in counts.most_common():
            yield f"  {level} note {rule} {word}: {count}"
    if impact.remeasured:
        yield f"  ({impact.remeasured} measured anew: these rules measure otherwise)"
    if impact.sample:
        yield ""
        yield "The most changed:"
        for one in impact.sample[:keep]:
            yield f"  {changed_words(one)}"


def _lost(impact: Impact, keep: int) -> Iterator[str]:
    if not impact.lost:
        yield "No stop and no see-a-clinician note would be lost."
        yield ""
        return
    count = len(impact.lost)
    yield f"LOST: {count} visits would lose a stop or a see-a-clinician note."
    for one in impact.lost[:keep]:
        yield f"  {changed_words(one)}"
    if count > keep:
        yield f"  and {count - keep} more (--json lists all)"
    yield ""


def changed_words(one: Changed) -> str:
    """One changed record in a line."""
    parts = [f"loses {level} {rule}" for rule, level in one.lost.items()]
    parts += [f"gains {level} {rule}" for rule, level in one.gained.items()]
    parts += [f"{side} {_of(was)} -> {_of(now)}" for side, (was, now) in one.types.items()]
    parts += [f"first {group} {_of(a)} -> {_of(b)}" for group, (a, b) in one.firsts.items()]
    return f"record {one.seq}: {'; '.join(parts)}"


def _of(value: str | None) -> str:
    return value or "none"


def impact_data(impact: Impact, keep: int) -> dict[str, Any]:
    """The same for programs; every record that loses a clinical note is listed."""
    return {
        "format": 1,
        "records": impact.records,
        "changed": impact.changed,
        "measured-anew": impact.remeasured,
        "foot-type": impact.types,
        "first": dict(sorted(impact.firsts.items())),
        "notes-lost": _notes(impact.lost_notes),
        "notes-gained": _notes(impact.gained_notes),
        "lost-clinical": [_changed(one) for one in impact.lost],
        "sample": [_changed(one) for one in impact.sample[:keep]],
    }


def _notes(counts: Any) -> list[dict[str, Any]]:
    return [{"level": lv, "rule": rule, "count": n} for (lv, rule), n in counts.most_common()]


def _changed(one: Changed) -> dict[str, Any]:
    return {
        "number": one.seq,
        "lost": dict(one.lost),
        "gained": dict(one.gained),
        "types": {side: {"was": a, "now": b} for side, (a, b) in one.types.items()},
        "first": {group: {"was": a, "now": b} for group, (a, b) in one.firsts.items()},
    }
