"""The whole rulebook as one readable HTML page: for training, and for the auditor.

One file without scripts or anything from elsewhere; it prints, and reads without colour.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from html import escape
from itertools import product
from math import prod

from recommend.check.changes import Change
from recommend.check.promises import Given
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import AxisThen, FootType, NoteThen
from recommend.rulebook.terms import satisfied
from recommend.rulebook.vocabulary import FOOT_TYPE
from recommend.rulebook.words import sentence_lines, then_lines
from recommend.show import book_tables
from recommend.show.rule import basis_lines
from recommend.show.told import told_list

_NOTES = {
    "stop": "Stops: no shortlist, see a clinician first",
    "see-clinician": "See a clinician",
    "caution": "Cautions for the fitting",
}
_STYLE = """
:root { color-scheme: light; }
body { font: 16px/1.5 Georgia, 'Times New Roman', serif; color: #1c1c1c; background: #fff;
  max-width: 60rem; margin: 0 auto; padding: 1rem; }
h1, h2, h3, th, nav, figcaption, .kind { font-family: system-ui, sans-serif; line-height: 1.25; }
h2 { border-top: 2px solid #1c1c1c; padding-top: .6rem; margin-top: 2.5rem; }
article { margin: 1.4rem 0 1.4rem 0; padding-left: .8rem; border-left: 3px solid #8a8a8a;
  break-inside: avoid; }
article h3 { margin: 0; font-size: 1rem; } article p { margin: .3rem 0; }
.kind { font-size: .85rem; color: #444; overflow-wrap: anywhere; }
ul { margin: .2rem 0; padding-left: 1.2rem; } ul.tree { list-style: none; padding-left: 0; }
table { border-collapse: collapse; width: 100%; font-size: .92rem; }
td, th { border: 1px solid #8a8a8a; padding: .3rem .5rem; text-align: left; vertical-align: top;
  overflow-wrap: anywhere; }
figure { margin: 1rem 0; overflow-x: auto; } svg { min-width: 46rem; width: 100%; height: auto; }
a { color: #123c7c; } nav ul { columns: 2; }
@media (max-width: 40rem) { nav ul { columns: 1; } }
@media print { body { font-size: 11pt; max-width: none; } a { color: inherit; } }
"""


_AXES = (3, 4)  # how many a map can show: all but the last are its rows


def book_page(book: Rulebook, promises: Iterable[Given], changes: Iterable[Change]) -> str:
    """The page as one string of HTML: what may hurt first, then what decides, then what it is."""
    promised = [given.promise for given in promises]
    sections: list[tuple[str, str, str]] = [
        *((level, title, _rules(book, _says(level))) for level, title in _NOTES.items()),
        ("map", "Decision map of foot types", decision_map(book)),
        ("classify", "Classifying: the axes of a foot", _rules(book, _of_stage("classify"))),
        ("need", "Needs: what a foot asks of a shoe and an insole", _rules(book, _needed)),
        ("told", "Told cases", told_list(book)),
        *book_tables.sections(book, promised, changes),
    ]
    body = "".join(
        f"<section id='{key}'><h2>{escape(title)}</h2>{html}</section>"
        for key, title, html in sections
    )
    return f"{_head(book)}{_contents(sections)}{body}</main></body></html>\n"


def _head(book: Rulebook) -> str:
    heading = book.heading
    title = escape(f"{heading.name} {book.stamp}")
    cautions = "".join(f"<li>{escape(line)}</li>" for line in heading.cautions)
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{_STYLE}</style></head><body><main>"
        f"<h1>{title}</h1><p class='kind'>{escape(heading.date)}; FPI system "
        f"{escape(heading.fpi_system)}. In brackets stands the beginning of the "
        f"SHA-256 over all files of this rulebook: {book.digest}</p>"
        f"<p>Fitting advice, not a diagnosis.</p><ul>{cautions}</ul>"
    )


def _contents(sections: Iterable[tuple[str, str, str]]) -> str:
    listed = "".join(f'<li><a href="#{key}">{escape(name)}</a></li>' for key, name, _ in sections)
    return f"<nav aria-label='Contents'><h2>Contents</h2><ul>{listed}</ul></nav>"


def _says(level: str) -> Callable[[CompiledRule], bool]:
    return lambda one: isinstance(one.rule.then, NoteThen) and one.rule.then.note == level


def _of_stage(stage: str) -> Callable[[CompiledRule], bool]:
    return lambda one: one.stage == stage


def _needed(one: CompiledRule) -> bool:
    """What is left: needs, and whatever else stands under `need/`."""
    return one.stage == "need" and not isinstance(one.rule.then, NoteThen)


def _rules(book: Rulebook, chosen: Callable[[CompiledRule], bool]) -> str:
    rules = sorted(filter(chosen, book.rules), key=lambda one: (one.place.file, one.place.line))
    return "".join(_article(rule, book) for rule in rules)


def _article(rule: CompiledRule, book: Rulebook) -> str:
    when = "".join(
        f"<li style='margin-left:{(len(line) - len(line.lstrip())) / 2 * 1.2:g}rem'>"
        f"{escape(line.strip().removeprefix('- '))}</li>"
        for line in sentence_lines(rule.rule.when, book)
    )
    then = "".join(f"<li>{escape(line)}</li>" for line in then_lines(rule.rule.then, book))
    basis = "; ".join(escape(line) for line in basis_lines(rule.rule.basis, book))
    place = f"{rule.place.file.rpartition('/')[2]}, line {rule.place.line}"
    return (
        f"<article id='rule-{escape(rule.id)}'><h3>{escape(rule.rule.title)}</h3>"
        f"<p class='kind'>{escape(rule.id)}; {escape(place)}</p>"
        f"<p>When</p><ul class='tree'>{when}</ul><p>then</p><ul>{then}</ul>"
        f"<p>because {escape(rule.rule.because)}</p>"
        f"<p class='kind'>Stands on: {basis}</p></article>"
    )


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
