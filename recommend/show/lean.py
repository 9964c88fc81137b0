"""What outcomes lean on, as a table."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from recommend.check.lean import Lean, Moves
from recommend.errors import counted
from recommend.show.layout import bullet, heading, inset, plain_table

_SHOWN = 20


def print_lean(lean: Lean, out: Console) -> None:
    """Print the figures that matter most, those that change nothing, and all together."""
    out.print(heading(f"What outcomes lean on, over {lean.adults} modelled adults"))
    out.print(inset(
        "Each figure moved to both ends of its range. Of the adults: a foot changes its type, "
        "notes change, another pair comes first; and the buyer's headline, in points.", 2,
    ))  # fmt: skip
    table = plain_table("figure", "is", "range", "type", "note", "first", "headline")
    for one in lean.figures[:_SHOWN]:
        figure, moves = one.figure, one.moves
        ends = f"{figure.low:g} to {figure.high:g}"
        table.add_row(figure.name, f"{figure.value:g}", ends, *_cells(moves))
    out.print(Padding(table, (0, 0, 0, 2)))
    more = len(lean.figures) - _SHOWN
    if more > 0:
        out.print(inset(f"and {counted(more, 'figure')} that matter less (--json has them)", 2))
    for one in lean.figures[:_SHOWN]:
        if one.figure.note:
            out.print(inset(f"{one.figure.name}: {one.figure.note}", 2))
    out.print(heading("All at once"))
    for moves in lean.together:
        out.print(bullet("  ".join(f"{word} {cell}" for word, cell in zip(
            ("type", "note", "first", "headline"), _cells(moves), strict=True))))  # fmt: skip
    idle = [one.figure.name for one in lean.idle]
    if idle:
        out.print(heading(f"Change nothing: {len(idle)}, candidates for removal"))
        out.print(Text("  " + ", ".join(idle)))
    if lean.without_range:
        out.print(heading(f"Without a range, so not moved: {len(lean.without_range)}"))
        out.print(Text("  " + ", ".join(lean.without_range)))


def lean_json(lean: Lean) -> dict[str, Any]:
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


def _data(moves: Moves) -> dict[str, float]:
    return {
        "types": round(moves.types, 4),
        "notes": round(moves.notes, 4),
        "firsts": round(moves.firsts, 4),
        "headline": round(moves.headline, 4),
    }


def _cells(moves: Moves) -> tuple[str, ...]:
    shares = (moves.types, moves.notes, moves.firsts)
    return (*(f"{100 * share:.1f} %" for share in shares), f"{100 * moves.headline:+.1f}")
