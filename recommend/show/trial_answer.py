"""A trial on one screen: the best of what was tried, why, what to do next, and the verdicts."""

from __future__ import annotations

from collections.abc import Iterator

from recommend.errors import counted
from recommend.match.outcome import Outcome
from recommend.match.telling import unplaced_words
from recommend.show.answer import STOPPED, UNPLACED, Part, day_words, fitted, note_parts, noted
from recommend.show.labels import Names, names_of
from recommend.show.lines import ScreenLine
from recommend.show.trial_words import (
    SIGNS,
    bar_words,
    keys_words,
    missing_words,
    outside_words,
    signed,
    unit_of,
    verdict_words,
)
from recommend.trial.judged_steps import StepResult, order
from recommend.trial.plan import Next, Why
from recommend.trial.steps import READINGS, ReadingKey
from recommend.trial.verdict import JudgedReading, Verdict
from recommend.trial.whole_trial import TrialOutcome

_MOST = 4  # try-ons whose verdicts stand on the first screen
_SHORTENED = (
    "try-1", "try-2", "try-3", "try-4", "choose", "not", "mind", "try-1", "try-2", "try-3", "try-4",
    "known", "not", "why", "try-4", "try-3", "try-2", "next", "try-1", "mind",
)  # fmt: skip


def trial_lines(one: TrialOutcome, width: int) -> list[ScreenLine]:
    """The screen; a stop is said first and withholds the rest."""
    return fitted(_parts(one, trial_names(one)), _SHORTENED, width)


def trial_names(one: TrialOutcome) -> Names:
    """What the try-ons are called, and what is named to try next."""
    return names_of(one.outcome, one.next.names if one.next else ())


def step_lines(one: TrialOutcome, name: str) -> Iterator[str]:
    """What one try-on has shown so far, a line for each reading: to be said while it is typed."""
    for result in one.trial.results:
        if result.step.id == name:
            yield from (line.strip() for line in _verdict_lines(result))


def _parts(one: TrialOutcome, names: Names) -> Iterator[Part]:
    visit = one.outcome.assessment.visit
    yield Part("who", visit.reference, [[f"Trial  {day_words(visit.date)}{_gaits(one)}"]])
    if one.shortlist is None:
        yield from _stop(one)
        return
    yield from clinician_parts(one.outcome)
    if not one.trial.results:
        yield Part("best", "Best", [["Nothing was tried yet."]])
        plan, step = (f"recommend trial {word} {visit.reference}" for word in ("plan", "step"))
        yield Part("next", "Next", [[f"Plan it: {plan}", f"Type it: {step}"]])
        yield Part("more", "More", [[f"rules {one.outcome.book.stamp}"]])
        return
    yield _best(one, names)
    yield _why(one)
    yield _choose(one, names)
    yield _not(one, names)
    yield _next(one, names)
    yield from _verdicts(one, names)
    yield _mind(one)
    yield Part("known", "Known", [["Today's feet in today's strides: fitting advice, not a "
                                   "diagnosis."]])  # fmt: skip
    sections = f"--show steps, parts, picture, ... | --full | rules {one.outcome.book.stamp}"
    yield Part("more", "More", [[sections]])


def _gaits(one: TrialOutcome) -> str:
    keys = [key for result in one.trial.results for key in result.step.readings]
    kinds = dict.fromkeys((key.gait, key.reference) for key in keys)
    return "".join(f"  {gait}, from {reference}" for gait, reference in kinds)


def _stop(one: TrialOutcome) -> Iterator[Part]:
    stops = noted(one.outcome, "stop")
    yield from note_parts("stop", STOPPED, (f"{note.say} ({note.because})" for note in stops))
    kept = "What was tried is kept in the visit. Nothing is judged or recommended before that."
    yield Part("kept", "Kept", [[kept]])


def clinician_lines(outcome: Outcome) -> list[str]:
    """What a clinician should see, to be said again before anything is tried on or handed over."""
    return [note.say for note in noted(outcome, "see-clinician")]


