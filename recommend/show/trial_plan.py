"""The plan of a try-on at the terminal, on one screen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from rich.text import Text

from recommend.match.outcome import Outcome
from recommend.match.telling import unplaced_words
from recommend.show.answer import Part, fitted
from recommend.show.figures import LEVEL_WORDS
from recommend.show.letters import names_of
from recommend.show.trial_answer import clinician_parts
from recommend.show.trial_words import READING_WORDS, unit_of
from recommend.trial.plan import BAREFOOT, Plan, Worth

_SHORTENED = ("why", "leave", "strides", "why", "type")


def plan_lines(plan: Plan | None, outcome: Outcome, width: int) -> list[Text]:
    """The plan; a stop is said in its place."""
    return fitted(_parts(plan, outcome), _SHORTENED, width)


def _parts(plan: Plan | None, outcome: Outcome) -> Iterator[Part]:
    visit = outcome.assessment.visit
    gaits = dict.fromkeys(one.gait for one in plan.readings) if plan else {}
    yield Part("who", visit.reference, [["  ".join(["Plan for the try-on", *gaits])]])
    if plan is None:
        notes = [note for note in outcome.assessment.notes if note.level == "stop"]
        yield Part("head", LEVEL_WORDS["stop"], [["No shoe or insole today."]], "bold red")
        yield Part("notes", "", [[f"- {note.say}" for note in notes]])
        return
    yield from clinician_parts(outcome)
    if not plan.names:
        ranked = outcome.shortlist
        left = "Nothing suitable is left to try in this size."
        if ranked is not None and ranked.unplaced:
            left = f"Nothing has a first place yet: {unplaced_words(ranked)}."
        yield Part("try", "Try", [[left]])
        return
    names = names_of(outcome, plan.names)
    yield Part("try", "Try", [[names.called(name) for name in plan.names]])
    order = ", ".join(name if name == BAREFOOT else names.short([name]) for name in plan.order)
    yield Part("order", "Order", [[order]])
    yield Part("strides", "Strides", [[_strides(plan, outcome)]])
    yield Part("measure", "Measure", [list(_measured(plan, outcome))] if plan.strides else [])
    yield Part("leave", "Leave out", [list(_left_out(plan, outcome))])
    yield _why()
    yield Part(
        "type", "Type",
        [[
            f"recommend trial step {visit.reference}   (each turn adds to its try-on; type both "
            "barefoot turns too, they stand in for the first film)"
        ]],
    )  # fmt: skip
    yield Part("more", "More", [[f"rules {outcome.book.stamp}"]])


def _strides(plan: Plan, outcome: Outcome) -> str:
    if plan.strides is None:
        return (
            "None: what was measured barefoot cannot be judged better or worse by strides. Ask for "
            "comfort, once in each, and once more without saying which it is."
        )
    small, large = _sizes(outcome)
    return (
        f"{plan.each_turn} of each foot in every turn, {2 * (plan.each_turn or 0)} in each try-on. "
        f"About that many tell {small} from chance, or {large} where the strides differ much."
    )


def _measured(plan: Plan, outcome: Outcome) -> Iterator[str]:
    for one in plan.readings:
        if one.worth_it:
            yield f"{_name(one)}: {_told(one, outcome)}{_gain(one)}"


def _told(one: Worth, outcome: Outcome) -> str:
    small, large = _sizes(outcome, unit_of(one))
    spread = f"spread {one.sd:.1f}" + ("" if one.own else " assumed")
    first = f"{small} in {one.small}" if one.small else f"{small} is too small to matter"
    return f"{first}, {large} in {one.large} strides ({spread})"


def _sizes(outcome: Outcome, unit: str = "°") -> tuple[str, str]:
    """The two changes that a plan reckons strides for, as words."""
    known = outcome.book.parameters.trial
    return f"{known.plan_small:g}{unit}", f"{known.plan_large:g}{unit}"


def _gain(one: Worth) -> str:
    return f"; to gain: {' and '.join(one.to_gain)}" if one.to_gain else "; within its band"


def _left_out(plan: Plan, outcome: Outcome) -> Iterator[str]:
    no_band = [_name(one) for one in plan.readings if not one.judged]
    noisy = [one for one in plan.readings if one.judged and one.large is None]
    if no_band:
        yield f"{', '.join(no_band)}: no usual band is known, so it decides nothing"
    for one in noisy:
        large = _sizes(outcome, unit_of(one))[1]
        yield f"{_name(one)}: even {large} is too small to matter: let comfort decide"
    if plan.other_gaits:
        yield f"{' and '.join(plan.other_gaits)}: not what it is worn for"
    if not plan.readings:
        yield "all angles: the bare feet were not filmed, so nothing can be compared"
    if plan.readings and not any(one.to_gain for one in plan.readings if one.worth_it):
        yield "nothing lies outside its band: watch that it stays so, and let comfort decide"


def _why() -> Part:
    text = (
        "There and back again: what drifts on the treadmill, and being first or last, falls on all "
        "alike. Ask for comfort at each second turn without saying which it is: that shows how "
        "far two ratings of one pair differ."
    )
    return Part("why", "Why", [[text], []])


def _name(one: Worth) -> str:
    return READING_WORDS[one.reading]


def as_document(plan: Plan | None) -> dict[str, Any]:
    """The plan as plain data; ``stopped`` where a stop withholds it."""
    if plan is None:
        return {"format": 1, "stopped": True}
    return {"format": 1, "stopped": False, **asdict(plan), "each-turn": plan.each_turn}
