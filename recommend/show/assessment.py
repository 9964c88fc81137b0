"""What was measured, what to say first, and what kind of feet these are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from rich.console import RenderableType
from rich.text import Text

from recommend.infer.adviser import Adviser
from recommend.infer.assess import Assessment, FootAssessment, Note
from recommend.infer.derivation import CloseCall, beside
from recommend.measure.definitions import MeasureDef, MeasureDefs, unit_words, value_words
from recommend.measure.model import SIDES, Measure, Side
from recommend.rulebook.book import Rulebook
from recommend.show.console import WIDE, bullet, heading, inset, plain_table
from recommend.show.labels import (
    EFFECT_WORDS,
    LEVEL_WORDS,
    lacking_words,
    pain_words,
    person_words,
    sure_words,
)

_STYLES = {"stop": "bold red", "see-clinician": "bold magenta", "caution": "bold yellow"}
COLUMNS = 21  # of the line; the usual band takes its middle third
_SHARE = 3  # the line is as many bands wide
LEGEND = (
    "L and R on the line, * where both are; |--| is the mean less and plus one SD of the people "
    "measured; ~ behind it: remembered or assumed, not published."
)
_KNOWN = ("published", "derived")
Feet = Mapping[Side, FootAssessment]


def who_blocks(assessment: Assessment, book: Rulebook) -> Iterator[RenderableType]:
    """Whose visit it is, where it hurts, and which rules judged it."""
    line = Text(f"Visit {assessment.visit.reference}", style="bold")
    line.append("   " + person_words(assessment.visit), style="not bold")
    yield line
    yield Text(pain_words(assessment.visit))
    yield Text(book.byline, style="dim")


def measure_blocks(assessment: Assessment, book: Rulebook, width: int) -> Iterator[RenderableType]:
    """What was measured on both feet, side by side, and what is doubted."""
    yield heading("What was measured (± standard error)")
    if any(foot.measures for foot in assessment.feet.values()):
        yield _measures(assessment.feet, book.measures, width)
        yield inset(LEGEND, 2, "dim")
    else:
        yield bullet("nothing yet")
    yield from _beside(assessment.feet, book)
    yield from _flags(assessment.feet, book)


def feet_blocks(assessment: Assessment, book: Rulebook) -> Iterator[RenderableType]:
    """What kind each foot is, by which signs."""
    yield heading("What kind of feet")
    yield from _types(assessment.feet, book)


def note_blocks(assessment: Assessment, book: Rulebook) -> Iterator[RenderableType]:
    """Notes, worst first, and the screening questions that are still open."""
    yield heading("First")
    for note in assessment.notes:
        yield bullet(_note(note))
    if not assessment.notes:
        yield bullet(_nothing(len(assessment.to_ask)))
    doubts = list(Adviser(book).doubts(assessment.visit))
    if doubts:
        yield inset("Hardly possible; look again:", 2, "bold")
        yield from map(bullet, doubts)
    if assessment.to_ask:
        yield inset("Still to ask (not asked is not 'no'):", 2, "bold")
        for question in assessment.to_ask:
            yield bullet(book.questions[question].ask)


def _nothing(open_questions: int) -> str:
    if not open_questions:
        return "nothing that was asked or measured speaks against a fitting"
    were = "question was" if open_questions == 1 else "questions were"
    return (
        f"{open_questions} {were} not asked; nothing that was asked or measured so far speaks "
        "against a fitting"
    )


def _note(note: Note) -> Text:
    body = Text(f"{LEVEL_WORDS[note.level]}: ", style=_STYLES[note.level])
    body.append(note.say, style="not bold default")
    if len(note.sides) == 1:
        body.append(f" ({note.sides[0]} foot)", style="not bold default")
    return body


def _measures(feet: Feet, defs: MeasureDefs, width: int) -> RenderableType:
    rows = [
        (defs[name].plain, [feet[side].measures.get(name) for side in SIDES])
        for name in defs
        if not defs[name].of_person
    ]
    taken = [("", title, found) for title, found in rows if any(found)]
    wide, stands = width >= WIDE, ""
    on = ("stands on",) if wide else ()
    table = plain_table("measure", "left", *on, "right", *on, "usual")
    for style, title, found in (*taken, *(("dim", *row) for row in _further(feet, defs))):
        name = next(one.name for one in found if one is not None)
        left, right = (value_words(m, defs[name]) if m else "not measured" for m in found)
        words = [sure_words(m) if m else "" for m in found]
        usual = ruled(found, defs[name])
        if wide:
            table.add_row(title, left, words[0], right, words[1], usual, style=style)
            continue
        on_both = " / ".join(dict.fromkeys(filter(None, words)))
        if on_both != stands:  # what several readings stand on is said once, above them
            table.add_row(Text(on_both, style="dim"))
            stands = on_both
        table.add_row(f"  {title}", left, right, usual, style=style)
    return inset(table, 2)


def _further(feet: Feet, defs: MeasureDefs) -> Iterator[tuple[str, list[Measure | None]]]:
    """Readings that rules do not read at this visit, shown beside those they do."""
    keyed: dict[tuple[str, tuple[tuple[str, str], ...]], list[Measure | None]] = {}
    for index, side in enumerate(SIDES):
        for measure in feet[side].further:
            key = (measure.name, tuple(measure.qualifiers.items()))
            keyed.setdefault(key, [None, None])[index] = measure
    for (name, _), found in keyed.items():
        yield f"{defs[name].plain} (beside)", found


def _beside(feet: Feet, book: Rulebook) -> Iterator[RenderableType]:
    """The trade's marks, and the place of readings among people; neither decides anything."""
    lines = []
    for name, definition in book.measures.items():
        words = {
            side: beside(measure, book)
            for side in SIDES
            if (measure := feet[side].measures.get(name)) is not None
        }
        told = [f"{side} {text}" for side, text in words.items() if text]
        if told:
            lines.append(f"{definition.plain}: {'. '.join(told)}")
    if lines:
        yield inset("Among people (decides nothing by itself):", 2, "bold")
        yield from map(bullet, lines)


