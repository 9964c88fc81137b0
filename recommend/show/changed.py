"""What a change did to the outcome, before and after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from recommend.match.changed import Change


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
