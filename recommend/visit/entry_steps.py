"""One step of a guided entry: what is asked, what may answer it, where the answer belongs.

Steps may be asked several at once: left and right side by side, and screening read out in groups.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal, Protocol

from recommend.dataclass import dataclass
from recommend.visit.answers import BothFeet, Kind, ReadTogether
from recommend.visit.tree import SIDES, Both, Path, Tree, drop, each_foot, get, put

SCREENING = "Screening"


class Asked(Protocol):
    """A screening question of a rulebook."""

    @property
    def ask(self) -> str:
        """The question."""

    @property
    def why(self) -> str:
        """Why it is asked."""

    @property
    def after_wear(self) -> bool:
        """Whether it is asked only of a customer who comes back."""

    @property
    def alarming(self) -> Literal["yes", "no"]:
        """The answer that rules warn of."""

    @property
    def only_if(self) -> Mapping[str, str]:
        """Answers to other questions without which it is not asked."""

    @property
    def retired(self) -> bool:
        """Whether it is read in old visits and asked no more."""


def _always(_tree: Tree) -> bool:
    return True


def _nothing(_tree: Tree) -> str | None:
    return None


@dataclass(frozen=True, slots=True)
class EntryStep:
    """One question.

    Attributes
    ----------
    id : what it is called at the command line, such as ``talar-head.left``.
    block : the part of the fitting it belongs to; a block ends with one line of what is known.
    ask : the question, one line.
    kind : what may answer it.
    path : where the answer stands in the visit file.
    help : what '?' shows.
    reminder : lines shown with the question.
    asked_if : whether it is asked at all, from what was answered so far.
    shown : the answer that stands, in words, where it stands in several places.
    usual : the answer that Enter gives when nothing was answered yet; None for none.
    absorb : for an answer that fills many places at once, such as a capture file: the data with
        it in them, and what was done in words. Such a step is asked until it is left out.
    fill : for an answer that fills some places at once, such as both feet; it is asked once.
    emptied : takes the answer out of the data, where it stands in several places.
    feeds : the measures that its answer can give; it is passed over where none of them can still
        change the outcome. Empty for what is always asked.
    short : what it is about, where the question itself does not say it in a few words.
    """

    id: str
    block: str
    ask: str
    kind: Kind
    path: Path
    help: str
    reminder: tuple[str, ...] = ()
    asked_if: Callable[[Tree], bool] = _always
    usual: Callable[[Tree], str | None] = _nothing
    absorb: Callable[[Tree, Any], tuple[Tree, str]] | None = None
    fill: Callable[[Tree, Any], tuple[Tree, str]] | None = None
    shown: Callable[[Tree], str | None] | None = None
    emptied: Callable[[Tree], None] | None = None
    feeds: frozenset[str] = frozenset()
    short: str = ""

    @property
    def called(self) -> str:
        """What it is about, in a few words, where it is named among others."""
        words = self.short or self.ask
        words = re.sub(
            r"^(LEFT|RIGHT): |, left and right\??$|, (degrees|percent) .*|\?$", "", words
        )
        return words[:1].lower() + words[1:] if words[1:2].islower() else words

    @property
    def always_asked(self) -> bool:
        """Whether it is asked whatever was answered before."""
        return self.asked_if is _always

    def standing(self, tree: Tree) -> str | None:
        """The answer that stands, as the fitter would write it; None when there is none."""
        if self.shown is not None:
            return self.shown(tree)
        value = get(tree, self.path) if self.absorb is None else None
        return None if value is None else self.kind.show(value)

    @property
    def stem(self) -> str:
        """What it is called without its side: ``foot-length`` of ``foot-length.left``."""
        return self.id.partition(".")[0]

    def empty(self, tree: Tree) -> None:
        """Take the answer out of `tree`, if it is there."""
        if self.emptied is not None:
            self.emptied(tree)
        else:
            drop(tree, self.path)


def for_each_foot(
    stem: str, block: str, ask: str, kind: Kind, path: Path, help_: str, **more: Any
) -> Iterator[EntryStep]:
    """The same step of the left foot and of the right; `path` has `Both` where the side stands."""
    for side, own in zip(SIDES, each_foot(path), strict=True):
        yield EntryStep(f"{stem}.{side}", block, f"{side.upper()}: {ask}", kind, own, help_, **more)


def side_by_side(steps: Sequence[EntryStep]) -> Iterator[EntryStep]:
    """The steps with each pair of left and right made one step."""
    rest = list(steps)
    while rest:
        step = rest.pop(0)
        if rest and step.id == f"{step.stem}.left" and rest[0].id == f"{step.stem}.right":
            yield _both(step, rest.pop(0))
        else:
            yield step


def _both(left: EntryStep, right: EntryStep) -> EntryStep:
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


def _either(left: EntryStep, right: EntryStep) -> Callable[[Tree], bool]:
    if left.always_asked:
        return left.asked_if
    return lambda tree: left.asked_if(tree) or right.asked_if(tree)


def read_out(
    steps: Sequence[EntryStep],
    questions: Mapping[str, Asked],
    most: int,
    last: Mapping[str, str] | None = None,
) -> Iterator[EntryStep]:
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


def _with_last(step: EntryStep, answer: str | None) -> EntryStep:
    if step.block != SCREENING or answer not in ("yes", "no"):
        return step
    return replace(step, ask=f"{step.ask} (last time: {answer})")


def _grouped(
    screening: Sequence[EntryStep], questions: Mapping[str, Asked], most: int
) -> Iterator[EntryStep]:
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


def _plain(step: EntryStep, after_wear: bool) -> bool:
    """Whether nothing but coming back decides that it is asked."""
    return after_wear or step.always_asked


def _chunk(steps: Sequence[EntryStep], count: int, number: int) -> list[EntryStep]:
    """Part `number` of `count` parts of almost equal length, in order."""
    ends = [round(part * len(steps) / count) for part in range(count + 1)]
    return list(steps[ends[number] : ends[number + 1]])


def _group(name: str, members: Sequence[EntryStep]) -> EntryStep:
    ids = [step.id for step in members]

    def fill(tree: Tree, word: str) -> tuple[Tree, str]:
        after = copy.deepcopy(tree)
        for one in ids:
            put(after, ("asked", one), word)
            if word == "in-group":
                put(after, ("answers", one), "no")
        return after, ReadTogether().show(word)

    def shown(tree: Tree) -> str | None:
        said = {get(tree, ("asked", one)) for one in ids}
        return ReadTogether().show(said.pop()) if len(said) == 1 and None not in said else None

    def emptied(tree: Tree) -> None:
        for part in ("asked", "answers"):
            for one in ids:
                tree.get(part, {}).pop(one, None)

    return EntryStep(
        name, SCREENING, "Read out: does any of these hold?", ReadTogether(), ("asked", ids[0]),
        "n only when none of them holds; any other key asks them one by one. What is not asked is "
        "never read as no.", tuple(f"- {step.ask}" for step in members),
        asked_if=members[0].asked_if, fill=fill, shown=shown, emptied=emptied,
    )  # fmt: skip


def _opened(step: EntryStep) -> EntryStep:
    def opened(tree: Tree) -> bool:
        return get(tree, ("asked", step.id)) == "singly" and step.asked_if(tree)

    return replace(step, asked_if=opened)


def carried_over(tree: Tree, step: EntryStep) -> bool:
    """Whether the answer of a step was taken over from an earlier visit."""
    return step.stem in tree.get("carried", {})