def _flags(feet: Feet, book: Rulebook) -> Iterator[RenderableType]:
    """Every doubt once, with all readings that it concerns."""
    said: dict[tuple[str, str, str], list[str]] = {}
    for side in SIDES:
        for measure in (*feet[side].measures.values(), *feet[side].further):
            for flag in measure.flags:
                names = said.setdefault((side, flag.detail, flag.effect), [])
                names.append(book.measures[measure.name].plain)
    for (foot, detail, effect), names in said.items():
        concerned = "; ".join(dict.fromkeys(names))
        yield bullet(f"{foot}, {concerned}: {detail} ({EFFECT_WORDS[effect]})", "yellow")


def _types(feet: Feet, book: Rulebook) -> Iterator[RenderableType]:
    left, right = feet["left"], feet["right"]
    alike = left.conclusions.axes == right.conclusions.axes and left.lacking == right.lacking
    for name, foot in [("both feet", left)] if alike else [("left", left), ("right", right)]:
        yield inset(_type(name, foot, book), 2)
        yield from _axes(foot, book)


def _type(name: str, foot: FootAssessment, book: Rulebook) -> Text:
    kind = foot.foot_type
    line = Text(f"{name}: ", style="bold")
    if kind is None:
        line.append("undetermined. To decide it: ", style="bold")
        line.append(lacking_words(foot.lacking["foot-type"], book), style="not bold")
        return line
    line.append(book.types[kind].title, style="bold")
    line.append(f"\n{book.types[kind].sentence}", style="not bold")
    return line


def _axes(foot: FootAssessment, book: Rulebook) -> Iterator[RenderableType]:
    known = [
        book.axes[axis].values[value]
        for axis, value in foot.conclusions.axes.items()
        if value is not None and axis != "foot-type"
    ]
    if known:
        yield inset("signs: " + "; ".join(known), 4, "dim")
    unknown = [book.axes[axis].title for axis in foot.lacking if axis != "foot-type"]
    if unknown:
        yield inset("not known: " + ", ".join(unknown), 4, "dim")
    for call in foot.close_calls:
        yield bullet(_close_call(call, foot, book))
    incomparable = {name for lack in foot.lacking.values() for name in lack.incomparable}
    for name in sorted(incomparable):
        words = sure_words(foot.measures[name])
        yield bullet(
            f"{book.measures[name].plain} ({words}) is not compared: no limit is meant for what it "
            "was measured from; take it from vertical"
        )


def _close_call(call: CloseCall, foot: FootAssessment, book: Rulebook) -> str:
    unit = unit_words(call.unit)
    measure = foot.measures[call.measure]
    reading = value_words(measure, book.measures[call.measure])
    return (
        f"close call: {book.measures[call.measure].plain} {reading} lies beyond {call.at:g}{unit} "
        f"({call.title}) by less than its error, so it does not count as beyond; repeat it to tell"
    )


# --- a small ruled line: where the two feet stand to what is usual, readable without colour


def ruled(found: list[Measure | None], definition: MeasureDef) -> str:
    """``......|-----L-R-|......`` for readings of left and right; empty without a norm.

    The band is the norm meant for the readings' own gait, zero or device, its mean less and plus
    one standard deviation. A reading beyond the line stands at its end as ``<`` or ``>``.
    """
    norms = [definition.norm_of(one.qualifiers) for one in found if one is not None]
    norm = norms[0] if norms else None
    numbers = [one is None or isinstance(one.value, (int, float)) for one in found]
    if norm is None or any(one != norm for one in norms) or not all(numbers):
        return ""
    band = COLUMNS // _SHARE
    line = list("." * band + "|" + "-" * (band - 2) + "|" + "." * band)
    low, high = norm.mean - norm.sd, norm.mean + norm.sd
    for letter, one in zip("LR", found, strict=True):
        if one is not None:
            _put(line, letter, (float(one.value) - low) / (high - low), band)
    return "".join(line) + ("" if norm.kind in _KNOWN else "~")


def _put(line: list[str], letter: str, place: float, band: int) -> None:
    """Write a letter where a reading stands; 0 and 1 are the ends of the band."""
    at = band + round(place * (band - 1))
    if not 0 <= at < COLUMNS:
        at, letter = (0, "<") if at < 0 else (COLUMNS - 1, ">")
    line[at] = "*" if line[at] in "LR" else letter
