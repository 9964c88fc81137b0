"""Parts of the page: the picture of one reading on its scale, and what is said of afterwards."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from recommend.parameters import Parameters
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


@dataclass(frozen=True, slots=True)
class After:
    """What decides what is said of afterwards.

    Attributes
    ----------
    running : whether it is for running.
    every_ache : whether no ache may be called normal.
    once_agreed : whether it is worn only once a clinician has agreed.
    back_on : the day agreed for coming back.
    """

    running: bool
    every_ache: bool
    once_agreed: bool
    back_on: str | None = None


def after_parts(w: Wording, parameters: Parameters, after: After) -> Iterator[str]:
    """Sections for afterwards, from the parameters ``sheet``."""
    yield '<div class="after">'
    yield from _wear_in(w, parameters, after)
    weeks = w.number(parameters.sheet.sore_weeks, 0)
    ache = () if after.every_ache else ("normal-ache",)
    yield _list(w, "normal", ("normal-pressure", *ache), weeks)
    pain = "stop-any-ache" if after.every_ache else "stop-pain"
    stops = (pain, "stop-skin", "stop-numb", "stop-swelling")
    yield _list(w, "stop-wearing", stops, weeks, "notice")
    weeks_on = w.number(parameters.sheet.review_weeks, 0)
    day = w.text("back-day", day=w.day(after.back_on)) if after.back_on else ""
    back = day or w.text("back-text", weeks=weeks_on)
    yield f"<section><h2>{escape(w.text('back'))}</h2><p>{escape(back)}</p></section>"
    yield "</div>"


def _wear_in(w: Wording, parameters: Parameters, after: After) -> Iterator[str]:
    first, more = parameters.sheet.first_day_hours, parameters.sheet.more_hours
    whole = parameters.sheet.whole_day_hours
    days = 1 + math.ceil((whole - first) / more)
    hours = [first + more * day for day in range(days)]
    yield f"<section><h2>{escape(w.text('wear-in'))}</h2>"
    if after.once_agreed:
        yield f"<p>{escape(w.text('wear-in-agreed'))}</p>"
    yield '<table class="days"><tbody><tr>'
    yield f'<th scope="row">{escape(w.text("wear-in-day"))}</th>'
    yield "".join(f"<td>{day}</td>" for day in range(1, days + 1))
    yield f'</tr><tr><th scope="row">{escape(w.text("wear-in-hours"))}</th>'
    last = escape(w.text("all-day"))
    yield "".join(f"<td>{w.number(h, 0) if h < whole else last}</td>" for h in hours)
    yield "</tr></tbody></table><ul>"
    sore = w.text("wear-in-sore", minutes=w.number(parameters.sheet.sore_minutes, 0))
    yield f"<li>{escape(w.text('wear-in-every-ache') if after.every_ache else sore)}</li>"
    if after.running:
        yield f"<li>{escape(w.text('wear-in-running'))}</li>"
    yield "</ul></section>"


def _list(w: Wording, title: str, keys: tuple[str, ...], weeks: str, style: str = "") -> str:
    items = "".join(f"<li>{escape(w.text(key, weeks=weeks))}</li>" for key in keys)
    classed = f' class="{style}"' if style else ""
    return f"<section{classed}><h2>{escape(w.text(title))}</h2><ul>{items}</ul></section>"
