"""How many questions and keys a fitting costs, and that nothing passed over would have mattered."""

from __future__ import annotations

import io
import random
import sys
from collections.abc import Mapping
from functools import partial
from pathlib import Path

import pytest

from recommend.errors import InputError
from recommend.infer.adviser import Adviser
from recommend.rulebook.models import AxisThen
from recommend.visit.answers import BothFeet, RefusedError
from recommend.visit.entry import Entry, visit_of, with_answer
from recommend.visit.entry_steps import EntryStep, read_out, side_by_side
from recommend.visit.intake import READINGS, intake
from recommend.visit.models import Visit
from recommend.visit.shelf import Draft, Shelf
from recommend.visit.tree import Tree
from recommend.way import outcome_of
from tests import shipped
from tests.reading.corpus import run_in_process

QUESTIONS, KEYS = 35, 120  # what twenty minutes leave for typing: common practice, no source

# An invented adult without pain: posture, lengths and a film as one mean of each foot.
TYPED: Mapping[str, str] = {
    "age-band": "a", "pain": "n", "purpose": "w", "shoe-size": "42", "body-mass": "74",
    "talar-head": "fd", "malleolar-curves": "df", "calcaneus": "ff", "talonavicular-bulge": "dd",
    "medial-arch": "dd", "forefoot-abduction": "fd",
    "foot-length": "268 266", "truncated-length": "196 195", "forefoot-width": "101 100",
    "heel-width": "65 65", "dorsum-sitting": "68 67", "dorsum-standing": "65 64",
    "peak": "6.1 5.8", "peak-time": "39 38", "propulsion": "1.2 1.0", "midstance": "4.1 3.9",
    "mean-of": "10",
}  # fmt: skip


def entry_of(counter: Adviser) -> Entry:
    """An entry as a shop asks it: feet side by side, screening read out, the fitter known."""
    book = counter.book
    steps = [
        s for s in intake(book.questions, book.purposes, "eu", "vertical") if s.id != "measured-by"
    ]
    most = book.parameters.entry.read_out_most
    asked = tuple(read_out(list(side_by_side(steps)), book.questions, most))
    return Entry(asked, Draft({"reference": "T-1", "date": "2026-03-05"}), counter)


def calm(step: EntryStep) -> str:
    """The key that says that nothing is wrong, at a question of the screening."""
    if not step.id.startswith("read-out") and step.block != "Screening":
        return ""
    question = shipped.book().questions.get(step.id)
    return "y" if question is not None and question.alarming == "no" else "n"


def typed_through(entry: Entry, typed: Mapping[str, str]) -> tuple[list[str], int]:
    """The ids asked, and the keys pressed: one for each letter, and Enter after a typed line."""
    asked, keys = [], 0
    while step := entry.step:
        harmless = calm(step)
        text = typed.get(step.id, "e" if step.id == "passed-over" else harmless)
        asked.append(step.id)
        if not text and step.kind.keys and step.usual(entry.draft.tree) is None:
            text = "x"
        keys += len(text) + (0 if step.kind.keys and text else 1)
        reply = entry.feed(text)
        assert reply.kind not in ("refused", "again"), (step.id, reply)
    return asked, keys


def test_an_ordinary_adult_is_typed_within_the_budget(counter: Adviser) -> None:
    """Fully screened, posture, sizes and film: at most 35 questions and 120 keys."""
    asked, keys = typed_through(entry_of(counter), TYPED)
    assert len(asked) <= QUESTIONS, asked
    assert keys <= KEYS, (keys, asked)


def test_where_minutes_are_short_only_what_settles_most_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With eight minutes some readings are asked for, the others are named as given up."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("q\n"))
    done = run_in_process(["visit", "new", "T-1", "--minutes", "8", "--visits", str(tmp_path)])
    said = " ".join(done.stdout.split())
    assert "In about 8 minutes: screening, sizes, " in said
    draft = Shelf(tmp_path).draft("T-1")
    assert draft is not None
    asked = said.partition("sizes, ")[2].partition(".")[0].split(", ")
    given_up = [one.replace("-", " ") for one in READINGS if f"Given up: {one}" in said]
    assert [one.replace("-", " ") for one in draft.readings] == asked
    assert given_up
    assert not set(given_up) & set(asked)


