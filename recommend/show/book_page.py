"""The whole rulebook as one readable HTML page: for training, and for the auditor.

One file without scripts or anything from elsewhere; it prints, and reads without colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape

from recommend.check.promises import Given, Promise
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import AxisThen, FootType
from recommend.rulebook.terms import satisfied
from recommend.rulebook.vocabulary import FOOT_TYPE
from recommend.rulebook.words import limit_words, sentence_lines, then_lines
from recommend.show.rule import basis_lines

_STAGES = {
    "screen": "Screening: stops, notes and cautions",
    "classify": "Classifying: the axes of a foot",
    "need": "Needs: what a foot asks of a shoe and an insole",
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


def book_page(book: Rulebook, promises: Iterable[Given]) -> str:
    """The page as one string of HTML."""
    promised = [given.promise for given in promises]
    parts = [
        _head(book),
        _contents(book),
        _map(book),
        *(_stage(book, stage) for stage in _STAGES),
        _limits(book),
        _promises(promised),
        _questions(book),
        _sources(book),
        "</main></body></html>\n",
    ]
    return "\n".join(parts)


def _head(book: Rulebook) -> str:
    heading = book.heading
    title = escape(f"{heading.name}, version {heading.version}")
    cautions = "".join(f"<li>{escape(line)}</li>" for line in heading.cautions)
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{_STYLE}</style></head><body><main>"
        f"<h1>{title}</h1><p class='kind'>{escape(heading.date)}; FPI system "
        f"{escape(heading.fpi_system)}; SHA-256 {book.digest}</p>"
        f"<p>Fitting advice, not a diagnosis.</p><ul>{cautions}</ul>"
    )


def _contents(book: Rulebook) -> str:
    links = [("map", "Decision map of foot types"), *_STAGES.items(), ("limits", "Limits"),
             ("promises", "Promises"), ("questions", "Screening questions"),
             ("sources", "Sources")]  # fmt: skip
    listed = "".join(f'<li><a href="#{key}">{escape(name)}</a></li>' for key, name in links)
    return f"<nav aria-label='Contents'><h2>Contents</h2><ul>{listed}</ul></nav>"


def _stage(book: Rulebook, stage: str) -> str:
    rules = [rule for rule in book.rules if rule.stage == stage]
    rules.sort(key=lambda rule: (rule.place.file, rule.place.line))
    articles = "".join(_article(rule, book) for rule in rules)
    return f"<section id='{stage}'><h2>{escape(_STAGES[stage])}</h2>{articles}</section>"


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


def _limits(book: Rulebook) -> str:
    rows = []
    for name, limit in book.limits.items():
        values = "".join(
            f"<li>{escape(limit_words(limit.model_copy(update={'values': [value]})))}: "
            f"{escape(_from(value.kind, value.source, value.note, book))}</li>"
            for value in limit.values
        )
        rows.append(
            f"<tr id='limit-{escape(name)}'><td>{escape(name)}</td><td>{escape(limit.title)}</td>"
            f"<td>{escape(limit.population)}</td><td><ul>{values}</ul></td></tr>"
        )
    head = "<tr><th>limit</th><th>what</th><th>whose</th><th>value, and where it is from</th></tr>"
    return f"<section id='limits'><h2>Limits</h2><table>{head}{''.join(rows)}</table></section>"


def _from(kind: str, source: str | None, note: str, book: Rulebook) -> str:
    words = kind.replace("-", " ")
    words += f", {book.sources[source].cite}" if source else ""
    return words + (f" ({note})" if note else "")


def _promises(promised: Iterable[Promise]) -> str:
    rows = "".join(
        f"<tr><td>{escape(one.title)}</td><td>{escape(one.because)}</td></tr>" for one in promised
    )
    intro = "Proved for every possible foot by <code>recommend check --prove</code>."
    return (
        f"<section id='promises'><h2>Promises</h2><p>{intro}</p>"
        f"<table><tr><th>promise</th><th>because</th></tr>{rows}</table></section>"
    )


def _questions(book: Rulebook) -> str:
    rows = "".join(
        f"<tr><td>{escape(one.ask)}</td><td>{escape(one.why)}</td></tr>"
        for one in book.questions.values()
    )
    return (
        "<section id='questions'><h2>Screening questions</h2>"
        f"<table><tr><th>question</th><th>why it is asked</th></tr>{rows}</table></section>"
    )


def _sources(book: Rulebook) -> str:
    rows = "".join(
        f"<tr id='source-{escape(name)}'><td>{escape(name)}</td><td>{escape(one.cite)}</td>"
        f"<td>{escape(one.seen.replace('-', ' '))}</td><td>{escape(one.says)}"
        f"{escape(' Conflict: ' + one.conflict) if one.conflict else ''}</td></tr>"
        for name, one in book.sources.items()
    )
    head = "<tr><th>id</th><th>source</th><th>seen</th><th>says</th></tr>"
    return f"<section id='sources'><h2>Sources</h2><table>{head}{rows}</table></section>"


# --- the decision map: one cell for each combination of the axes that foot types read ------------


def _map(book: Rulebook) -> str:
    axes = map_axes(book)
    if len(axes) != 3:
        words = "The types of this rulebook do not read exactly three axes; see the rules below."
        return f"<section id='map'><h2>Decision map of foot types</h2><p>{words}</p></section>"
    rows, columns = axes[:2], axes[2]
    body = "".join(_map_rows(book, rows, columns))
    count_rows = len(book.axes[rows[0]].values) * len(book.axes[rows[1]].values)
    width, height = 250 + 190 * len(book.axes[columns].values), 44 + 26 * count_rows
    caption = (
        f"Rows: {book.axes[rows[0]].title} and {book.axes[rows[1]].title}. "
        f"Columns: {book.axes[columns].title}. Each combination is one type; cells of the same "
        "type carry the same name."
    )
    return (
        f"<section id='map'><h2>Decision map of foot types</h2><figure>"
        f"<svg viewBox='0 0 {width} {height}' role='img' aria-label='Decision map of foot types' "
        f"font-family='system-ui, sans-serif' font-size='12'>{body}</svg>"
        f"<figcaption>{escape(caption)}</figcaption></figure></section>"
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
    for first in book.axes[rows[0]].values:
        for second in book.axes[rows[1]].values:
            yield f"<text x='4' y='{top + 17}'>{escape(f'{first}, {second} {rows[1]}')}</text>"
            for index, value in enumerate(book.axes[columns].values):
                kind = type_of(book, {rows[0]: first, rows[1]: second, columns: value})
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
