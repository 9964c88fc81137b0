"""Parts of the page: the picture of one reading on its scale, and what is said of afterwards."""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape

from recommend.infer.assess import Assessment
from recommend.match.outcome import Outcome
from recommend.parameters import Sheet
from recommend.show.sheet.content import every_ache_counts
from recommend.show.sheet.messages import Wording
from recommend.trial.verdict import Band

_WIDTH, _HEIGHT = 150, 22


def gauge(value: float, error: float | None, usual: Band, label: str) -> str:
    """An inline SVG element; `label` says the same in words and is read aloud."""
    low, high = usual.low, usual.high
    span = max(high - low, 1e-9)
    start, end = min(low - span, value - span / 4), max(high + span, value + span / 4)

    def x(at: float) -> float:
        return 4 + (at - start) / (end - start) * (_WIDTH - 8)

    spread = ""
    if error:
        spread = (
            f'<path d="M{x(max(value - error, start)):.1f} 11H{x(min(value + error, end)):.1f}" '
            'stroke="#1a1a1a" stroke-width="2"/>'
        )
    return (
        f'<svg class="gauge" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
        f'aria-label="{escape(label, quote=True)}" direction="ltr">'
        f'<path d="M4 11H{_WIDTH - 4}" stroke="#767676" stroke-width="1"/>'
        f'<rect x="{x(low):.1f}" y="4" width="{x(high) - x(low):.1f}" height="14" '
        'fill="#d5e5c5" stroke="#46632f"/>'
        f'{spread}<circle cx="{x(value):.1f}" cy="11" r="5" fill="#fff" stroke="#1a1a1a" '
        'stroke-width="2.5"/></svg>'
    )


def after_parts(w: Wording, outcome: Outcome) -> Iterator[str]:
    """Sections for afterwards, from the parameters ``sheet``; for some no ache is called normal."""
    seen, sheet = outcome.assessment, outcome.book.parameters.sheet
    every_ache = every_ache_counts(seen, outcome.book)
    yield '<div class="after">'
    yield from _wear_in(w, seen, sheet, every_ache)
    weeks = w.number(sheet.sore_weeks, 0)
    ache = () if every_ache else ("normal-ache",)
    yield _list(w, "normal", ("normal-pressure", *ache), weeks)
    pain = "stop-any-ache" if every_ache else "stop-pain"
    stops = (pain, "stop-skin", "stop-numb", "stop-swelling")
    yield _list(w, "stop-wearing", stops, weeks, "notice")
    back_on = seen.visit.decision.back_on if seen.visit.decision else None
    back = w.text("back-text", weeks=w.number(sheet.review_weeks, 0))
    back = w.text("back-day", day=w.day(back_on)) if back_on else back
    yield f"<section><h2>{escape(w.text('back'))}</h2><p>{escape(back)}</p></section>"
    yield "</div>"


def _wear_in(w: Wording, seen: Assessment, sheet: Sheet, every_ache: bool) -> Iterator[str]:
    first, more, whole = sheet.first_day_hours, sheet.more_hours, sheet.whole_day_hours
    days = 1 + math.ceil((whole - first) / more)
    hours = [first + more * day for day in range(days)]
    yield f"<section><h2>{escape(w.text('wear-in'))}</h2>"
    if seen.clinician_first:
        yield f"<p>{escape(w.text('wear-in-agreed'))}</p>"
    yield '<table class="days"><tbody><tr>'
    yield f'<th scope="row">{escape(w.text("wear-in-day"))}</th>'
    yield "".join(f"<td>{day}</td>" for day in range(1, days + 1))
    yield f'</tr><tr><th scope="row">{escape(w.text("wear-in-hours"))}</th>'
    last = escape(w.text("all-day"))
    yield "".join(f"<td>{w.number(h, 0) if h < whole else last}</td>" for h in hours)
    yield "</tr></tbody></table><ul>"
    sore = w.text("wear-in-sore", minutes=w.number(sheet.sore_minutes, 0))
    yield f"<li>{escape(w.text('wear-in-every-ache') if every_ache else sore)}</li>"
    if seen.visit.purpose == "running":
        yield f"<li>{escape(w.text('wear-in-running'))}</li>"
    yield "</ul></section>"


def _list(w: Wording, title: str, keys: tuple[str, ...], weeks: str, style: str = "") -> str:
    items = "".join(f"<li>{escape(w.text(key, weeks=weeks))}</li>" for key in keys)
    classed = f' class="{style}"' if style else ""
    return f"<section{classed}><h2>{escape(w.text(title))}</h2><ul>{items}</ul></section>"
