"""The decision map of foot types: a cell for each combination of the axes that types read."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from itertools import product
from math import prod

from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import AxisThen, FootType
from recommend.rulebook.terms import satisfied
from recommend.rulebook.vocabulary import FOOT_TYPE

_AXES = (3, 4)  # how many a map can show: all but the last are its rows


def decision_map(book: Rulebook) -> str:
    """The map as a picture, where the types read three or four axes."""
    axes = map_axes(book)
    if len(axes) not in _AXES:
        words = "The types of this rulebook do not read three or four axes; see the rules below."
        return f"<p>{words}</p>"
    rows, columns = axes[:-1], axes[-1]
    body = "".join(_map_rows(book, rows, columns))
    count_rows = prod(len(book.axes[axis].values) for axis in rows)
    width, height = 250 + 190 * len(book.axes[columns].values), 44 + 26 * count_rows
    caption = (
        f"Rows: {', '.join(book.axes[axis].title for axis in rows)}. "
        f"Columns: {book.axes[columns].title}. Each combination is one type; cells of the same "
        "type carry the same name."
    )
    return (
        f"<figure>"
        f"<svg viewBox='0 0 {width} {height}' role='img' aria-label='Decision map of foot types' "
        f"font-family='system-ui, sans-serif' font-size='12'>{body}</svg>"
        f"<figcaption>{escape(caption)}</figcaption></figure>"
    )


def map_axes(book: Rulebook) -> list[str]:
    """The axes that foot types read, in the order of the rulebook."""
    read = frozenset().union(*(rule.facts for rule in _type_rules(book)))
    return [axis for axis in book.axes if f"axis_{axis}" in read]


def type_of(book: Rulebook, values: dict[str, str]) -> FootType | None:
    """The foot type of a combination of axis values, or None when it has none."""
    facts = {f"axis_{axis}": value for axis, value in values.items()}
    for rule in _type_rules(book):
        if any(satisfied(branch, facts) for branch in rule.holds):
            then = rule.rule.then
            assert isinstance(then, AxisThen)
            return book.types[then.value]
    return None


def _type_rules(book: Rulebook) -> list[CompiledRule]:
    return [
        rule
        for rule in book.rules
        if isinstance(rule.rule.then, AxisThen) and rule.rule.then.axis == FOOT_TYPE
    ]


def _map_rows(book: Rulebook, rows: list[str], columns: str) -> Iterator[str]:
    for index, value in enumerate(book.axes[columns].values):
        yield f"<text x='{256 + 190 * index}' y='28' font-weight='bold'>{escape(value)}</text>"
    top = 38
    shades: dict[str, int] = {}
    for words in product(*(book.axes[axis].values for axis in rows)):
        yield f"<text x='4' y='{top + 17}'>{escape(', '.join(words))}</text>"
        for index, value in enumerate(book.axes[columns].values):
            of = dict(zip(rows, words, strict=True)) | {columns: value}
            kind = type_of(book, of)
            name = kind.id if kind else "(none)"
            shade = shades.setdefault(name, len(shades))
            yield _cell(250 + 190 * index, top, name, shade)
        top += 26


def _cell(left: int, top: int, name: str, shade: int) -> str:
    """A cell in a light tint; the name says what the tint only repeats."""
    hue = shade * 137 % 360  # far apart for neighbours in the order of appearance
    return (
        f"<rect x='{left}' y='{top}' width='186' height='24' fill='hsl({hue} 60% 90%)' "
        f"stroke='#777'/><text x='{left + 5}' y='{top + 16}' fill='#111'>{escape(name)}</text>"
    )