def clinician_parts(outcome: Outcome) -> Iterator[Part]:
    """The same as parts of a screen; nothing where there is none."""
    head = "what is tried on is worn only once the clinician has agreed:"
    return note_parts("see-clinician", head, clinician_lines(outcome))


def _best(one: TrialOutcome, names: Names) -> Part:
    best = one.ranking.best
    if best is None:
        return Part("best", "Best", [["None of these."]], "bold")
    text = names.called(best.id)
    if one.ranking.equals:
        others = ", ".join(names.called(tried.id) for tried in one.ranking.equals)
        text += f"; as good: {others} (the one that does least stands first)"
    return Part("best", "Best", [[text]], "bold green")


def _why(one: TrialOutcome) -> Part:
    best = one.ranking.best
    if best is None:
        return Part("why", "", [])
    result = best.result
    rated = result.comfort is not None
    comfort = f"comfort {result.comfort:.1f} of 10" if rated else "comfort was not asked"
    for_comfort = result.open and not result.gained
    lead = "Chosen for its comfort: it changes no motion that can be told. " if for_comfort else ""
    long = f"{lead}{outside_words(result).capitalize()}; {comfort}.{_missing(result)}"
    return Part("why", "Why", [[long], [f"{outside_words(result)}; {comfort}{_missing(result)}"]])


def _missing(result: StepResult) -> str:
    if not result.missing:
        return ""
    return f" Not measured in it: {missing_words(sorted(result.missing, key=order))}."


def _choose(one: TrialOutcome, names: Names) -> Part:
    """What motion alone, comfort alone and both would choose, where they differ."""
    ranking = one.ranking
    best = ranking.best
    free = [tried for tried in ranking.tried if not tried.bars]
    if best is None or len(free) < 2:
        return Part("choose", "", [])
    motion = _named(ranking.by_motion, len(free), names) or "cannot be judged"
    comfort = _named(ranking.by_comfort, len(free), names) or "was not asked"
    if not best.with_comfort and ranking.by_comfort:
        comfort += ", not asked for all"
    rate = one.outcome.book.parameters.trial.comfort_worth
    both = f"Both: {names.short([best.id])} (1 point of comfort weighs {rate:g}°)."
    return Part(
        "choose", "Choice", [[f"Motion alone {motion}; comfort alone {comfort}. {both}"], [both]]
    )  # fmt: skip


def _named(ids: tuple[str, ...], free: int, names: Names) -> str:
    if len(ids) == free:
        return "cannot part them"
    return f"chooses {names.short(ids)}" if ids else ""


def _not(one: TrialOutcome, names: Names) -> Part:
    book = one.outcome.book
    barred = [tried for tried in one.ranking.tried if tried.bars]
    whole = [
        f"{names.called(t.id)}: "
        + "; ".join(bar_words(bar, t.result, one.against.get(t.id, ""), book) for bar in t.bars)
        for t in barred
    ]
    short = [
        f"{names.called(t.id)}: " + ", ".join(bar.value.replace("-", " ") for bar in t.bars)
        for t in barred
    ]
    return Part("not", "Not", [whole, short, ["; ".join(short)]] if barred else [])


def _next(one: TrialOutcome, names: Names) -> Part:
    if one.next is None:
        return Part("next", "", [])
    if one.shortlist is not None and one.shortlist.unplaced:
        why = unplaced_words(one.shortlist)
        return Part("next", "Next", [[f"{UNPLACED}{why}."]])
    return Part("next", "Next", [[_next_words(one.next, names)]])


def _next_words(then: Next, names: Names) -> str:
    told = ", ".join(map(names.called, then.names))
    return {
        Why.LESS: f"Less of it: {told}.",
        Why.NOTHING_LESS: "Less than this, or your own shoes: nothing here does less.",
        Why.FRESH: f"Try next: {told}.",
        Why.NOTHING_LEFT: "Nothing suitable is left to try in this size; where it troubles, see a "
        "clinician.",
    }[then.why]


