"""A judged trial in sections: each try-on, what shoe and insole contributed, pictures, order.

And the plan of a try-on, on one screen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from recommend.match.out import step_id
from recommend.match.outcome import Outcome
from recommend.match.shortlist import Candidate, Group
from recommend.match.telling import unplaced_words
from recommend.show.answer import STOPPED, UNPLACED, Part, fitted, note_parts, noted
from recommend.show.change_picture import picture_lines
from recommend.show.console import bullet, heading, inset, plain_table
from recommend.show.curves import curve_lines
from recommend.show.labels import names_of
from recommend.show.lines import ScreenLine
from recommend.show.trial_answer import clinician_parts, trial_lines, trial_names
from recommend.show.trial_words import (
    READING_WORDS,
    SIGNS,
    band_words,
    interval_words,
    key_words,
    keys_words,
    missing_words,
    outside_words,
    signed,
    unit_of,
    verdict_words,
)
from recommend.trial.judged_steps import StepResult, order
from recommend.trial.pictures import change_pictures
from recommend.trial.plan import BAREFOOT, Plan, Worth
from recommend.trial.steps import ReadingKey
from recommend.trial.tried import Tried
from recommend.trial.verdict import JudgedReading, LoadShift, Verdict, load_mark
from recommend.trial.whole_trial import TrialOutcome

_TITLES: dict[Group, str] = {"pair": "Shoe with insole", "shoe": "Shoes", "insole": "Insoles"}

_WIDE = 115  # columns from which verdicts stand beside the numbers
_STYLES = {Verdict.OVER_CORRECTED: "bold red", Verdict.AWAY: "red", Verdict.UNCLEAR: "yellow"}

Blocks = Iterator[RenderableType]


def trial_blocks(one: TrialOutcome, sections: tuple[str, ...], width: int) -> Blocks:
    """The first screen, or these sections; a stop withholds all of them."""
    yield from trial_lines(one, width)
    if one.shortlist is None or not one.trial.results:
        return
    for name in sections:
        yield from SECTIONS[name](one, width)


def _steps(one: TrialOutcome, width: int) -> Blocks:
    names = trial_names(one)
    for result in one.trial.results:
        yield heading(f"{names.called(result.step.id)}, against barefoot")
        yield from _step(result, one, width)


def _step(result: StepResult, one: TrialOutcome, width: int) -> Blocks:
    keys = sorted(result.whole, key=order)
    for gait, reference in dict.fromkeys((key.gait, key.reference) for key in keys):
        yield inset(f"{gait}, from {reference}; degrees, rolling in is positive", 2)
        rows = {k: result.whole[k] for k in keys if (k.gait, k.reference) == (gait, reference)}
        yield from _table(rows, width)
    yield from (bullet(text) for text in _remarks(result, one))


def _table(rows: Mapping[ReadingKey, JudgedReading], width: int) -> Blocks:
    """Numbers with verdicts beside them, or below where both do not fit."""
    wide = width >= _WIDE
    names = ["", "foot", "reading", "bare", "now", "change (95 %)", "can tell", "usual"]
    numbers = slice(3, len(names))
    table = plain_table(*names, *["verdict"] * wide, right=numbers, whole=numbers)
    for key, judged in rows.items():
        cells = [Text(text, style=_style(judged)) for text in _cells(key, judged)]
        said = [Text(verdict_words(judged, unit_of(key)), _style(judged))] if wide else []
        table.add_row(*cells, *said)
    yield table
    if not wide:
        yield from _verdicts(rows)


def _verdicts(rows: Mapping[ReadingKey, JudgedReading]) -> Blocks:
    """Verdicts as sentences; what is true of several readings is said once."""
    said: dict[tuple[str, str, str], list[ReadingKey]] = {}
    for key, judged in rows.items():
        as_said = (SIGNS[judged.verdict], verdict_words(judged, unit_of(key)), _style(judged))
        said.setdefault(as_said, []).append(key)
    for (sign, words, style), keys in said.items():
        yield inset(f"{sign} {keys_words(keys)}: {words}", 0, style)


def _style(judged: JudgedReading) -> str:
    return "bold yellow" if judged.doubtful else _STYLES.get(judged.verdict, "")


def _cells(key: ReadingKey, judged: JudgedReading) -> tuple[str, ...]:
    moved = judged.change
    return (
        SIGNS[judged.verdict], key.side, READING_WORDS[key.reading], f"{moved.before.mean:.1f}",
        f"{moved.after.mean:.1f}", interval_words(moved.interval), f"{moved.smallest:.1f}",
        band_words(judged.band),
    )  # fmt: skip


def _remarks(result: StepResult, one: TrialOutcome) -> Iterator[str]:
    if result.alone:
        names = ", ".join(f"{key_words(k)} {k.gait}" for k in sorted(result.alone, key=order))
        yield f"not judged, no barefoot reading to compare with: {names}"
    if result.missing:
        yield f"not measured in it: {missing_words(sorted(result.missing, key=order))}"
    if any(j.change.before.assumed or j.change.after.assumed for j in result.whole.values()):
        yield "one stride has no spread of its own: that of the rulebook stands in"
    yield from _drifts(result)
    mark = load_mark(one.outcome.book)
    for side, shift in result.load.items():
        yield f"load on the outer half, {side}: {_load_words(shift, mark)}"
    if result.load_alone:
        feet = " and ".join(result.load_alone)
        yield f"load on the outer half, {feet}: not judged, it was not measured barefoot"
    yield _comfort(result, one)


def _drifts(result: StepResult) -> Iterator[str]:
    for key in sorted(result.whole, key=order):
        for name, drift in zip(("barefoot", "this try-on"), result.whole[key].drift, strict=True):
            if drift is not None:
                yield (
                    f"{key_words(key)}, {name}: drifts by {signed(drift.value)}{unit_of(key)} from "
                    "the first stride to the last; walk on until it settles, and measure there "
                    "and back"
                )


def _load_words(shift: LoadShift, mark: str) -> str:
    """What load did; a band that judges says where it comes from."""
    moved = shift.change
    numbers = (
        f"{moved.before.mean:.0f} to {moved.after.mean:.0f} %, {interval_words(moved.interval)}"
    )
    if shift.over:
        band = f"{band_words(shift.band)}: {mark}"
        return f"{numbers}: OVER-CORRECTED, outwards beyond its band ({band})"
    if shift.band is None:
        return f"{numbers}: not judged, the rulebook has no band for it"
    if not moved.told:
        return f"{numbers}: no real change"
    inside = "within its band" if not shift.band.outside(moved.after.mean) else "near its band"
    return f"{numbers}: {'outwards, ' + inside if moved.value > 0 else 'towards the middle'}"


def _comfort(result: StepResult, one: TrialOutcome) -> str:
    if result.comfort is None:
        return "comfort was not asked"
    sides = (
        f"{side} " + ", ".join(f"{region} {value:g}" for region, value in regions.items())
        for side, regions in result.step.comfort.items()
    )
    hurts = "".join(f"; {r.side} {r.region} HURTS" for r in result.hurts)
    ranking = one.ranking
    alike = f"{ranking.alike:.1f} points apart counts as alike"
    source = "from second ratings here" if ranking.alike_measured else "assumed"
    return f"comfort (0 to 10): {'; '.join(sides)}{hurts} ({alike}, {source})"


def _parts(one: TrialOutcome, _width: int) -> Blocks:
    """For an insole tried in a shoe that was tried alone: the part of each."""
    added = [r for r in one.trial.results if r.part is not r.whole and r.part]
    yield heading("What each step contributed")
    if not added:
        yield inset("No insole was tried in a shoe that was tried alone.", 2)
        return
    shoes, names = {r.step.id: r for r in one.trial.results}, trial_names(one)
    for result in added:
        yield inset(names.called(result.step.id), 2)
        table = plain_table("", "foot", "reading", "gait", "shoe", "insole", "together")
        for key in sorted(result.part, key=order):
            shoe, whole = shoes[result.parent.id].whole.get(key), result.whole.get(key)
            reading = READING_WORDS[key.reading]
            parts = map(_part, (shoe, result.part[key], whole))
            table.add_row("", key.side, reading, key.gait, *parts)
        yield table
    yield inset("(?): no real change", 2)


def _part(judged: JudgedReading | None) -> str:
    if judged is None:
        return "not known"
    doubt = " doubtful" if judged.doubtful else "" if judged.change.told else " (?)"
    return f"{signed(judged.change.value)}{doubt}"


def _picture(one: TrialOutcome, width: int) -> Blocks:
    for picture in change_pictures(one.trial):
        yield heading(f"Before and now, {picture.gait}, from {picture.reference}")
        yield from (inset(line, 2) for line in picture_lines(picture, trial_names(one), width - 2))


def _curves(one: TrialOutcome, width: int) -> Blocks:
    for picture in one.pictures:
        yield heading("The curves")
        yield from (inset(line, 2) for line in curve_lines(picture, trial_names(one), width - 2))


def _shortlist(one: TrialOutcome, _width: int) -> Blocks:
    """Each group in its new order, with what was measured."""
    if one.shortlist is None:
        return
    yield heading("Shortlist with what was measured")
    shown = one.outcome.book.parameters.rank.shown
    names = names_of(one.outcome)
    tried = {t.id.removeprefix("own+"): t for t in one.ranking.tried}
    for group, title in _TITLES.items():
        ranked = one.shortlist.ranked[group]
        yield inset(f"{title}, {len(ranked)} suitable and in stock", 2, "bold")
        for place, candidate in enumerate(ranked, 1):
            if place <= shown or step_id(candidate.id) in tried:
                yield inset(f"{place}. {names.worn(candidate.id)}; {_state(candidate, tried)}", 4)


def _state(candidate: Candidate, tried: dict[str, Tried]) -> str:
    known = tried.get(step_id(candidate.id))
    if known is None:
        return "not tried"
    if known.bars:
        against = ", ".join(bar.value.replace("-", " ") for bar in known.bars)
        return f"tried: {against}"
    return f"tried: {outside_words(known.result)}"


def _how_to_read(one: TrialOutcome, _width: int) -> Blocks:
    parameters = one.outcome.book.parameters
    few, shift = parameters.trial.few_strides, parameters.trial.mark_shift
    yield heading("How to read this")
    yield bullet(
        "> towards the band, = within it, ~ at its lower edge, ? no real change, < away, "
        "! over-corrected"
    )
    yield bullet(
        "change: now less bare, with the span in which it lies 19 times in 20, though strides "
        f"resemble each other. From {few:g} strides in both they tell how much; with fewer a "
        f"resemblance of {parameters.trial.stride_resemblance:g} is taken (an assumption), "
        "which makes the span wider than needed where strides are more their own."
    )
    yield bullet("can tell: the smallest change that these strides can tell from chance.")
    yield bullet(
        f"A mark on a shoe may read {shift:g}° or more beside one on the heel, alike in every "
        "stride (from memory, to be verified); no span shows that, unless the lab has measured "
        "it (`recommend visit repeatability`). Mark the heel through a window in the shoe where "
        "you can."
    )
    yield bullet(
        "Comfort decides where motion does not differ; where both do, one point of comfort weighs "
        f"{parameters.trial.comfort_worth:g}° (an assumption: `comfort-worth` in the shop's "
        "rules/parameters/trial.yaml)."
    )
    yield bullet("It is today's foot in today's strides: fitting advice, not a diagnosis.")


SECTIONS: Mapping[str, Callable[[TrialOutcome, int], Blocks]] = {
    "steps": _steps,
    "parts": _parts,
    "picture": _picture,
    "curves": _curves,
    "shortlist": _shortlist,
    "how": _how_to_read,
}


_SHORTENED = ("why", "leave", "strides", "why", "type")


def plan_lines(plan: Plan | None, outcome: Outcome, width: int) -> list[ScreenLine]:
    """The plan; a stop is said in its place."""
    return fitted(_plan_parts(plan, outcome), _SHORTENED, width)


def _plan_parts(plan: Plan | None, outcome: Outcome) -> Iterator[Part]:
    visit = outcome.assessment.visit
    gaits = dict.fromkeys(one.gait for one in plan.readings) if plan else {}
    yield Part("who", visit.reference, [["  ".join(["Plan for the try-on", *gaits])]])
    if plan is None:
        yield from note_parts("stop", STOPPED, (one.say for one in noted(outcome, "stop")))
        return
    yield from clinician_parts(outcome)
    if not plan.names:
        ranked = outcome.shortlist
        left = "Nothing suitable is left to try in this size."
        if ranked is not None and ranked.unplaced:
            left = f"{UNPLACED}{unplaced_words(ranked)}."
        yield Part("try", "Try", [[left]])
        return
    names = names_of(outcome, plan.names)
    yield Part("try", "Try", [[names.called(name) for name in plan.names]])
    order = ", ".join(name if name == BAREFOOT else names.short([name]) for name in plan.order)
    yield Part("order", "Order", [[order]])
    yield Part("strides", "Strides", [[_strides(plan, outcome)]])
    yield Part("measure", "Measure", [list(_measured(plan, outcome))] if plan.strides else [])
    yield Part("leave", "Leave out", [list(_left_out(plan, outcome))])
    yield Part("why", "Why", [[_WHY], []])
    turns = "(each turn adds to its try-on; type both barefoot turns too, they stand in for the"
    yield Part("type", "Type", [[f"recommend trial step {visit.reference}   {turns} first film)"]])
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


_WHY = (
    "There and back again: what drifts on the treadmill, and being first or last, falls on all "
    "alike. Ask for comfort at each second turn without saying which it is: that shows how "
    "far two ratings of one pair differ."
)


def _name(one: Worth) -> str:
    return READING_WORDS[one.reading]


def plan_document(plan: Plan | None) -> dict[str, Any]:
    """The plan as plain data; ``stopped`` where a stop withholds it."""
    if plan is None:
        return {"format": 1, "stopped": True}
    return {"format": 1, "stopped": False, **asdict(plan), "each-turn": plan.each_turn}
