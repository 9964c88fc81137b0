"""What is known so far, in one line, and the notes that have come up."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from recommend.infer.counter import Progress
from recommend.show.words import LEVEL_WORDS


def progress_line(progress: Progress, block: str) -> str:
    """One line after a block: what is known, and the next most useful measure."""
    parts = []
    if block == "Screening":
        parts.append(f"{progress.asked} of {progress.questions} screening questions answered")
        if not progress.notes:
            parts.append("nothing speaks against fitting so far")
        return f"So far: {'; '.join(parts)}."
    for side, words in progress.foot.items():
        parts.append(f"{side} {', '.join(words) or 'not known yet'}")
    line = f"So far: {'; '.join(parts)}."
    if progress.next_how:
        line += f" Next: {' and '.join(progress.next_sides)}, {progress.next_how}."
    return line


def note_lines(progress: Progress, said: Collection[str] = ()) -> Iterator[str]:
    """Every note that holds, worst first, but for rules in `said`."""
    for note in progress.notes:
        if note.rule not in said:
            yield f"{LEVEL_WORDS[note.level]}: {note.say}"
