"""Two versions of a rulebook compared, as lines of text and as plain data."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from rich.console import Console
from rich.text import Text

from recommend.check.differing import Difference
from recommend.errors import counted
from recommend.show.findings import print_finding
from recommend.show.layout import bullet, heading, inset, plain_table

_TOP = 8  # transitions shown in words, the most frequent; JSON has them all


def print_difference(found: Difference, out: Console) -> None:
    """Print what changed, and what it does to the customers that were drawn."""
    out.print(heading("What changed"))
    for line in found.said or ("nothing that the rules read",):
        out.print(bullet(line))
    feet = 2 * found.customers
    customers = counted(found.customers, "customer")
    out.print(heading(f"What it does to {customers} of the modelled population"))
    _print_types(found, feet, out)
    _print_notes(found, feet, out)
    _print_firsts(found, out)
    for finding in found.weakened:
        print_finding(finding, out)


def _share(count: int, of: int) -> str:
    return f"{count} ({100 * count / of:.1f} %)"


def _print_types(found: Difference, feet: int, out: Console) -> None:
    total = sum(one.count for one in found.types)
    out.print(Text(f"Feet that change type: {_share(total, feet)} of {feet}"))
    for one in found.types[:_TOP]:
        out.print(bullet(f"{one.was} -> {one.now}: {one.count}"))
        out.print(inset(f"such as {one.foot}", 6))


def _print_notes(found: Difference, feet: int, out: Console) -> None:
    for word, notes in (("gain", found.gained), ("lose", found.lost)):
        if not notes:
            out.print(Text(f"Feet that {word} a note: none"))
        for rule, count in notes.items():
            out.print(Text(f"Feet that {word} the note of {rule}: {_share(count, feet)}"))


def _print_firsts(found: Difference, out: Console) -> None:
    for kind, moves in found.firsts.items():
        total = sum(count for _, _, count in moves)
        out.print(Text(f"Customers whose first {kind} changes: {_share(total, found.customers)}"))
        table = plain_table("  was", "is", "customers")
        for was, now, count in moves[:5]:
            table.add_row(f"  {was}", now, str(count))
        if moves:
            out.print(table)


def difference_json(found: Difference) -> dict[str, Any]:
    """The comparison as plain data; fields as in `Difference`."""
    return asdict(found)
