"""Visits side by side, and each measure over time with its error; how well a lab repeats."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from recommend.errors import counted
from recommend.measure.definitions import MeasureDef, MeasureDefs, number, unit_words, value_words
from recommend.measure.model import SIDES
from recommend.measure.repeated import Repeated, RepeatedMeasure
from recommend.visit.models import FollowUp, Visit

_NAME, _CELL, _PLOT = 24, 14, 40
_DRAWN = 2.0  # standard errors to each side


def table_lines(
    visits: Sequence[Visit], lines: Sequence[RepeatedMeasure], defs: MeasureDefs, width: int
) -> Iterator[str]:
    """Measures of each foot by visit; the newest visits that fit `width` columns."""
    fit = max(1, (width - _NAME - 2) // _CELL)
    first = max(0, len(visits) - fit)
    if first:
        yield f"(the {fit} newest of {len(visits)} visits; a wider terminal shows more)"
    dates = "".join(f"{visit.date or 'no date':<{_CELL}}" for visit in visits[first:])
    yield f"{'':<{_NAME}}  {dates}".rstrip()
    for side in SIDES:
        for line in (one for one in lines if one.side == side):
            cells = "".join(
                f"{'' if one is None else value_words(one, defs[one.name]):<{_CELL}}"
                for one in line.values[first:]
            )
            site = line.qualifiers.get("site")
            plain = f"pain, {site.replace('-', ' ')}" if site else defs[line.measure].plain
            name = f"{side[0].upper()} {plain}"
            yield f"{_cut(name):<{_NAME}}  {cells}".rstrip()


def changed_lines(lines: Sequence[RepeatedMeasure], defs: MeasureDefs) -> Iterator[str]:
    """What differs between the first and the last reading by more than the error of both."""
    changed = [line for line in lines if line.beyond]
    for line in changed:
        words = ", ".join(line.qualifiers.values()).replace("-", " ")
        name = f"{defs[line.measure].plain}{f' ({words})' if words else ''}"
        yield f"{line.side}, {name}: {_verdict(line, defs[line.measure])}"
    if not changed:
        yield "nothing that was measured twice changed beyond its error"


def told_lines(visits: Sequence[Visit], titles: Mapping[str, str]) -> Iterator[str]:
    """What was told at each visit of the time since the one before."""
    for visit in visits:
        if visit.follow_up is not None:
            yield f"{visit.date}: {wear_words(visit.follow_up, titles)}"


def wear_words(again: FollowUp, titles: Mapping[str, str]) -> str:
    """What was worn since the visit before, how long, and how it was."""
    names = (titles.get(one, "own shoe") for one in (again.shoe, again.insole) if one)
    words = [" with ".join(names) or "what was worn not told"]
    words += [_times(again.weeks_of_wear, "week")] if again.weeks_of_wear is not None else []
    words += [f"{_times(again.hours_a_day, 'hour')} a day"] if again.hours_a_day is not None else []
    words += [
        f"{side} {region} comfort {value:g} of 10"
        for side in SIDES
        for region, value in again.comfort_of(side).items()
    ]
    words += ["given back"] if again.returned == "yes" else []
    words += [f"changed: {again.changed}"] if again.changed else []
    return ", ".join(words)


def _times(count: float, unit: str) -> str:
    return counted(int(count), unit) if count == int(count) else f"{count:g} {unit}s"


def plot_lines(
    visits: Sequence[Visit], line: RepeatedMeasure, definition: MeasureDef
) -> Iterator[str]:
    """One measure over time: a row a visit, the reading as `o` between its errors.

    Plain characters only; the line reaches two standard errors to each side.
    """
    ends = [
        float(one.value) + sign * _DRAWN * (one.error or 0.0)
        for one in line.taken
        for sign in (-1, 1)
    ]
    low, high = min(ends), max(ends)
    span = (high - low) or 1.0

    def column(value: float) -> int:
        return round((value - low) / span * (_PLOT - 1))

    site = line.qualifiers.get("site")
    told = {q: word for q, word in line.qualifiers.items() if q not in ("site", "age")}
    words = f" ({', '.join(told.values())})" if told else ""
    title = f"pain, {site.replace('-', ' ')} (0 to 10)" if site else definition.plain
    yield f"{line.side}, {title}{words}"
    for visit, one in zip(visits, line.values, strict=True):
        if one is None:
            continue
        error = _DRAWN * (one.error or 0.0)
        row = [" "] * _PLOT
        for place in range(column(float(one.value) - error), column(float(one.value) + error) + 1):
            row[place] = "-"
        row[column(float(one.value))] = "o"
        yield f"  {visit.date or 'no date':<10} |{''.join(row)}| {value_words(one, definition)}"
    yield f"  {_verdict(line, definition)}"


def _verdict(line: RepeatedMeasure, definition: MeasureDef) -> str:
    if line.change is None:
        return "one reading so far"
    places = definition.decimals
    size = f"{number(abs(line.change), places)}{unit_words(definition.unit)}"
    if not line.beyond:
        return f"last against first: {size} apart, within the error of measuring twice"
    return f"last against first: {'up' if line.change > 0 else 'down'} by {size}, beyond error"


def _cut(name: str) -> str:
    return name if len(name) <= _NAME else f"{name[: _NAME - 1]}."


REPEATS = (
    "SEM: standard error of one visit's value (in brackets its 95 % interval). MDC: the smallest "
    "change between two visits beyond error, 95 %. ICC: Shrout and Fleiss, agreement (2,1), "
    "consistency (3,1), or one-way (1,1). df: degrees of freedom the SEM stands on."
)

_ALIGNED = "<<<>>>"


def repeat_lines(found: Sequence[Repeated], defs: MeasureDefs) -> Iterator[str]:
    """One line for each measure, in columns as wide as what stands in them."""
    heads = ("measure", "unit", "SEM (95 % interval)", "MDC", "ICC", "df")
    rows = [heads, *(_cells(one, defs) for one in found)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = zip(row, widths, _ALIGNED, strict=True)
        yield " ".join(f"{text:{to}{width}}" for text, width, to in cells)


def _cells(one: Repeated, defs: MeasureDefs) -> tuple[str, ...]:
    digits = defs[one.measure].decimals + 1
    sem = f"{one.sem:.{digits}f} ({one.sem_low:.{digits}f} to {one.sem_high:.{digits}f})"
    name = " ".join([one.measure, *(w for q, w in one.qualifiers.items() if q == "gait")])
    return name, one.unit, sem, f"{one.mdc:.{digits}f}", _icc(one), str(one.freedom)


def _icc(one: Repeated) -> str:
    if one.icc_2 is None or one.icc_3 is None:
        kind, value = "1,1", one.icc_1
    else:
        kind, value = "2,1", one.icc_2
    return "-" if math.isnan(value) else f"{value:.2f} ({kind})"