def _verdicts(one: TrialOutcome, names: Names) -> Iterator[Part]:
    """Each try-on in its wordings: verdicts with numbers, verdicts, one line."""
    best = one.ranking.best
    numbered = list(enumerate(one.trial.results))
    numbered.sort(key=lambda pair: (best is None or pair[1] is not best.result, pair[0]))
    for place, (_, result) in enumerate(numbered[:_MOST], 1):
        head = names.worn(result.step.id)
        lines = list(_verdict_lines(result))
        brief = f"{head}: {'; '.join(_brief(result)) or 'not measured'}"
        yield Part(
            f"try-{place}", names.letters.get(result.step.id, "-"),
            [[head, *lines], [brief], [f"{head}: {outside_words(result)}"], []],
        )  # fmt: skip
    if len(numbered) > _MOST:
        yield Part("rest", "", [[f"{counted(len(numbered) - _MOST, 'more try-on')}: --show steps"]])


def _verdict_lines(result: StepResult) -> Iterator[str]:
    """A line for each reading that has a verdict: both feet, before and after."""
    banded = {key: judged for key, judged in result.whole.items() if judged.band}
    rows = banded or result.whole  # what has no band stands with the rest: --show steps
    place = {name: index for index, name in enumerate(READINGS)}
    for key in sorted(rows, key=lambda key: (place[key.reading], order(key))):
        judged, moved = rows[key], rows[key].change
        yield (
            f" {SIGNS[judged.verdict]} {keys_words([key])} {moved.before.mean:.1f} to "
            f"{moved.after.mean:.1f}: {verdict_words(judged, unit_of(key))}"
        )
    yield from _loads(result)


_BRIEF = {
    Verdict.OVER_CORRECTED: "OVER-CORRECTED",
    Verdict.AWAY: "away from the band",
    Verdict.NEAR_LOWER: "at the lower edge",
    Verdict.TOWARDS: "towards the band",
    Verdict.WITHIN: "within the band",
    Verdict.NO_BAND: "no band known",
}


def _brief(result: StepResult) -> Iterator[str]:
    """Verdicts with the readings they are true of, gravest first."""
    groups: dict[str, list[tuple[ReadingKey, JudgedReading]]] = {}
    grave = list(Verdict)
    for key, judged in sorted(
        result.whole.items(), key=lambda pair: (grave.index(pair[1].verdict), order(pair[0]))
    ):
        words = _BRIEF.get(judged.verdict) or (
            "too small to matter" if judged.change.needed is None else "not sure yet"
        )
        groups.setdefault(f"{SIGNS[judged.verdict]} {words}".strip(), []).append((key, judged))
    for words, members in groups.items():
        change = [j.change.value for _, j in members]
        span = " to ".join(map(signed, (min(change), max(change))[: len(change)]))
        yield f"{words} {keys_words(k for k, _ in members)} ({span})"
    yield from _loads(result)


def _loads(result: StepResult) -> Iterator[str]:
    """The feet whose load went too far, where there are any."""
    loads = [side for side, shift in result.load.items() if shift.over]
    if loads:
        yield f"! load too far outwards {', '.join(loads)}"


def _mind(one: TrialOutcome) -> Part:
    """What no interval shows, and what was noticed."""
    book, results = one.outcome.book, one.trial.results
    told = []
    drifting = [
        key for r in results for key, j in r.whole.items() if any(d is not None for d in j.drift)
    ]
    if drifting:
        names = keys_words(dict.fromkeys(drifting))
        told.append(
            f"Readings drift from first to last stride ({names}): walk on until they settle, and "
            "take them there and back."
        )
    changes = [j.change for r in results for j in r.whole.values()]
    if any(change.stated for change in changes):
        few = f"{book.parameters.trial.few_strides:g}"
        told.append(
            f"With fewer than {few} strides their likeness is assumed, so that intervals are wider "
            "than they may need to be."
        )
    if changes and not any(c.before.floor for c in changes):
        told.append(f"Marks taken anew may shift all strides alike (up to "
                    f"{book.parameters.trial.mark_shift:g}°, from memory); no interval shows "
                    "it.")  # fmt: skip
    return Part("mind", "Mind", [told, told[:1]] if told else [])
