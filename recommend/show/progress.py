"""What is known so far, in one line."""

from __future__ import annotations

from recommend.infer.counter import Progress


def progress_line(progress: Progress, block: str) -> str:
    """One line after a block: what is known, and the next most useful measure."""
    parts = []
    if block == "Screening":
        parts.append(f"{progress.asked} of {progress.questions} screening questions answered")
        parts += progress.notes or ("nothing speaks against fitting so far",)
        return f"So far: {'; '.join(parts)}."
    for side, words in progress.foot.items():
        parts.append(f"{side} {', '.join(words) or 'not known yet'}")
    line = f"So far: {'; '.join(parts)}."
    if progress.next_how:
        line += f" Next: {' and '.join(progress.next_sides)}, {progress.next_how}."
    return line
