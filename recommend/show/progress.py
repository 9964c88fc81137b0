"""What is known so far, in one line, and the notes that have come up."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

from recommend.infer.counter import Progress
from recommend.show.figures import LEVEL_WORDS

if TYPE_CHECKING:  # most starts need no population
    from recommend.coverage.settling import Plan


def progress_line(progress: Progress, block: str) -> str:
    """One line after a block: what is known, and the next most useful measure."""
    parts = []
    if block == "Screening":
        parts.append(f"{progress.asked} of {progress.questions} screening questions answered")
        if not progress.notes:
            parts.append("nothing speaks against fitting so far")
        return f"So far: {'; '.join(parts)}."
    left, right = progress.foot["left"], progress.foot["right"]
    if left == right:
        parts.append(f"each foot: {', '.join(left) or 'not known yet'}")
    else:
        parts += [f"{s}: {', '.join(w) or 'not known yet'}" for s, w in progress.foot.items()]
    line = f"So far: {'; '.join(parts)}."
    # After a stop nothing is measured for a fitting; the fitter may go on for the record.
    stopped = any(note.level == "stop" for note in progress.notes)
    if progress.next_how and not stopped:
        sides = "both feet" if len(progress.next_sides) > 1 else progress.next_sides[0]
        line += f" Next, {sides}: {progress.next_how}."
    return line


def plan_lines(made: Plan) -> Iterator[str]:
    """What there is time for, what it settles, and what is given up."""
    names = [one.replace("-", " ") for one in made.readings]
    yield (
        f"In about {made.minutes:.0f} minutes: screening, sizes"
        f"{''.join(f', {name}' for name in names)}. Over modelled customers that settles "
        f"{100 * made.settled:.0f} of 100 foot types, notes and needs as every reading would."
    )
    lost = {one: share for one, share in made.given_up.items() if share > 0}
    for one, share in sorted(lost.items(), key=lambda item: -item[1]):
        yield f"Given up: {one.replace('-', ' ')}, which would settle {100 * share:.0f} more."


def note_lines(progress: Progress, said: Collection[str] = ()) -> Iterator[str]:
    """Every note that holds, worst first, but for rules in `said`."""
    for note in progress.notes:
        if note.rule not in said:
            yield f"{LEVEL_WORDS[note.level]}: {note.say}"
