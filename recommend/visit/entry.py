"""Guided entry as a plain state machine over a list of steps. Knows of no terminal.

Feed it what was typed; it says what became of it. It never loses the answers that stand: the
caller saves the draft after every reply.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

from recommend.errors import InputError
from recommend.reading import Document, validate
from recommend.visit.answers import Choice, RefusedError
from recommend.visit.entry_steps import EntryStep, carried_over
from recommend.visit.models import Visit
from recommend.visit.shelf import Draft
from recommend.visit.tree import Both, Tree, put, tidied

HELP, BACK, PAST, CLEAR = "?", "<", ">", "x"
COMMANDS = frozenset({HELP, BACK, PAST, CLEAR})

# Asked at the end, where questions were passed over.
PASSED_OVER = EntryStep(
    id="passed-over",
    block="Passed over",
    ask="These can change nothing any more, or stand from before:",
    kind=Choice({"e": "end here", "o": "open them"}),
    path=("passed-over",),
    help="Whatever is answered there, no note, foot type, need or product would be another.",
)

# Asked after a stop, in place of the next step.
AFTER_STOP = EntryStep(
    id="after-stop",
    block="Stop",
    ask="End here, or carry on for the record? (< goes back to the answer)",
    kind=Choice({"e": "end here", "c": "carry on"}),
    path=("after-stop",),
    help="A stop withholds the shortlist whatever else is typed. Ending keeps the visit.",
)


class Judge(Protocol):
    """What the rulebook has to say while answers come in."""

    def doubt(self, before: Visit, after: Visit) -> str:
        """Why the newest answer is hardly possible; empty when it is plausible."""

    def stops(self, visit: Visit) -> dict[str, str]:
        """Stops that hold, by rule, each as a sentence."""

    def advice(self, visit: Visit) -> dict[str, str]:
        """See-a-clinician notes that hold, by rule, each as a sentence."""

    def still_open(self, visit: Visit) -> frozenset[str]:
        """Measures that can still change a note, a foot type or a need."""


@dataclass(frozen=True, slots=True)
class Reply:
    """What became of what was typed.

    `stops` and `advice` (see a clinician) are sentences to say at once; `block_ended` names a
    block that was just left.
    """

    kind: Literal["taken", "left-out", "kept", "refused", "again", "help", "back", "removed"]
    say: str = ""
    stops: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()
    block_ended: str = ""


class Entry:
    """An entry under way.

    Parameters
    ----------
    steps : in the order of asking.
    draft : what was answered so far; changed in place.
    judge : asked after every answer.
    """

    def __init__(self, steps: Sequence[EntryStep], draft: Draft, judge: Judge) -> None:
        self.steps, self.draft, self.judge = tuple(steps), draft, judge
        self._index = {step.id: number for number, step in enumerate(self.steps)}
        self._done, self._offering = False, False
        self._open: tuple[Tree, frozenset[str]] | None = None
        if draft.at not in self._index:
            draft.at = self.steps[0].id

    @property
    def step(self) -> EntryStep | None:
        """The step being asked; None at the end."""
        if self._done:
            return None
        if self._offering:
            names = ", ".join(dict.fromkeys(step.called for step in self.passed_over))
            return replace(PASSED_OVER, ask=f"{PASSED_OVER.ask} {names[:1].upper()}{names[1:]}.")
        return AFTER_STOP if self.draft.halted else self.steps[self._position]

    @property
    def number(self) -> tuple[int, int]:
        """Which step of its block this is, and of how many that are asked."""
        here = self.steps[self._position]
        block = [
            step
            for step in self._asked()
            # What is asked only under a condition counts once it is reached.
            if step.block == here.block
            and (step.always_asked or self._index[step.id] <= self._position)
        ]
        return block.index(here) + 1, len(block)

    def feed(self, text: str) -> Reply:
        """Take one answer, one command, or nothing (Enter alone)."""
        step = self.step
        if step is None:
            raise RuntimeError("the entry has ended")
        command = text.strip()
        if command == HELP:
            return Reply("help", step.help)
        if command == BACK:
            return self._back()
        if self._offering:
            return self._opening(text)
        if step is AFTER_STOP:
            return self._after_stop(text)
        if command == PAST:
            return self._move(Reply("left-out", "passed over; what stands stays"), past=True)
        if command == CLEAR and step.absorb is None:
            return self._clear(step)
        return self._answer(step, text) if command else self._enter(step)

    def _end(self) -> None:
        """End, or offer what was passed over."""
        if self.passed_over:
            self._offering = True
        else:
            self.finish()

    def finish(self) -> None:
        """End here; what was not asked stays not asked."""
        self._done, self.draft.at = True, ""

    @property
    def _position(self) -> int:
        return self._index[self.draft.at]

    @property
    def passed_over(self) -> list[EntryStep]:
        """Steps that are not asked because they can change nothing, or stand from before."""
        if self.draft.opened:
            return []
        tree = self.draft.tree
        return [s for s in self.steps if s.asked_if(tree) and not self._worth_asking(s)]

    def _asked(self) -> list[EntryStep]:
        tree = self.draft.tree
        return [s for s in self.steps if s.asked_if(tree) and self._worth_asking(s)]

    def _worth_asking(self, step: EntryStep) -> bool:
        """Whether an answer can still change the outcome; what was answered here stays asked."""
        tree = self.draft.tree
        if self.draft.opened or step.id == self.draft.at:
            return True
        if carried_over(tree, step):
            return False
        if not step.feeds or step.standing(tree) is not None:
            return True
        return bool(step.feeds & self._still_open())

    def _still_open(self) -> frozenset[str]:
        """Asked of the judge once for the same data."""
        if self._open is None or self._open[0] != self.draft.tree:
            tree = copy.deepcopy(self.draft.tree)
            self._open = (tree, self.judge.still_open(visit_of(tree)))
        return self._open[1]

    def _opening(self, text: str) -> Reply:
        chosen = _chosen(PASSED_OVER, text)
        if isinstance(chosen, Reply):
            return chosen
        self._offering = False
        if chosen == "end here":
            self.finish()
            return Reply("taken", chosen)
        first = self.passed_over[0].id
        self.draft.opened, self.draft.at = True, first
        return Reply("taken", chosen)

    def _enter(self, step: EntryStep) -> Reply:
        """Enter alone keeps what stands, or gives the usual answer, or leaves the step out.

        At a question of one key it leaves nothing out: a key pressed too often is no answer.
        """
        standing = step.standing(self.draft.tree)
        if standing is not None:
            return self._move(self._warned(Reply("kept", standing), step))
        usual = step.usual(self.draft.tree)
        if usual:
            return self._answer(step, usual)
        if step.kind.keys:
            return Reply("refused", f"nothing was answered; {CLEAR} leaves this question out")
        return self._move(Reply("left-out", "left out"))

    def _answer(self, step: EntryStep, text: str) -> Reply:
        before = self.draft.tree
        try:
            value = step.kind.parse(text)
            after, said = with_answer(before, step, value)
            visit = visit_of(after)
        except RefusedError as error:
            return Reply("refused", str(error))
        except InputError as error:
            return Reply("refused", str(error) if step.absorb else _refusal(text, error))
        # A doubt is settled by the same value once more; another value is doubted anew.
        repeated = self.draft.doubted.get(step.id) == value
        doubt = "" if repeated else self.judge.doubt(visit_of(before), visit)
        if doubt:
            self.draft.doubted[step.id] = value
            return Reply("again", doubt)
        after.get("carried", {}).pop(step.stem, None)
        self.draft.tree = after
        self.draft.doubted.pop(step.id, None)
        reply = self._warned(Reply("taken", said), step)
        return reply if step.absorb else self._move(reply)

    def _clear(self, step: EntryStep) -> Reply:
        """Leave the answer of a step out, unless others were taken under it."""
        tree = copy.deepcopy(self.draft.tree)
        step.empty(tree)
        try:
            visit = visit_of(tree)
        except InputError:
            resting = ", ".join(dict.fromkeys(one.called for one in self._under(step)))
            return Reply("refused", f"{resting} stand on this answer; {CLEAR} at them first")
        self.draft.tree = tree
        self.draft.said = [*self.judge.stops(visit), *self.judge.advice(visit)]
        return self._move(Reply("removed", "left out; missing stays missing"))

    def _under(self, step: EntryStep) -> Iterator[EntryStep]:
        """Steps whose answers stand in the entry that the answer of `step` describes."""
        for one in self.steps:
            beside = len(one.path) == len(step.path) and one.stem != step.stem
            inside = zip(step.path[:-1], one.path[:-1], strict=False)
            stands = one.standing(self.draft.tree) is not None
            if beside and stands and all(a in (b, Both()) for a, b in inside):
                yield one

    def _warned(self, reply: Reply, step: EntryStep) -> Reply:
        """`reply` with the warnings that belong to the answer that now stands at `step`.

        They are those not said yet, and those that rest on this answer: who goes back and
        confirms it hears them again. Advice may rest on many answers, so that Enter, which only
        passes by, repeats no advice.
        """
        visit = visit_of(self.draft.tree)
        stops, advice = self.judge.stops(visit), self.judge.advice(visit)
        known = set(self.draft.said)
        if known & {*stops, *advice}:
            without = self._without(step)
            known -= stops.keys() - self.judge.stops(without).keys()
            if reply.kind == "taken":
                known -= advice.keys() - self.judge.advice(without).keys()
        self.draft.said = [*stops, *advice]
        new_stops, new_advice = (
            tuple(say for rule, say in found.items() if rule not in known)
            for found in (stops, advice)
        )
        self.draft.halted = bool(new_stops)
        return replace(reply, stops=new_stops, advice=new_advice)

    def _without(self, step: EntryStep) -> Visit:
        """The visit as it would be without the answer of `step`."""
        tree = copy.deepcopy(self.draft.tree)
        step.empty(tree)
        try:
            return visit_of(tree)
        except InputError:  # another answer stands on this one
            return visit_of(self.draft.tree)

    def _after_stop(self, text: str) -> Reply:
        chosen = _chosen(AFTER_STOP, text)
        if isinstance(chosen, Reply):
            return chosen
        self.draft.halted = False
        if chosen == "end here":
            self.finish()
        return Reply("taken", chosen)

    def _back(self) -> Reply:
        if self._offering:
            self._offering = False
            return Reply("back")
        if self.draft.halted:  # the step that brought the stop is the one before
            self.draft.halted = False
        before = [s for s in self._asked() if self._index[s.id] < self._position]
        if not before:
            return Reply("refused", "this is the first question")
        self.draft.at = before[-1].id
        return Reply("back")

    def _move(self, reply: Reply, *, past: bool = False) -> Reply:
        here = self.steps[self._position]
        ahead = [s for s in self._asked() if self._index[s.id] > self._position]
        if past:
            ahead = [s for s in ahead if s.block != here.block]
        if not ahead:
            if not self.draft.halted:
                self._end()
            return replace(reply, block_ended=here.block)
        self.draft.at = ahead[0].id
        ended = here.block if ahead[0].block != here.block else ""
        return replace(reply, block_ended=ended)


def _chosen(step: EntryStep, text: str) -> str | Reply:
    """The word that was chosen, or that what was typed is none."""
    try:
        return str(step.kind.parse(text))
    except RefusedError as error:
        return Reply("refused", str(error))


def with_answer(before: Tree, step: EntryStep, value: Any) -> tuple[Tree, str]:
    """The data with an answer in them, and the answer in words."""
    fill = step.absorb or step.fill
    if fill is not None:
        return fill(before, value)
    after = copy.deepcopy(before)
    put(after, step.path, value)
    return after, step.standing(after) or ""


def visit_of(tree: Tree) -> Visit:
    """The visit that the answers so far make up.

    Raises
    ------
    InputError
        If an answer is impossible.
    """
    return validate(Visit, Document("entry", tidied(copy.deepcopy(tree)), {}, {}, ""))


def _refusal(text: str, error: InputError) -> str:
    return f"`{text.strip()[:40]}` is not possible here: {error.allowed or error.found}"
