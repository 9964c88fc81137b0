"""What the shop's trials lead to expect of each product on the list, at the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from rich.console import RenderableType

from recommend.errors import counted
from recommend.match.shortlist import GROUPS
from recommend.measure.model import SIDES
from recommend.rulebook.book import Rulebook
from recommend.show.layout import bullet, heading, inset, plain_table
from recommend.show.trial_words import interval_words
from recommend.trial.judged_steps import order
from recommend.trial.learned import Expected, LearnedList
from recommend.trial.steps import Key


def notice_blocks(one: LearnedList) -> Iterator[RenderableType]:
    """Say before anything else that learned effects took part in the order."""
    if not one.heeded:
        yield inset(
            "Learned effects are ON and move nothing: they do not yet foretell visits better than "
            "published effects do (`recommend effects KEPT --check`).",
            0,
            "bold",
        )
        return
    yield inset(
        f"Learned effects are ON: the order below heeds {counted(one.visits, 'visit')} with a "
        "trial of this shop. Never, must, stops and notes are untouched.",
        0,
        "bold",
    )


def expected_blocks(one: LearnedList, book: Rulebook) -> Iterator[RenderableType]:
    """The motion to expect with each product shown, foot by foot and phase by phase."""
    shown = book.parameters.rank.shown
    yield heading("Motion to expect, from the shop's own trials (degrees, 95 % for one foot)")
    if not any(one.expected.values()):
        yield bullet("nothing that foretells was learned in a gait of this customer's film")
        return
    for group in GROUPS:
        for candidate in one.shortlist.ranked[group][:shown]:
            yield inset(candidate.id, 2, "bold")
            yield _table(one.expected[candidate.id])
    yield bullet(
        "on average; one foot may differ: try it. below band: the chance of over-correction, left "
        "and right. An insole alone is shown without the part of "
        "its shoe. Fewer trials, wider interval."
    )


def _table(readings: Mapping[Key, Expected]) -> RenderableType:
    """A row for each phase and gait, the two feet side by side."""
    table = plain_table("  ", "", "left", "right", "below band")
    for column, width in zip(table.columns, (2, 19, 18, 18, 10), strict=True):
        column.no_wrap, column.min_width = True, width
    for phase, gait in dict.fromkeys((k.reading, k.gait) for k in sorted(readings, key=order)):
        feet = {k.side: e for k, e in readings.items() if (k.reading, k.gait) == (phase, gait)}
        angles = [
            interval_words(feet[side].residual).replace("+", "") if side in feet else "-"
            for side in SIDES
        ]
        risks = ", ".join(f"{feet[side].below:.0%}" if side in feet else "-" for side in SIDES)
        table.add_row("", f"{phase}, {gait}", *angles, risks)
    return table


def as_document(one: LearnedList) -> dict[str, Any]:
    """The same as plain data, by product."""
    return {
        "visits": one.visits,
        "expected": {
            name: [{**asdict(key), **asdict(found)} for key, found in readings.items()]
            for name, readings in one.expected.items()
        },
    }
