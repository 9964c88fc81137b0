"""Told cases: worked examples with a sentence why, as they are read."""

from __future__ import annotations

from html import escape

from recommend.check.example_tables import Example
from recommend.check.examples import load_examples
from recommend.rulebook.book import Rulebook
from recommend.rulebook.conditions import UNDETERMINED
from recommend.rulebook.models import NeedsThen, NoteThen
from recommend.rulebook.words import need_line


def came_words(example: Example, book: Rulebook) -> str:
    """What comes of an example, in one line: kind of foot, axes, notes, needs."""
    expect = example.expect
    parts = []
    if expect.type is not None:
        known = expect.type != UNDETERMINED
        parts.append(book.types[expect.type].title if known else "no type is settled")
    for axis, word in expect.axes.items():
        values = {UNDETERMINED: UNDETERMINED, **book.axes[axis].values}
        parts.append(f"{book.axes[axis].title}: {values[word]}")
    for rule in expect.notes or ():
        then = book.by_id[rule].rule.then
        if isinstance(then, NoteThen):
            parts.append(f"{then.note.replace('-', ' ')}: {book.by_id[rule].rule.title}")
    for need in expect.needs:
        then = book.by_id[need.by].rule.then
        if isinstance(then, NeedsThen):
            wanted = (need.attribute, need.is_, need.strength)
            parts += [
                need_line(one, book)
                for one in then.needs
                if (one.attribute, one.is_, one.strength) == wanted
            ]
    return "; ".join(dict.fromkeys(parts)) or "nothing is said"


def told_list(book: Rulebook) -> str:
    """All told cases as HTML."""
    cases, _ = load_examples(book)
    return "".join(
        f"<article><h3>{escape(case.example.name)}</h3><p>{escape(case.example.why)}</p>"
        f"<p class='kind'>{escape(came_words(case.example, book))}</p></article>"
        for case in cases
        if case.example.why
    )
