"""A line of the answer that is found out late changes no screen, only when it is found out."""

from __future__ import annotations

import random
from collections.abc import Callable

from recommend.show.answer import SCREEN, Part, fitted

Told = str | Callable[[], str]


def screen(late: Callable[[str], Told], again: str, seed: int) -> list[str]:
    """Parts of random lengths as they are fitted, the line `again` given as `late` makes it."""
    chance = random.Random(seed)
    words = [" ".join(["word"] * chance.randint(1, 40)) for _ in range(3)]
    lists = [[f"{n}: {text}" for n in range(chance.randint(1, 9))] for text in words]
    parts = [Part(str(n), "", [lines, lines[:2], []]) for n, lines in enumerate(lists)]
    parts.insert(chance.randint(0, 3), Part("next", "Next", [["try it", late(again)], ["try it"]]))
    steps = ["0", "1", "2", "next", "0", "1", "2", "next"]
    return [line.plain for line in fitted(parts, chance.sample(steps, len(steps)), 60)]


def test_late_lines_change_no_screen() -> None:
    """Of 500 screens each is the same whether a line was known before or is found out late."""
    for seed in range(500):
        for again in ("", "measure it again", "measure it again " * 8):
            known = screen(lambda text: text, again, seed)
            assert screen(lambda text: lambda: text, again, seed) == known


def test_a_late_line_without_room_is_not_found_out() -> None:
    """Where the other lines fill the screen, nobody waits for a line that has no room."""
    full = Part("full", "", [[str(n) for n in range(SCREEN - 1)]])
    late = Part("next", "", [["try it", lambda: 1 / 0], ["try it"]])  # type: ignore[list-item,return-value]
    assert [line.plain.strip() for line in fitted([full, late], ["next"], 60)][-1] == "try it"
