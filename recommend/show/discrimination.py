"""How well the order tells people apart, in words and as data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from rich.console import Console

from recommend.check.discriminating import Discrimination
from recommend.show.layout import bullet, heading


def print_discrimination(one: Discrimination, out: Console) -> None:
    """Print what was counted, goals that are missed first."""
    out.print(heading(f"The order, over {one.customers} drawn customers without a stop"))
    for line in discrimination_lines(one):
        out.print(bullet(line))


def discrimination_lines(one: Discrimination) -> Iterator[str]:
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


def discrimination_data(one: Discrimination) -> dict[str, Any]:
    """The same for programs."""
    goals = [asdict(goal) | {"met": goal.met} for goal in one.goals]
    return asdict(one) | {"goals": goals}
