"""A judged trial at the terminal: what each step did, and what it contributed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rich.console import Console, RenderableType
from rich.text import Text

from recommend.show.curves import curve_lines
from recommend.show.layout import bullet, heading, inset, plain_table
from recommend.show.trial_words import (
    SIGNS,
    band_words,
    interval_words,
    key_words,
    signed,
    verdict_words,
    worn_words,
)
from recommend.show.tried import best_blocks, shortlist_blocks
from recommend.trial.judge import Judged, Verdict
from recommend.trial.outcome import TrialOutcome
from recommend.trial.report import StepResult, order
from recommend.trial.steps import Key

_WIDE = 115  # columns from which verdicts stand beside the numbers
_STYLES = {Verdict.OVER_CORRECTED: "bold red", Verdict.AWAY: "red", Verdict.UNCLEAR: "yellow"}


def print_trial(one: TrialOutcome, console: Console) -> None:
    """Everything a trial says, top to bottom; a stop is said first and withholds the rest."""
    for block in _blocks(one, console.width):
        console.print(block)


def _blocks(one: TrialOutcome, width: int) -> Iterator[RenderableType]:
    yield Text(f"Trial of {one.outcome.assessment.visit.reference}", style="bold")
    if one.shortlist is None:
        yield from _stop(one)
        return
    if not one.trial.results:
        yield inset("Nothing was tried yet. `recommend trial --help` shows how to add a step.", 2)
        return
    for number, result in enumerate(one.trial.results):
        yield heading(f"{chr(65 + number % 26)}  {worn_words(result.step)}, against barefoot")
        yield from _step(result, one, width)
    yield from _contributions(one)
    for picture in one.pictures:
        yield heading("The curves")
        yield from (inset(line, 2) for line in curve_lines(picture, width - 2))
    yield from best_blocks(one)
    yield from shortlist_blocks(one)
    yield from _how_to_read(one)


def _stop(one: TrialOutcome) -> Iterator[RenderableType]:
    for note in one.outcome.assessment.notes:
        if note.level == "stop":
            yield bullet(f"STOP: {note.say} ({note.because})", "bold red")
    yield inset(
        "What was tried is kept in the visit. Nothing is judged or recommended before that.", 2
    )


def _step(result: StepResult, one: TrialOutcome, width: int) -> Iterator[RenderableType]:
    keys = sorted(result.whole, key=order)
    for gait, reference in dict.fromkeys((key.gait, key.reference) for key in keys):
        yield inset(f"{gait}, from {reference}; degrees, rolling in is positive", 2)
        rows = {k: result.whole[k] for k in keys if (k.gait, k.reference) == (gait, reference)}
        yield from _table(rows, width)
    yield from (bullet(text) for text in _remarks(result, one))


def _table(rows: Mapping[Key, Judged], width: int) -> Iterator[RenderableType]:
    """Numbers with verdicts beside them, or below where both do not fit."""
    wide = width >= _WIDE
    names = ["", "foot", "phase", "bare", "now", "change (95 %)", "can tell", "usual"]
    table = plain_table(*names, *(["verdict"] if wide else []))
    for column in table.columns[3 : len(names)]:
        column.justify, column.no_wrap = "right", True
    for key, judged in rows.items():
        cells = [Text(text, style=_style(judged)) for text in _cells(key, judged)]
        table.add_row(*cells, *([Text(verdict_words(judged), _style(judged))] if wide else []))
    yield table
    if not wide:
        yield from _verdicts(rows)


def _verdicts(rows: Mapping[Key, Judged]) -> Iterator[RenderableType]:
    """Verdicts as sentences; what is true of several readings is said once."""
    said: dict[tuple[str, str, str], list[Key]] = {}
    for key, judged in rows.items():
        as_said = (SIGNS[judged.verdict], verdict_words(judged), _style(judged))
        said.setdefault(as_said, []).append(key)
    for (sign, words, style), keys in said.items():
        names = ", ".join(key_words(key) for key in keys)
        yield inset(f"{sign} {names}: {words}", 0, style)


def _style(judged: Judged) -> str:
    return "bold yellow" if judged.doubtful else _STYLES.get(judged.verdict, "")


def _cells(key: Key, judged: Judged) -> tuple[str, ...]:
    moved = judged.change
    return (
        SIGNS[judged.verdict], key.side, key.phase, f"{moved.before.mean:.1f}",
        f"{moved.after.mean:.1f}", interval_words(moved.interval), f"{moved.smallest:.1f}",
        band_words(judged.band),
    )  # fmt: skip


def _remarks(result: StepResult, one: TrialOutcome) -> Iterator[str]:
    if result.alone:
        names = ", ".join(f"{key_words(k)} {k.gait}" for k in sorted(result.alone, key=order))
        yield f"not judged, no barefoot reading to compare with: {names}"
    few = int(one.outcome.book.parameters["noise.few-strides"])
    counts = {n for j in result.whole.values() for n in (j.change.before.n, j.change.after.n)}
    if thin := sorted(n for n in counts if n < few):
        yield f"thin: readings of {', '.join(map(str, thin))} strides; at least {few} are advised"
    if any(j.change.before.assumed or j.change.after.assumed for j in result.whole.values()):
        yield "one stride has no spread of its own: that of the rulebook stands in"
    for side, shift in result.load.items():
        moved = shift.change
        told = "beyond noise" if moved.told else "not told from noise"
        yield (
            f"load on the outer half, {side}: {moved.before.mean:.0f} to {moved.after.mean:.0f} %,"
            f" {interval_words(moved.interval)}:"
            f" {'over-corrected, outwards beyond noise' if shift.over else told}"
        )
    yield _comfort(result)


def _comfort(result: StepResult) -> str:
    if result.comfort is None:
        return "comfort was not asked"
    sides = (
        f"{side} " + ", ".join(f"{region} {value:g}" for region, value in regions.items())
        for side, regions in result.step.comfort.items()
    )
    hurts = "".join(f"; {r.side} {r.region} HURTS" for r in result.hurts)
    return f"comfort (0 to 10): {'; '.join(sides)}{hurts}"


def _contributions(one: TrialOutcome) -> Iterator[RenderableType]:
    """For an insole tried in a shoe that was tried alone: the part of each."""
    added = [r for r in one.trial.results if r.part is not r.whole and r.part]
    if added:
        yield heading("What each step contributed")
    shoes = {r.step.id: r for r in one.trial.results}
    for result in added:
        yield inset(worn_words(result.step), 2)
        table = plain_table("", "foot", "phase", "gait", "shoe", "insole", "together")
        for key in sorted(result.part, key=order):
            shoe, whole = shoes[result.parent.id].whole.get(key), result.whole.get(key)
            table.add_row(
                "",
                key.side,
                key.phase,
                key.gait,
                _part(shoe),
                _part(result.part[key]),
                _part(whole),
            )
        yield table
    if added:
        yield inset("(?): not told from noise", 2)


def _part(judged: Judged | None) -> str:
    if judged is None:
        return "not known"
    doubt = " doubtful" if judged.doubtful else "" if judged.change.told else " (?)"
    return f"{signed(judged.change.value)}{doubt}"


def _how_to_read(one: TrialOutcome) -> Iterator[RenderableType]:
    shift = one.outcome.book.parameters["trial.mark-shift"]
    yield heading("How to read this")
    yield bullet("> towards the band, = within it, ? not told from noise, < away, ! over-corrected")
    yield bullet(
        "can tell: the smallest change that this many strides can tell from noise. Of twenty such "
        "intervals about one misses the truth, of consecutive strides that resemble each other "
        "rather more."
    )
    yield bullet(
        f"A mark on a shoe may read {shift:g}° or more beside one on the heel, alike in every "
        "stride (from memory, to be verified); no interval shows that. Mark the heel through a "
        "window in the shoe where you can."
    )
    yield bullet("It is today's foot in today's strides: fitting advice, not a diagnosis.")
