"""What `recommend check` found: for people, as JSON, and as SARIF 2.1.0 for editors and CI.

Findings first; on request how well the order tells people apart, and what outcomes lean on.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

from rich.console import RenderableType
from rich.text import Text

import recommend
from recommend.check.discriminating import OrderSharpness
from recommend.check.finding import CODES, LEVELS, Finding
from recommend.check.lean import LeanMoves, LeanReport
from recommend.check.promises import PromiseResult
from recommend.check.whole import Report
from recommend.errors import InputError, Place, counted
from recommend.reading import read_text
from recommend.show.console import Unbroken, bullet, heading, inset, plain_table

_STYLES = {"error": "bold red", "warning": "bold yellow", "note": "bold"}
_AHEAD = 24  # columns of a long line shown before the one meant


def findings_blocks(
    findings: Iterable[Finding], looked_at: Iterable[str], width: int
) -> Iterator[RenderableType]:
    """Every finding with its excerpt, and a last line that counts them."""
    found = list(findings)
    for finding in found:
        yield from finding_blocks(finding, width)
    yield Text(summary(found, looked_at), style="bold")
    if found:
        yield Text(f"What a word such as `{found[0].code}` means: `recommend help findings`.")


def verdicts_blocks(verdicts: Iterable[PromiseResult]) -> Iterator[RenderableType]:
    """What came of each promise, one line each."""
    table = plain_table("promise", "outcome", "seconds")
    for one in verdicts:
        style = "" if one.outcome == "proved" else "bold"
        seconds = f"{one.seconds:.1f}"
        table.add_row(Text(one.given.promise.title), Text(one.outcome, style=style), seconds)
    yield table
    yield Text()


def summary(findings: list[Finding], looked_at: Iterable[str]) -> str:
    """How many findings of each level, and what was looked at."""
    counts = [(sum(f.level == level for f in findings), level) for level in LEVELS]
    words = ", ".join(counted(n, level) for n, level in counts if n)
    looked = ", ".join(looked_at)
    return f"{words or 'nothing found'}" + (f" in {looked}" if looked else "")


def finding_blocks(finding: Finding, width: int) -> Iterator[RenderableType]:
    """One finding: where, what, the line itself, what to do, and a foot that shows it."""
    head = Unbroken()
    head.append(f"{finding.level}: {finding.code}", _STYLES[finding.level])
    yield head.append(f" {finding.place}")
    yield inset(finding.found if finding.found.endswith((".", "?")) else f"{finding.found}.", 2)
    for line in excerpt(finding.place, width - 4):
        yield Unbroken(f"    {line}", style="dim")
    facts = (
        ("allowed", finding.allowed), ("do", finding.mend), ("foot", finding.foot),
        ("see", ", ".join(map(str, finding.related))),
    )  # fmt: skip
    yield from (inset(f"{name}: {text}", 2) for name, text in facts if text)
    if finding.visit:
        yield inset("as a visit file:", 2)
        yield from (Unbroken(f"    {line}") for line in finding.visit.splitlines())
    yield Text()


def excerpt(place: Place, width: int) -> Iterator[str]:
    """The line at `place` and a caret below its column; nothing when there is no such line."""
    lines = _lines(place.file)
    if not 0 < place.line <= len(lines):
        return
    text, caret = lines[place.line - 1], max(place.column - 1, 0)
    room = width - len(f"{place.line} | ")
    if len(text) > room:
        cut = min(max(0, caret - _AHEAD), len(text) - room)
        text, caret = text[cut : cut + room], caret - cut
    yield f"{place.line} | {text}"
    yield " " * len(str(place.line)) + " | " + " " * caret + "^"


@cache
def _lines(file: str) -> list[str]:
    try:
        return read_text(Path(file)).splitlines()
    except InputError:
        return []


def as_json(report: Report) -> dict[str, Any]:
    """A report as plain data: fields as in `Finding` and `PromiseResult`, in the order printed."""
    return {
        "looked-at": list(report.looked_at),
        "findings": [asdict(finding) for finding in report.findings],
        "promises": [
            {
                "id": one.given.promise.id,
                "title": one.given.promise.title,
                "outcome": one.outcome,
                "seconds": round(one.seconds, 3),
                "why": one.why,
            }
            for one in report.verdicts
        ],
    }


def as_sarif(findings: Iterable[Finding]) -> dict[str, Any]:
    """Findings as a SARIF log, by the OASIS standard SARIF 2.1.0."""
    found = list(findings)
    codes = sorted({finding.code for finding in found})
    driver = {
        "name": "recommend",
        "version": recommend.__version__,
        "rules": [{"id": code, "shortDescription": {"text": CODES[code]}} for code in codes],
    }
    return {
        "$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json",
        "version": "2.1.0",
        "runs": [
            {
                "tool": {"driver": driver},
                "columnKind": "unicodeCodePoints",
                "results": [_result(finding, codes) for finding in found],
            }
        ],
    }


def _result(finding: Finding, codes: list[str]) -> dict[str, Any]:
    words = [finding.found, finding.mend, f"Foot: {finding.foot}" if finding.foot else ""]
    out: dict[str, Any] = {
        "ruleId": finding.code,
        "ruleIndex": codes.index(finding.code),
        "level": finding.level,
        "message": {"text": ". ".join(word[0].upper() + word[1:] for word in words if word)},
        "locations": [_location(finding.place)],
    }
    if finding.related:
        out["relatedLocations"] = [
            {"id": index, **_location(place)} for index, place in enumerate(finding.related)
        ]
    if finding.visit:
        out["properties"] = {"visit": finding.visit}
    return out


def _location(place: Place) -> dict[str, Any]:
    path = Path(place.file)
    uri = path.as_uri() if path.is_absolute() else path.as_posix()
    physical: dict[str, Any] = {"artifactLocation": {"uri": uri}}
    if place.line:
        physical["region"] = {"startLine": place.line, "startColumn": max(place.column, 1)}
    return {"physicalLocation": physical}


def discrimination_blocks(one: OrderSharpness) -> Iterator[RenderableType]:
    """What was counted, goals that are missed first."""
    yield heading(f"The order, over {one.customers} drawn customers without a stop")
    yield from map(bullet, discrimination_lines(one))


def discrimination_lines(one: OrderSharpness) -> Iterator[str]:
    """Everything that was counted, a line each."""
    for goal in sorted(one.goals, key=lambda goal: goal.met):
        word = "met" if goal.met else "MISSED"
        yield f"{word}: {goal.title}: {goal.found:.2g} (at most {goal.most:g})"
    for way, share in one.tied.items():
        yield (
            f"{way}: several share the first group for {share:.0%} of customers, and differ in "
            f"price for {one.priced[way]:.0%}; {len(one.first[way])} are ever in it"
        )
    yield (
        f"the first three overlap by {one.within:.2f} within a foot type and by {one.between:.2f} "
        "between types, at one size and purpose"
    )
    if one.idle:
        yield f"wishes that never decide who is in a first group: {'; '.join(one.idle)}"
    else:
        yield "every wish decides for somebody who is in a first group"


def discrimination_data(one: OrderSharpness) -> dict[str, Any]:
    """The same for programs."""
    goals = [asdict(goal) | {"met": goal.met} for goal in one.goals]
    return asdict(one) | {"goals": goals}


_SHOWN = 20
_MOVED = ("type", "note", "first", "headline")


def lean_blocks(lean: LeanReport) -> Iterator[RenderableType]:
    """The figures that matter most, those that change nothing, and all together."""
    yield heading(f"What outcomes lean on, over {lean.adults} modelled adults")
    yield inset(
        "Each figure moved to both ends of its range. Of the adults: a foot changes its type, "
        "notes change, another pair comes first; and the buyer's headline, in points.", 2,
    )  # fmt: skip
    table = plain_table("figure", "is", "range", *_MOVED)
    for one in lean.figures[:_SHOWN]:
        figure = one.figure
        ends = f"{figure.low:g} to {figure.high:g}"
        table.add_row(figure.name, f"{figure.value:g}", ends, *_cells(one.moves))
    yield inset(table, 2)
    more = len(lean.figures) - _SHOWN
    if more > 0:
        yield inset(f"and {counted(more, 'figure')} that matter less (--json has them)", 2)
    for one in lean.figures[:_SHOWN]:
        if one.figure.note:
            yield inset(f"{one.figure.name}: {one.figure.note}", 2)
    yield heading("All at once")
    for moves in lean.together:
        cells = zip(_MOVED, _cells(moves), strict=True)
        yield bullet("  ".join(f"{word} {cell}" for word, cell in cells))
    idle = [one.figure.name for one in lean.idle]
    for title, names in (
        (f"Change nothing: {len(idle)}, candidates for removal", idle),
        (f"Without a range, so not moved: {len(lean.without_range)}", lean.without_range),
    ):
        if names:
            yield heading(title)
            yield Text("  " + ", ".join(names))


def lean_json(lean: LeanReport) -> dict[str, Any]:
    """The same as data."""
    return {
        "adults": lean.adults,
        "figures": [
            {
                "name": one.figure.name,
                "kind": one.figure.kind,
                "value": one.figure.value,
                "range": [one.figure.low, one.figure.high],
                "note": one.figure.note,
                **_data(one.moves),
            }
            for one in lean.figures
        ],
        "together": [_data(moves) for moves in lean.together],
        "without-range": list(lean.without_range),
    }


def _data(moves: LeanMoves) -> dict[str, float]:
    return {name: round(share, 4) for name, share in asdict(moves).items()}


def _cells(moves: LeanMoves) -> tuple[str, ...]:
    shares = (moves.types, moves.notes, moves.firsts)
    return (*(f"{100 * share:.1f} %" for share in shares), f"{100 * moves.headline:+.1f}")
