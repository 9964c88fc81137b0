"""A blank intake sheet for shops that write on paper first: HTML to print from a browser."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape
from itertools import groupby

from recommend.rulebook import Rulebook
from recommend.rulebook.models import Source
from recommend.show.labels import capital
from recommend.show.pages import document, style
from recommend.visit.answers import Choice, Pains, PostureItem, Readings
from recommend.visit.entry_steps import EntryStep

_LINE = "_" * 14


def _leg_drawn(middle: int, lean: int) -> str:
    """A leg from behind as an outline with its four marks; the heel leans by so many px."""
    outline = (
        f"M{middle - 24},0 C{middle - 34},40 {middle - 16},80 {middle - 14},104 "
        f"C{middle - 13},118 {middle - 22 - lean},130 {middle - 18 - lean},150 "
        f"L{middle + 18 - lean},150 C{middle + 22 - lean},130 {middle + 13},118 {middle + 14},104 "
        f"C{middle + 16},80 {middle + 34},40 {middle + 24},0"
    )
    marks = ((middle, 34), (middle, 96), (middle - lean // 2, 116), (middle - lean, 141))
    dots = "".join(f'<circle cx="{x}" cy="{y}" r="4"/>' for x, y in marks)
    return f'<path d="{outline}" fill="none" stroke="#000"/>{dots}'


def _marks_figure() -> str:
    """Where the marks for filming go: both legs from behind, left on the left."""
    names = (("upper leg", 34), ("lower leg", 96), ("upper heel", 116), ("lower heel", 141))
    words = "".join(f'<text x="196" y="{y + 4}">{name}</text>' for name, y in names)
    sides = '<text x="30" y="168">left</text><text x="116" y="168">right</text>'
    return (
        '<svg viewBox="0 0 270 174" width="78mm" role="img" font-size="11" aria-label="Four round '
        "marks on each leg seen from behind: two in the middle of the leg, two on the line that "
        f'halves the heel">{_leg_drawn(48, 3)}{_leg_drawn(134, -3)}{words}{sides}</svg>'
    )


def form_html(steps: Iterable[EntryStep], shop: str, book: Rulebook) -> str:
    """The sheet: every question of the guided entry, left and right side by side.

    At its foot it names the rulebook whose questions it asks.
    """
    items_after = book.paper("foot posture index")
    title = f"Intake sheet{f', {shop}' if shop else ''}"
    body = "\n".join(_blocks([s for s in steps if s.block != "Remarks"], items_after))
    main = f"""<main>
<h1>{escape(title)}</h1>
<p>Reference code (never a name): {_LINE}{_LINE} &nbsp; Date: {_LINE}</p>
<p>Fitting advice, not a diagnosis. If a screening answer is yes, type it in before measuring:
some are a stop. What is not asked or not measured is left empty; empty is never no, and never
0.</p>
{body}
<h2>Marks for filming from behind</h2>
{_marks_figure()}
<p>Round matt marks of one kind that stand out from the skin, put on while the customer stands
relaxed; the two of the leg further apart than any others. More: recommend help filming.</p>
<h2>Remarks (no names)</h2>
<p><br><br></p>
<p><small>Questions {escape(book.byline)}</small></p>
</main>"""
    return document(title, style("form.css"), main)


def _blocks(steps: list[EntryStep], items_after: Source | None) -> Iterator[str]:
    for block, grouped in groupby(steps, key=lambda step: step.block):
        members = list(grouped)
        yield f"<h2>{escape(block)}</h2>"
        if items_after and any(isinstance(step.kind, PostureItem) for step in members):
            yield (
                "<p>The six items are those of the foot posture index "
                f"({escape(items_after.cite)}); the words here are ours.</p>"
            )
        yield from _table(members)


def _table(steps: list[EntryStep]) -> Iterator[str]:
    sided = any(step.id.endswith((".left", ".right")) for step in steps)
    yield "<table>"
    if sided:
        yield (
            '<thead><tr><th scope="col">Question</th><th scope="col">Left</th>'
            '<th scope="col">Right</th></tr></thead>'
        )
    yield "<tbody>"
    for step in steps:
        if step.id.endswith(".right"):
            continue
        question = step.ask.removeprefix("LEFT: ")
        notes = "".join(f"<small>{escape(line)}</small>" for line in step.reminder)
        blank = _blank(step)
        cells = (
            f"<td>{blank}</td><td>{blank}</td>"
            if step.id.endswith(".left")
            else (f"<td{' colspan=2' if sided else ''}>{blank}</td>")
        )
        yield f'<tr><th scope="row">{escape(capital(question))}{notes}</th>{cells}</tr>'
    yield "</tbody></table>"


def _blank(step: EntryStep) -> str:
    """What is written on: boxes to tick, or a line."""
    if isinstance(step.kind, PostureItem):
        words = ["-2", "-1", "0", "+1", "+2"]
    elif isinstance(step.kind, Choice):
        words = list(step.kind.by_key.values())
    elif isinstance(step.kind, Pains):
        return f"{_LINE}{_LINE}<br>site, side, 0 to 10, weeks"
    elif isinstance(step.kind, Readings):
        return f"{_LINE} {step.kind.unit}"
    else:
        unit = getattr(step.kind, "unit", "")
        return f"{_LINE} {escape(unit)}"
    return " ".join(f'<span class="box">&#9744; {escape(word)}</span>' for word in words)
