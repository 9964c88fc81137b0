"""Asking several things at once: left and right side by side, and screening read out in groups."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from recommend.visit.answers import BothFeet, ReadOut
from recommend.visit.entry_steps import Step
from recommend.visit.intake import SCREENING, Asked
from recommend.visit.tree import Both, Tree, get, put


def side_by_side(steps: Sequence[Step]) -> Iterator[Step]:
    """The steps with each pair of left and right made one step."""
    rest = list(steps)
    while rest:
        step = rest.pop(0)
        if rest and step.id == f"{step.stem}.left" and rest[0].id == f"{step.stem}.right":
            yield _both(step, rest.pop(0))
        else:
            yield step


def _both(left: Step, right: Step) -> Step:
    kind = BothFeet(left.kind)

    def fill(tree: Tree, value: tuple[Any, Any]) -> tuple[Tree, str]:
        after = copy.deepcopy(tree)
        for step, one in zip((left, right), value, strict=True):
            if one is not None and step.fill is not None:
                after, _ = step.fill(after, one)
            elif one is not None:
                put(after, step.path, one)
        return after, kind.show(value)

    def shown(tree: Tree) -> str | None:
        found = (get(tree, left.path), get(tree, right.path))
        return None if found == (None, None) else kind.show(found)

    return replace(
        left,
        id=left.stem,
        ask=_of_both(left.ask.removeprefix("LEFT: ")),
        kind=kind,
        path=tuple(Both() if part == "left" else part for part in left.path),
        fill=fill,
        shown=shown,
        asked_if=_either(left, right),
    )


def _of_both(ask: str) -> str:
    """A question about one foot as one about both."""
    words = ask.removesuffix("?")
    return f"{words[:1].upper()}{words[1:]}, left and right" + "?" * (words != ask)


def _either(left: Step, right: Step) -> Callable[[Tree], bool]:
    if left.always_asked:
        return left.asked_if
    return lambda tree: left.asked_if(tree) or right.asked_if(tree)


def read_out(
    steps: Sequence[Step],
    questions: Mapping[str, Asked],
    most: int,
    last: Mapping[str, str] | None = None,
) -> Iterator[Step]:
    """The steps with screening questions in groups of at most `most`, each read out as one step.

    Only questions whose alarming answer is yes are read out together; the others are asked one
    by one, as is every question of a group that is opened. `last` has the answers of an earlier
    visit, which are shown and never count.
    """
    asked = [_with_last(step, (last or {}).get(step.id)) for step in steps]
    screening = [step for step in asked if step.id in questions]
    before = True
    for step in asked:
        if step.id not in questions:
            yield step
        elif before:
            before = False
            yield from _grouped(screening, questions, most)


def _with_last(step: Step, answer: str | None) -> Step:
    if step.block != SCREENING or answer not in ("yes", "no"):
        return step
    return replace(step, ask=f"{step.ask} (last time: {answer})")


def _grouped(
    screening: Sequence[Step], questions: Mapping[str, Asked], most: int
) -> Iterator[Step]:
    for after_wear in (False, True):
        here = [s for s in screening if questions[s.id].after_wear == after_wear]
        together = [s for s in here if questions[s.id].alarming == "yes" and _plain(s, after_wear)]
        count = -(-len(together) // most) if together else 0
        for number in range(count):  # as even as can be
            members = _chunk(together, count, number)
            name = f"read-out-{'after-' if after_wear else ''}{number + 1}"
            yield _group(name, members)
            yield from (_opened(step) for step in members)
        yield from (step for step in here if step not in together)


def _plain(step: Step, after_wear: bool) -> bool:
    """Whether nothing but coming back decides that it is asked."""
    return after_wear or step.always_asked


def _chunk(steps: Sequence[Step], count: int, number: int) -> list[Step]:
    """Part `number` of `count` parts of almost equal length, in order."""
    ends = [round(part * len(steps) / count) for part in range(count + 1)]
    return list(steps[ends[number] : ends[number + 1]])


def _group(name: str, members: Sequence[Step]) -> Step:
    ids = [step.id for step in members]

    def fill(tree: Tree, word: str) -> tuple[Tree, str]:
        after = copy.deepcopy(tree)
        for one in ids:
            put(after, ("asked", one), word)
            if word == "in-group":
                put(after, ("answers", one), "no")
        return after, ReadOut().show(word)

    def shown(tree: Tree) -> str | None:
        said = {get(tree, ("asked", one)) for one in ids}
        return ReadOut().show(said.pop()) if len(said) == 1 and None not in said else None

    def emptied(tree: Tree) -> None:
        for part in ("asked", "answers"):
            for one in ids:
                tree.get(part, {}).pop(one, None)

    return Step(
        name, SCREENING, "Read out: does any of these hold?", ReadOut(), ("asked", ids[0]),
        "n only when none of them holds; any other key asks them one by one. What is not asked is "
        "never read as no.", tuple(f"- {step.ask}" for step in members),
        asked_if=members[0].asked_if, fill=fill, shown=shown, emptied=emptied,
    )  # fmt: skip


def _opened(step: Step) -> Step:
    def opened(tree: Tree) -> bool:
        return get(tree, ("asked", step.id)) == "singly" and step.asked_if(tree)

    return replace(step, asked_if=opened)


def carried_over(tree: Tree, step: Step) -> bool:
    """Whether the answer of a step was taken over from an earlier visit."""
    return step.stem in tree.get("carried", {})
