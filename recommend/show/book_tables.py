"""The tables of the rulebook as a page: limits, attributes, measures, numbers, log, sources."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape

from recommend.check.changes import Change
from recommend.check.promises import Promise
from recommend.measure.definitions import MeasureDef, Norm, unit_words
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import AttributeDef
from recommend.rulebook.words import kind_words, limit_words

Section = tuple[str, str, str]  # id, title, HTML


def sections(
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


def _table(heads: tuple[str, ...], rows: Iterable[str]) -> str:
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    return f"<table><tr>{head}</tr>{''.join(rows)}</table>"


def _row(*cells: str, key: str = "") -> str:
    """A row of cells that are HTML already."""
    named = f" id='{escape(key)}'" if key else ""
    return f"<tr{named}>{''.join(f'<td>{cell}</td>' for cell in cells)}</tr>"


def _list(items: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(one)}</li>' for one in items)}</ul>"


def _from(kind: str, source: str | None, note: str, book: Rulebook) -> str:
    words = kind_words(kind, sourced=bool(source))
    words += f", {book.sources[source].cite}" if source else ""
    return words + (f" ({note})" if note else "")


def _limits(book: Rulebook) -> str:
    rows = []
    for name, limit in book.limits.items():
        values = _list(
            f"{limit_words(limit.model_copy(update={'values': [value]}))}: "
            f"{_from(value.kind, value.source, value.note, book)}"
            for value in limit.values
        )
        told = map(escape, (name, limit.title, limit.population))
        rows.append(_row(*told, values, key=f"limit-{name}"))
    return _table(("limit", "what", "whose", "value, and where it is from"), rows)


def _attributes(book: Rulebook) -> str:
    rows = (
        _row(
            escape(name),
            escape(one.title),
            _list(f"{word}: {said}" for word, said in one.scale.items())
            if one.scale
            else escape(_bounds(one)),
            escape(_shortfall(one)),
            escape(f"{kind_words(one.kind)}{': ' if one.note else ''}{one.note}"),
            key=f"attribute-{name}",
        )
        for name, one in book.attributes.items()
    )
    heads = ("attribute", "what", "from and to, least first", "a wish is lost at", "stands on")
    return _table(heads, rows)


def _bounds(one: AttributeDef) -> str:
    return f"{one.low:g} to {one.high:g}{unit_words(one.unit)}"


def _shortfall(one: AttributeDef) -> str:
    steps = " steps" if one.scale else unit_words(one.unit)
    side = "the lower" if one.gentler == "low" else "the higher"
    return f"{one.tolerance:g}{steps} short; where two feet disagree, {side} is kept"


def _measures(book: Rulebook) -> str:
    rows = (
        _row(
            escape(name),
            escape(f"{one.title} ({one.unit})"),
            escape(one.how),
            escape(_error(one, book)),
            _list(_norm(norm, one, book) for norm in one.norms),
            key=f"measure-{name}",
        )
        for name, one in book.measures.items()
    )
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
    rows = (
        _row(
            escape(name),
            escape(one.title),
            escape(f"{one.value:g} {one.unit}"),
            escape(_from(one.kind, one.source, one.note, book)),
            key=f"parameter-{name}",
        )
        for name, one in book.parameters.sourced.items()
    )
    return _table(("number", "what", "value", "where it is from"), rows)


def _promises(promised: Iterable[Promise]) -> str:
    rows = (_row(escape(one.title), escape(one.because)) for one in promised)
    intro = "<p>Proved for every possible foot by <code>recommend check --prove</code>.</p>"
    return intro + _table(("promise", "because"), rows)


def _questions(book: Rulebook) -> str:
    rows = (_row(escape(one.ask), escape(one.why)) for one in book.questions.values())
    return _table(("question", "why it is asked"), rows)


def _changes(changes: Iterable[Change]) -> str:
    rows = (
        _row(
            escape(one.version),
            escape(one.date),
            _list(one.says),
            _list(
                [
                    *(f"brought: {stop.rule}" for stop in one.stops),
                    *(f"less of {was.stop}: {was.reason} ({was.by})" for was in one.accepts),
                ]
            ),
        )
        for one in changes
    )
    return _table(("version", "date", "what changed", "stops"), rows)


def _sources(book: Rulebook) -> str:
    rows = (
        _row(
            *map(escape, (name, one.cite, one.seen.replace("-", " "))),
            escape(one.says + (f" Conflict: {one.conflict}" if one.conflict else "")),
            key=f"source-{name}",
        )
        for name, one in book.sources.items()
    )
    return _table(("id", "source", "seen", "says"), rows)