# What may be typed at each question, over the range that feet have and beyond its limits.
SPREAD: Mapping[str, tuple[float, float]] = {
    "foot-length": (235, 290), "truncated-length": (185, 200), "forefoot-width": (88, 112),
    "heel-width": (58, 72), "dorsum-sitting": (58, 80), "dorsum-standing": (55, 80),
    "navicular-sitting": (40, 55), "navicular-standing": (30, 50), "standing-angle": (-3, 14),
    "touchdown": (-6, 4), "contact": (0, 12), "peak": (12, 16), "peak-time": (20, 60),
    "midstance": (-4, 10), "propulsion": (-6, 8), "cpei": (0, 30), "arch-index": (0.1, 0.4),
}  # fmt: skip
WORDS: Mapping[str, str] = {
    "age-band": "tao", "purpose": "wrs", "cop-pattern": "clem", "gait": "wr", "moving-zero": "vrs",
    "standing-zero": "vrs", "print-kind": "ipw", "print-load": "sd",
}  # fmt: skip
ITEMS = ("talar-head", "malleolar-curves", "calcaneus", "talonavicular-bulge", "medial-arch")


def drawn(rng: random.Random, step: EntryStep) -> str:
    """Something to type at a step; empty where nothing is drawn for it."""
    if step.id in SPREAD:
        low, high = SPREAD[step.id]
        return " ".join(f"{rng.uniform(low, high):.2f}" for _ in range(2))
    if step.id in WORDS:
        letters = WORDS[step.id]
        one = rng.choice(letters)
        return f"{one} {rng.choice(letters)}" if isinstance(step.kind, BothFeet) else one
    if step.id in (*ITEMS, "forefoot-abduction"):
        return " ".join(str(rng.randint(-2, 2)) for _ in range(2))
    if step.id.startswith("read-out") or step.block == "Screening":
        return calm(step)
    return {"shoe-size": "42", "body-mass": f"{rng.uniform(45, 125):.0f}"}.get(step.id, "")


def feed_drawn(entry: Entry, rng: random.Random) -> None:
    """One drawn answer, or none in a fifth of the measures; a doubt is confirmed."""
    step = entry.step
    assert step is not None
    text = drawn(rng, step)
    left_out = step.feeds and rng.random() < 0.2
    text = "x" if left_out or (not text and step.kind.keys) else text
    reply = entry.feed(text)
    if reply.kind == "again":
        reply = entry.feed(text)
    if reply.kind == "refused":
        entry.feed("x")


def outcome(counter: Adviser, tree: Tree) -> tuple[object, ...]:
    """Notes, foot types, and the needs that hold, of a visit."""
    seen = counter.assess(visit_of(tree))
    needs = {
        side: [
            rule.id
            for rule in counter.book.rules
            if not isinstance(rule.rule.then, AxisThen) and foot.conclusions.truth[rule.id]
        ]
        for side, foot in seen.feet.items()
    }
    return seen.notes, [foot.foot_type for foot in seen.feet.values()], needs


# Where a limit lies between, an answer on each side of it and one at it.
APART = (-0.02, 0.0, 0.02)


def beside_limits(step: EntryStep, tree: Tree, counter: Adviser, rng: random.Random) -> str:
    """An answer whose measure lies beside a drawn limit of the rulebook; empty for words."""
    book = counter.book
    measure = next(iter(sorted(step.feeds)), "")
    if step.id not in SPREAD or measure not in book.measures:
        return drawn(rng, step)
    unit = "ratio" if step.id == "dorsum-sitting" else book.measures[measure].unit
    limits = [v.value for one in book.limits.values() if one.unit == unit for v in one.values]
    if not limits:
        return drawn(rng, step)
    wanted = [rng.choice(limits) + rng.choice(APART) for _ in range(2)]
    feet = [tree.get("feet", {}).get(side, {}) for side in ("left", "right")]
    return " ".join(f"{one:.3f}" for one in map(partial(_typed, step), wanted, feet))


