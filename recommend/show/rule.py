"""One rule in words: when it fires, what it concludes, why, whom it touches; and told cases.

Told cases are worked examples with a sentence why.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from rich.console import Console
from rich.text import Text

from recommend.check.example_tables import Example
from recommend.check.examples import load_examples
from recommend.check.reach import Touched
from recommend.rulebook.book import Rulebook
from recommend.rulebook.conditions import UNDETERMINED
from recommend.rulebook.models import Basis, NeedsThen, NoteThen
from recommend.rulebook.words import kind_words, need_line, sentence_lines, then_lines
from recommend.show.console import bullet, heading, inset

_EXAMPLES = 4


def print_rule(found: Touched, book: Rulebook, out: Console) -> None:
    """Print a rule with its reach."""
    rule = found.rule
    out.print(Text(f"{rule.id}: {rule.rule.title}", style="bold"))
    where = f"stage {rule.stage} of {book.heading.name} {book.stamp}, {rule.place}"
    out.print(Text(where), soft_wrap=True)
    out.print(heading("When"))
    for line in sentence_lines(rule.rule.when, book):
        indent = len(line) - len(line.lstrip())
        out.print(inset(line.lstrip(), 2 + indent))
    out.print(heading("Then"))
    for line in then_lines(rule.rule.then, book):
        out.print(bullet(line))
    out.print(heading("Because"))
    out.print(inset(rule.rule.because, 2))
    out.print(heading("Stands on"))
    for line in basis_lines(rule.rule.basis, book):
        out.print(bullet(line))
    _print_reach(found, out)


def _print_reach(found: Touched, out: Console) -> None:
    out.print(heading("Touches"))
    feet = f"{100 * found.share:.1f} % of {found.feet} feet of the modelled population"
    out.print(inset(feet, 2))
    out.print(inset(f"one foot or both of {100 * found.adults:.1f} % of these healthy adults", 2))
    met, drawn = found.drawn
    customers = (
        f"{100 * found.customers:.1f} % of a shop's customers, children, pain and unusual answers "
        f"among them ({met} of {drawn} that were drawn with more of these)"
    )
    out.print(inset(customers if met else f"none of {drawn} customers, rare ones among them", 2))
    for name, share in found.beside.items():
        out.print(bullet(f"{name} holds for {100 * share:.0f} % of these feet too"))
    out.print(heading("Worked examples in which it holds"))
    told_first = sorted(found.examples, key=lambda case: not case.example.why)
    for case in told_first[:_EXAMPLES]:
        why = f": {case.example.why}" if case.example.why else ""
        out.print(bullet(f"{case.example.name}{why} ({case.place})"))
    more = len(found.examples) - _EXAMPLES
    if more > 0:
        out.print(inset(f"and {more} more", 4))


def basis_lines(basis: Basis, book: Rulebook) -> Iterator[str]:
    """What stands behind a statement, one source a line."""
    words = kind_words(basis.kind, sourced=bool(basis.sources))
    yield words + (f": {basis.note}" if basis.note else "")
    for name in basis.sources:
        source = book.sources[name]
        yield f"{source.cite} [{name}, seen {source.seen.replace('-', ' ')}]: {source.says}"


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
