"""The whole rulebook as one readable HTML page: for training, and for the auditor.

One file without scripts or anything from elsewhere; it prints, and reads without colour.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from html import escape
from itertools import product
from math import prod

from recommend.check.changes import Change
from recommend.check.promises import Given, Promise
from recommend.measure.definitions import MeasureDef, Norm, unit_words
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import AttributeDef, AxisThen, FootType, NoteThen
from recommend.rulebook.terms import satisfied
from recommend.rulebook.vocabulary import FOOT_TYPE, Fact
from recommend.rulebook.words import kind_words, limit_words, sentence_lines, then_lines
from recommend.show.pages import listed, style
from recommend.show.rulebook import basis_lines, told_list

_NOTES = {
    "stop": "Stops: no shortlist, see a clinician first",
    "see-clinician": "See a clinician",
    "caution": "Cautions for the fitting",
}


Section = tuple[str, str, str]  # id, title, HTML
_AXES = (3, 4)  # how many a map can show: all but the last are its rows


def book_page(book: Rulebook, promises: Iterable[Given], changes: Iterable[Change]) -> str:
    """The page as one string of HTML: what may hurt first, then what decides, then what it is."""
    promised = [given.promise for given in promises]
    sections: list[Section] = [
        *((level, title, _rules(book, _says(level))) for level, title in _NOTES.items()),
        ("map", "Decision map of foot types", decision_map(book)),
        ("classify", "Classifying: the axes of a foot", _rules(book, _classifies)),
        ("need", "Needs: what a foot asks of a shoe and an insole", _rules(book, _needed)),
        ("told", "Told cases", told_list(book)),
        *_tables(book, promised, changes),
    ]
    body = "".join(
        f"<section id='{key}'><h2>{escape(title)}</h2>{html}</section>"
        for key, title, html in sections
    )
    return f"{_head(book)}{_contents(sections)}{body}</main></body></html>\n"


def _head(book: Rulebook) -> str:
    heading = book.heading
    title = escape(f"{heading.name} {book.stamp}")
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title>{style('book_page.css')}</head><body><main>"
        f"<h1>{title}</h1><p class='kind'>{escape(heading.date)}; FPI system "
        f"{escape(heading.fpi_system)}. In brackets stands the beginning of the "
        f"SHA-256 over all files of this rulebook: {book.digest}</p>"
        f"<p>Fitting advice, not a diagnosis.</p>{listed(heading.cautions)}"
    )


def _contents(sections: Iterable[Section]) -> str:
    listed = "".join(f'<li><a href="#{key}">{escape(name)}</a></li>' for key, name, _ in sections)
    return f"<nav aria-label='Contents'><h2>Contents</h2><ul>{listed}</ul></nav>"


def _says(level: str) -> Callable[[CompiledRule], bool]:
    return lambda one: isinstance(one.rule.then, NoteThen) and one.rule.then.note == level


def _classifies(one: CompiledRule) -> bool:
    return one.stage == "classify"


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
    then = listed(then_lines(rule.rule.then, book))
    basis = "; ".join(escape(line) for line in basis_lines(rule.rule.basis, book))
    place = f"{rule.place.file.rpartition('/')[2]}, line {rule.place.line}"
    return (
        f"<article id='rule-{escape(rule.id)}'><h3>{escape(rule.rule.title)}</h3>"
        f"<p class='kind'>{escape(rule.id)}; {escape(place)}</p>"
        f"<p>When</p><ul class='tree'>{when}</ul><p>then</p>{then}"
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
    return [axis for axis in book.axes if Fact("axis", axis).name in read]


def type_of(book: Rulebook, values: dict[str, str]) -> FootType | None:
    """The foot type of a combination of axis values, or None when it has none."""
    facts = {Fact("axis", axis).name: value for axis, value in values.items()}
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


def _tables(
    book: Rulebook, promised: Iterable[Promise], changes: Iterable[Change]
) -> Iterator[Section]:
    """What is no rule, in the order in which a reader asks for it."""
    yield "limits", "Limits", _limits(book)
    yield "attributes", "Attributes of shoes and insoles", _attributes(book)
    yield "measures", "Measures", _measures(book)
    yield "parameters", "Weights and other numbers", _parameters(book)
    yield "promises", "Promises", _promises(promised)
    yield "questions", "Screening questions", _questions(book)
    yield "changes", "Change log", _changes(changes)
    yield "sources", "Sources", _sources(book)


Cell = str | Iterable[str]  # a text, or the lines of a list


def _table(heads: tuple[str, ...], rows: Iterable[str]) -> str:
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    return f"<table><tr>{head}</tr>{''.join(rows)}</table>"


def _row(*cells: Cell, key: str = "") -> str:
    told = (escape(cell) if isinstance(cell, str) else listed(cell) for cell in cells)
    named = f" id='{escape(key)}'" if key else ""
    return f"<tr{named}>{''.join(f'<td>{cell}</td>' for cell in told)}</tr>"


def _from(kind: str, source: str | None, note: str, book: Rulebook) -> str:
    words = kind_words(kind, sourced=bool(source))
    words += f", {book.sources[source].cite}" if source else ""
    return words + (f" ({note})" if note else "")


def _limits(book: Rulebook) -> str:
    rows = []
    for name, limit in book.limits.items():
        values = (
            f"{limit_words(limit.model_copy(update={'values': [value]}))}: "
            f"{_from(value.kind, value.source, value.note, book)}"
            for value in limit.values
        )
        rows.append(_row(name, limit.title, limit.population, values, key=f"limit-{name}"))
    return _table(("limit", "what", "whose", "value, and where it is from"), rows)


def _attributes(book: Rulebook) -> str:
    heads = ("attribute", "what", "from and to, least first", "a wish is lost at", "stands on")
    rows = []
    for name, one in book.attributes.items():
        scale = [f"{word}: {said}" for word, said in one.scale.items()] if one.scale else None
        basis = f"{kind_words(one.kind)}{': ' if one.note else ''}{one.note}"
        told = (name, one.title, scale or _bounds(one), _shortfall(one), basis)
        rows.append(_row(*told, key=f"attribute-{name}"))
    return _table(heads, rows)


def _bounds(one: AttributeDef) -> str:
    return f"{one.low:g} to {one.high:g}{unit_words(one.unit)}"


def _shortfall(one: AttributeDef) -> str:
    steps = " steps" if one.scale else unit_words(one.unit)
    side = "the lower" if one.gentler == "low" else "the higher"
    return f"{one.tolerance:g}{steps} short; where two feet disagree, {side} is kept"


def _measures(book: Rulebook) -> str:
    rows = []
    for name, one in book.measures.items():
        norms = (_norm(norm, one, book) for norm in one.norms)
        told = (name, f"{one.title} ({one.unit})", one.how, _error(one, book), norms)
        rows.append(_row(*told, key=f"measure-{name}"))
    return _table(("measure", "what", "how it is taken", "error of one reading", "norm"), rows)


def _error(one: MeasureDef, book: Rulebook) -> str:
    if one.error is None:
        return ""
    ground = _from(one.error.kind, one.error.source, one.error.note, book)
    floor = f", of which {one.error.floor:g} stays however often" if one.error.floor else ""
    return f"{one.error.single:g}{unit_words(one.unit)}{floor}: {ground}"


def _norm(norm: Norm, one: MeasureDef, book: Rulebook) -> str:
    where = " from ".join(norm.where.values())
    ground = _from(norm.kind, norm.source, norm.note, book)
    unit = unit_words(one.unit)
    return f"{norm.mean:g}{unit}, SD {norm.sd:g}{unit}{f' ({where})' if where else ''}: {ground}"


def _parameters(book: Rulebook) -> str:
    rows = []
    for name, one in book.parameters.sourced.items():
        ground = _from(one.kind, one.source, one.note, book)
        told = (name, one.title, f"{one.value:g} {one.unit}", ground)
        rows.append(_row(*told, key=f"parameter-{name}"))
    return _table(("number", "what", "value", "where it is from"), rows)


def _promises(promised: Iterable[Promise]) -> str:
    intro = "<p>Proved for every possible foot by <code>recommend check --prove</code>.</p>"
    return intro + _table(
        ("promise", "because"), (_row(one.title, one.because) for one in promised)
    )


def _questions(book: Rulebook) -> str:
    rows = (_row(one.ask, one.why) for one in book.questions.values())
    return _table(("question", "why it is asked"), rows)


def _changes(changes: Iterable[Change]) -> str:
    rows = []
    for one in changes:
        stops = [f"brought: {stop.rule}" for stop in one.stops]
        stops += [f"less of {was.stop}: {was.reason} ({was.by})" for was in one.accepts]
        rows.append(_row(one.version, one.date, one.says, stops))
    return _table(("version", "date", "what changed", "stops"), rows)


def _sources(book: Rulebook) -> str:
    rows = []
    for name, one in book.sources.items():
        says = one.says + (f" Conflict: {one.conflict}" if one.conflict else "")
        told = (name, one.cite, one.seen.replace("-", " "), says)
        rows.append(_row(*told, key=f"source-{name}"))
    return _table(("id", "source", "seen", "says"), rows)
