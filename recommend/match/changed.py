"""What a change did to the outcome of a visit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS
from recommend.measure.model import SIDES

SHOWN = 3  # first products of each group that are compared


@dataclass(frozen=True, slots=True)
class Change:
    """One statement of the outcome that is another than before; empty means it was not made."""

    what: str
    before: str
    after: str


def changes(before: Outcome, after: Outcome) -> tuple[Change, ...]:
    """Every statement that differs: notes, axes and types of each foot, the first products."""
    return tuple(one for one in _pairs(before, after) if one.before != one.after)


def change_lines(found: Sequence[Change]) -> Iterator[str]:
    """Lines to be wrapped: each statement that is another than before."""
    if not found:
        yield "The outcome stays as it was: same notes, same foot types, same first products."
        return
    yield "What this changes:"
    for one in found:
        if not one.before:
            yield f"  + {one.what}: {one.after}"
        elif not one.after:
            yield f"  - no longer: {one.what}: {one.before}"
        else:
            yield f"  {one.what}: {one.before} -> {one.after}"


def _pairs(before: Outcome, after: Outcome) -> Iterator[Change]:
    notes = [{note.rule: note for note in one.assessment.notes} for one in (before, after)]
    for rule in dict.fromkeys((*notes[0], *notes[1])):
        said = [one[rule].say if rule in one else "" for one in notes]
        note = notes[1].get(rule) or notes[0][rule]
        yield Change(note.level, *said)
    for side in SIDES:
        for axis, definition in after.book.axes.items():
            values = []
            for one in (before, after):
                value = one.assessment.feet[side].conclusions.axes[axis]
                values.append("undetermined" if value is None else definition.values[value])
            yield Change(f"{side}, {definition.title}", *values)
    for group in GROUPS:
        for place in range(SHOWN):
            yield Change(
                f"{group} {place + 1}", _at(before, group, place), _at(after, group, place)
            )


def _at(outcome: Outcome, group: str, place: int) -> str:
    if outcome.shortlist is None:
        return "withheld"
    ranked = {str(name): rows for name, rows in outcome.shortlist.ranked.items()}[group]
    if place >= len(ranked):
        return ""
    return ranked[place].title
