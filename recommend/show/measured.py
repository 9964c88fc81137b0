"""What a capture yielded: pictures, a table of measures with errors, every doubt in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from recommend.measure.definitions import MeasureDefs, number, unit_words, with_error
from recommend.measure.measured import PHASES, Measured
from recommend.measure.model import SIDES, Flag, Measure
from recommend.measure.pressure.step_values import REGIONS, UNTOLD
from recommend.measure.spread import TERMS
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.show.capture_lines import (
    angle_legend,
    angle_lines,
    footprint_legend,
    footprint_lines,
    marks_of,
    reach,
    usual_bands,
)
from recommend.show.console import WIDE, bullet, heading, inset, plain_table

# Names of what a capture yields beside the measures of the rulebook.
TITLES: Mapping[str, str] = {
    "chippaux-smirak": "Chippaux-Smirak index",
    "staheli": "Staheli index",
    "footprint-length": "length of the footprint",
    "footprint-width": "width of the footprint",
    "toe-out": "toe-out on the mat",
    "contact-time": "contact time",
    "cop-path-length": "length of the COP path",
    "peak-angle": "rearfoot angle, peak over stance",
    "peak-time": "time of the peak, in stance",
    "rearfoot-return": "how far it has come back in propulsion",
    "heel-vertical-midstance": "heel to the vertical, midstance",
    "leg-vertical-midstance": "leg to the vertical, midstance",
}
# By-phase values: begin or end of a name, and the head of its column.
_BY_PHASE: Mapping[str, Mapping[str, str]] = {
    "pressure": {
        "cop-excursion-{}": "COP span mm",
        "cop-shift-{}": "COP shift mm",
        "medial-lateral-{}": "medial/lateral",
    },
    "marks": {"{}-mean": "mean °", "{}-peak": "peak °", "{}-excursion": "excursion °"},
}
_ANGLE = "rearfoot-angle"
_PLACES = {"ratio": 2, "s": 2, "mm": 0, "kPa": 0, "percent": 1, "deg": 1}
_KINDS = {"pressure": "Pressure frames", "marks": "Video marks"}
_EFFECTS = {"noted": "NOTED", "widened": "ERROR WIDENED", "removed": "MEASURE WITHDRAWN"}
_ADVICE = (
    "Fitting advice, not a diagnosis. A pressure arch index and an ink arch index are different "
    "scales; angles with different zeros are never compared."
)


_SHOWN = 0.01  # share of the error in quadrature below which a term is not worth a line


def measured_blocks(
    found: Sequence[Measured], book: Rulebook, width: int, *, plain: bool
) -> Iterator[RenderableType]:
    """Every foot of every capture: numbers and doubts first, then pictures and parts.

    `plain` draws with the signs of ASCII alone.
    """
    for one in found:
        yield bullet(f"{one.file}: {one.side} foot, {_KINDS[one.kind].lower()}, {_count(one)}")
    found = sorted(found, key=lambda one: SIDES.index(one.side))  # left stands on the left
    groups = list(_groups(found))
    for group in groups:
        one = group[0]
        yield heading(f"{_KINDS[one.kind]}, {one.condition}, {one.gait} (± standard error)")
        yield inset(_table(group, book.measures), 2)
        yield from _flags(group)
    yield from _footprints(found, book.parameters, width, plain)
    yield from _angle_curves(found, book, width, plain)
    for group in groups:
        parts = [group] if width >= WIDE else [[one] for one in group]
        for shown in (_by_phase, _regions):
            for part in parts:
                yield from shown(part)
    yield Text("")
    yield Text(_ADVICE, style="dim")


def _groups(found: Sequence[Measured]) -> Iterator[Sequence[Measured]]:
    """Left and right of the same kind stand side by side; everything else by itself."""
    left_over = list(found)
    while left_over:
        first = left_over.pop(0)
        group = [first]
        for other in left_over:
            if other.side != first.side and _alike(first) == _alike(other):
                group.append(other)
                left_over.remove(other)
                break
        yield sorted(group, key=lambda one: SIDES.index(one.side))


def _alike(one: Measured) -> tuple[str, ...]:
    return (one.kind, one.gait, one.condition, one.load)


def _footprints(
    found: Sequence[Measured], parameters: Parameters, width: int, plain: bool
) -> Iterator[RenderableType]:
    """Footprints side by side, as many as fit."""
    columns: list[Text] = []
    used = 0
    path = False
    for one in found:
        if one.picture is None:
            continue
        curve = one.curves.get("cop")
        path |= curve is not None
        lines = footprint_lines(one.picture, curve, one.side, parameters, ascii_only=plain)
        wide = lines[0].cell_len
        title = Text(f"{one.side}, {one.load}".center(wide) + "\n" + one.origin[:wide].center(wide))
        block = Text("\n").join([title, *lines, _sides_line(one.side, lines[0].cell_len)])
        if used and used + lines[0].cell_len + 4 > width:
            yield _beside(columns)
            columns, used = [], 0
        columns.append(block)
        used += lines[0].cell_len + 4
    if columns:
        yield heading("Footprint, peak pressure")
        yield _beside(columns)
        yield footprint_legend(path, ascii_only=plain)


def _sides_line(side: str, width: int) -> Text:
    left, right = ("lateral", "medial") if side == "left" else ("medial", "lateral")
    return Text(left + right.rjust(max(width - len(left), len(right) + 1)))


def _beside(columns: Sequence[Text]) -> RenderableType:
    grid = Table.grid(padding=(0, 4))
    for _ in columns:
        grid.add_column(no_wrap=True, vertical="bottom")
    grid.add_row(*columns)
    return inset(grid, 2)


def _reference(one: Measured) -> str:
    """What the angles of a film are measured from."""
    measure = one.find("peak-angle") or one.find("midstance-angle")
    return measure.qualifiers["reference"] if measure else ""


def _angle_curves(
    found: Sequence[Measured], book: Rulebook, width: int, plain: bool
) -> Iterator[RenderableType]:
    """The curves of all feet, between the same degrees."""
    usual = usual_bands(book)
    curved = [one for one in found if _ANGLE in one.curves]
    bands = [usual.get((one.gait, _reference(one)), {}) for one in curved]
    reaches = [reach(one.curves[_ANGLE], band) for one, band in zip(curved, bands, strict=True)]
    for one, band in zip(curved, bands, strict=True):
        curve, marks = one.curves[_ANGLE], marks_of(one, book.parameters)
        ends = min(low for low, _ in reaches), max(high for _, high in reaches)
        yield heading(
            f"Rearfoot angle over stance, {one.side} foot, degrees from {_reference(one)}"
        )
        yield Text(one.origin)
        yield Text("\n").join(
            angle_lines(
                curve, band, book.parameters, width, ends=ends, marks=marks, ascii_only=plain
            )
        )
        yield angle_legend(curve.n, bool(band), marks=marks, ascii_only=plain)
        if not band:
            yield Text("The rulebook has no band for this gait and what it was measured from.")


def is_shown(measure: Measure, defs: MeasureDefs) -> bool:
    """Whether a measure has a row of its own; values by phase and region stand in their tables."""
    return measure.name in defs or measure.name in TITLES


def title_of(measure: Measure, defs: MeasureDefs) -> str:
    """What a measure is called on screen, with the words it only means together with."""
    if measure.name == "arch-index":
        return f"arch index, {measure.qualifiers['kind']}, {measure.qualifiers['load']}"
    if measure.name in defs:
        return defs[measure.name].title.partition(" (")[0]
    return TITLES.get(measure.name, measure.name.replace("-", " "))


def _table(group: Sequence[Measured], defs: MeasureDefs) -> RenderableType:
    """One row for each measure, one column for each foot."""
    table = plain_table("measure", *(f"{one.side}, {_count(one)}" for one in group), "read from")
    table.columns[0].min_width = 31 if len(group) == 1 else 26
    rows: dict[tuple[str, str], list[Measure | None]] = {}
    for index, one in enumerate(group):
        for measure in one.measures:
            if is_shown(measure, defs):
                row = rows.setdefault(_key(measure), [None] * len(group))
                row[index] = measure
    for found in sorted(rows.values(), key=lambda row: _order(row, defs)):
        first = next(m for m in found if m is not None)
        cells = [_value(m, defs) if m else "withdrawn" for m in found]
        words = [_stands_on(m, group[i]) for i, m in enumerate(found) if m]
        table.add_row(title_of(first, defs), *cells, " / ".join(filter(None, dict.fromkeys(words))))
    if not rows:
        table.add_row("none", *("withdrawn" for _ in group), "see the doubts below")
    return table


def _key(measure: Measure) -> tuple[str, str]:
    return measure.name, measure.qualifiers.get("kind", "")


def _order(row: Sequence[Measure | None], defs: MeasureDefs) -> int:
    """Measures of the rulebook first, each group in the order of its table."""
    name = next(m.name for m in row if m is not None)
    names = [*defs, *TITLES]
    return names.index(name)


def _value(measure: Measure, defs: MeasureDefs) -> str:
    if isinstance(measure.value, str):
        return measure.value
    places = defs[measure.name].decimals if measure.name in defs else _PLACES.get(measure.unit, 1)
    return with_error(measure.value, measure.error, measure.unit, places)


def _stands_on(measure: Measure, one: Measured) -> str:
    """The zero of an angle, and the doubts that do not concern everything anyway."""
    words = [measure.qualifiers["reference"]] if "reference" in measure.qualifiers else []
    general = {flag.name for flag in one.measures[0].flags}
    for other in one.measures:
        general &= {flag.name for flag in other.flags}
    own = [flag.name for flag in measure.flags if flag.name not in general]
    return ", ".join([*words, *(name.replace("-", " ").upper() for name in dict.fromkeys(own))])


def _count(one: Measured) -> str:
    if one.load == "static":
        return "still"
    return f"{one.n} {'steps' if one.kind == 'pressure' else 'strides'}"


def _by_phase(group: Sequence[Measured]) -> Iterator[RenderableType]:
    """What is read in each phase of stance."""
    columns = _BY_PHASE[group[0].kind]
    table = _parts_table(group, "phase", columns.values())
    for phase in PHASES:
        cells = [one.find(name.format(phase)) for one in group for name in columns]
        if any(cells):
            table.add_row(phase, *map(_plain_value, cells))
    if table.row_count:
        yield Text("")
        yield inset(table, 2)


def _regions(group: Sequence[Measured]) -> Iterator[RenderableType]:
    """Peak and integral of each region as one table."""
    heads = {"peak": "peak kPa", "integral": "kPa.s"}
    table = _parts_table(group, "region", heads.values())
    for region in (one for one in REGIONS if one not in UNTOLD):
        cells = [one.find(f"{what}-{region}") for one in group for what in heads]
        words = ", ".join(filter(None, dict.fromkeys(_touched(one, region) for one in group)))
        name = region.replace("-", " ") + (f" ({words})" if words else "")
        table.add_row(name, *map(_plain_value, cells))
    if any(one.kind == "pressure" and one.load == "dynamic" for one in group):
        yield Text("")
        yield inset(table, 2)


def _parts_table(group: Sequence[Measured], word: str, heads: Iterable[str]) -> Table:
    """Columns of each foot; which it is stands in each head, or once where there is one foot."""
    if len(group) == 1:
        return plain_table(f"{group[0].side} foot, {word}", *heads)
    return plain_table(word, *(f"{one.side} {head}" for one in group for head in heads))


def _touched(one: Measured, region: str) -> str:
    """In how many steps a region touched the mat, where it was not in all."""
    count = len(one.strides.get(f"peak-{region}", ()))
    return "" if count == one.n else f"{one.side} in {count} of {one.n} steps"


def _plain_value(measure: Measure | None) -> str:
    if measure is None or isinstance(measure.value, str):
        return "none"
    places = {"kPa": 0, "mm2": 0, "ratio": 2}.get(measure.unit, 1)
    return f"{number(measure.value, places)} ±{number(measure.error or 0.0, max(places, 1))}"


def _flags(group: Sequence[Measured]) -> Iterator[RenderableType]:
    """Every doubt of a capture and of its measures, once."""
    if any(_doubts(one) for one in group):
        yield heading("Doubts")
    for one in group:
        for flag in _doubts(one).values():
            name = flag.name.replace("-", " ").upper()
            yield bullet(f"{one.side}: {name}: {flag.detail} [{_EFFECTS[flag.effect]}]")


def _doubts(one: Measured) -> dict[str, Flag]:
    flags = (*one.flags, *(flag for measure in one.measures for flag in measure.flags))
    return {flag.name: flag for flag in flags}


def error_terms_blocks(found: Sequence[Measured], book: Rulebook) -> Iterator[RenderableType]:
    """A line for each term of each measure: standard error, and share of the whole."""
    for one in found:
        yield heading(f"What the errors are made of, {one.side} foot (standard errors)")
        yield _terms_table(one, book.measures)
        if one.kind == "marks" and one.load == "dynamic":
            yield from map(bullet, _unknown_toe_out(one, book.parameters))


def _unknown_toe_out(one: Measured, parameters: Parameters) -> Iterator[str]:
    """How much more a foot turned out would be, where no one said how far it is."""
    if any(flag.name.startswith(("foot-turned", "turned-out")) for flag in one.flags):
        return
    usual = parameters.capture.toe_out_usual
    landed = "landing-running" if one.gait == "running" else "landing"
    first, *others = (
        f"{usual * parameters.capture[f'toe-out-{when}']:.1f}"
        for when in (landed, "flat", "propulsion")
    )
    yield (
        f"Where the file does not say the toe-out, it is taken to be within "
        f"{parameters.capture.aim:g} degrees. A foot turned out by {usual:g}, as most are, would "
        f"be read off by {first} degrees at first contact, {others[0]} at the peak, {others[1]} in "
        "propulsion: say `toe-out-deg` in the head, or measure the foot on a mat."
    )


def _terms_table(one: Measured, defs: MeasureDefs) -> RenderableType:
    table = plain_table("measure", "error", "made of")
    for measure in one.measures:
        if is_shown(measure, defs) and measure.error:
            unit = unit_words(measure.unit)
            error = f"{number(measure.error, 3)}{unit}"
            terms = _terms(one.budget(measure).terms, measure.error)
            table.add_row(title_of(measure, defs), error, "; ".join(terms))
    return inset(table, 2)


def _terms(terms: Mapping[str, float], error: float) -> Iterator[str]:
    for name, value in sorted(terms.items(), key=lambda term: -term[1]):
        if (value / error) ** 2 >= _SHOWN:
            yield f"{TERMS[name]} {number(value, 3)}"
