"""The part of the page for afterwards: wearing in, what is normal, when to stop, coming back."""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape

from recommend.parameters import Parameters
from recommend.show.sheet.messages import Wording


def after_parts(
    w: Wording, parameters: Parameters, *, running: bool, back_on: str | None = None
) -> Iterator[str]:
    """Sections for afterwards, from the parameters ``sheet``; `back_on` is the day agreed."""
    yield '<div class="after">'
    yield from _wear_in(w, parameters, running)
    weeks = w.number(parameters.sheet.sore_weeks, 0)
    yield _list(w, "normal", ("normal-pressure", "normal-ache"), weeks)
    stops = ("stop-pain", "stop-skin", "stop-numb", "stop-swelling")
    yield _list(w, "stop-wearing", stops, weeks, "notice")
    weeks_on = w.number(parameters.sheet.review_weeks, 0)
    day = w.text("back-day", day=w.day(back_on)) if back_on else ""
    back = day or w.text("back-text", weeks=weeks_on)
    yield f"<section><h2>{escape(w.text('back'))}</h2><p>{escape(back)}</p></section>"
    yield "</div>"


def _wear_in(w: Wording, parameters: Parameters, running: bool) -> Iterator[str]:
    first, more = parameters.sheet.first_day_hours, parameters.sheet.more_hours
    whole = parameters.sheet.whole_day_hours
    days = 1 + math.ceil((whole - first) / more)
    hours = [first + more * day for day in range(days)]
    yield f"<section><h2>{escape(w.text('wear-in'))}</h2>"
    yield '<table class="days"><tbody><tr>'
    yield f'<th scope="row">{escape(w.text("wear-in-day"))}</th>'
    yield "".join(f"<td>{day}</td>" for day in range(1, days + 1))
    yield f'</tr><tr><th scope="row">{escape(w.text("wear-in-hours"))}</th>'
    last = escape(w.text("all-day"))
    yield "".join(f"<td>{w.number(h, 0) if h < whole else last}</td>" for h in hours)
    yield "</tr></tbody></table><ul>"
    sore = w.text("wear-in-sore", minutes=w.number(parameters.sheet.sore_minutes, 0))
    yield f"<li>{escape(sore)}</li>"
    if running:
        yield f"<li>{escape(w.text('wear-in-running'))}</li>"
    yield "</ul></section>"


def _list(w: Wording, title: str, keys: tuple[str, ...], weeks: str, style: str = "") -> str:
    items = "".join(f"<li>{escape(w.text(key, weeks=weeks))}</li>" for key in keys)
    classed = f' class="{style}"' if style else ""
    return f"<section{classed}><h2>{escape(w.text(title))}</h2><ul>{items}</ul></section>"