def _typed(step: EntryStep, wanted: float, foot: Tree) -> float:
    """What is typed at a step so that the measure it feeds comes to what is wanted."""
    if step.id.startswith("navicular-"):  # the drop is what sitting is higher than standing
        other = {"navicular-sitting": "standing", "navicular-standing": "sitting"}[step.id]
        height = foot.get("navicular-height-mm", {}).get(other, 45.0)
        return height + wanted if other == "standing" else height - wanted
    if step.id == "dorsum-sitting":
        return float(foot.get("dorsum-height-mm", {}).get("standing", 65.0)) / wanted
    if step.id == "dorsum-standing":
        return float(foot.get("truncated-foot-length-mm", 195.0)) * wanted
    if step.id == "truncated-length":
        return float(foot.get("dorsum-height-mm", {}).get("standing", 65.0)) / wanted
    return wanted


class Quiet(Adviser):
    """Asks of the rules only what is still open: who is warned of nothing is asked the same."""

    def doubt(self, before: Visit, after: Visit) -> str:
        """Nothing: every number is taken as it is drawn."""
        return ""

    def _said(self, visit: Visit, level: str) -> dict[str, str]:
        return {}


def passed_over_and_answered(
    counter: Adviser, rng: random.Random, times: int
) -> tuple[int, list[tuple[str, str]]]:
    """Draw one visit and answer what it passed over, beside limits, `times` times.

    How many answers were tried, and those that altered the outcome: step and what was typed.
    """
    entry = entry_of(Quiet(counter.book))
    while entry.step is not None and entry.step.id != "passed-over":
        feed_drawn(entry, rng)
    if entry.step is None:
        return 0, []
    plain, tried, altered = outcome(counter, entry.draft.tree), 0, []
    for _ in range(times):
        tree, typed = entry.draft.tree, []
        for step in rng.sample(entry.passed_over, k=min(3, len(entry.passed_over))):
            text = beside_limits(step, tree, counter, rng)
            try:
                answered, _ = with_answer(tree, step, step.kind.parse(text))
                visit_of(answered)
            except (InputError, RefusedError):
                continue
            tree = answered
            typed.append((step.id, text))
        if typed:
            tried += len(typed)
            if outcome(counter, tree) != plain:
                altered += typed
    return tried, altered


def test_what_is_passed_over_changes_no_first_choice(counter: Adviser) -> None:
    """Nor is what is brought first another, whichever side of a limit the answers lie."""
    tried = 0
    for number in range(3):
        rng = random.Random(f"first {number}")
        entry = entry_of(Quiet(counter.book))
        while entry.step is not None and entry.step.id != "passed-over":
            feed_drawn(entry, rng)
        plain = brought_first(counter, entry.draft.tree)
        tree = entry.draft.tree
        for step in entry.passed_over if entry.step is not None else ():
            try:
                text = beside_limits(step, tree, counter, rng)
                answered, _ = with_answer(tree, step, step.kind.parse(text))
                visit_of(answered)
            except (InputError, RefusedError):
                continue
            tree, tried = answered, tried + 1
        assert brought_first(counter, tree) == plain
    assert tried > 5  # else the test would test nothing


def brought_first(counter: Adviser, tree: Tree) -> dict[str, list[str]]:
    """The members of the first group of shoes, insoles and pairs."""
    ranked = outcome_of(visit_of(tree), counter.book, shipped.shop(), counter.engine).shortlist
    groups = ranked.groups.items() if ranked is not None else ()
    return {
        name: [one.id for equals in found[:1] for one in equals.members] for name, found in groups
    }


def test_what_is_passed_over_could_not_have_mattered(counter: Adviser) -> None:
    """Whatever is answered at questions that were passed over, the outcome stays the same.

    Answers lie on both sides of the limits; `python -m tests.bench.passed_over` draws 2,000.
    """
    rng = random.Random(20261128)
    found = [passed_over_and_answered(counter, rng, times=4) for _ in range(20)]
    assert [altered for _, altered in found if altered] == []
    assert sum(tried for tried, _ in found) > 100  # else the test would test nothing
