"""One rule in words, with whom it touches and told cases; and two versions of a rulebook compared.

Told cases are worked examples with a sentence why.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from html import escape
from itertools import groupby
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from recommend.check.differing import Moves, RulebookDifference
from recommend.check.example_tables import Example
from recommend.check.examples import load_examples
from recommend.check.reach import Touched
from recommend.check.same_customers import DrawnShare, Ranked
from recommend.errors import counted
from recommend.rulebook.book import Rulebook
from recommend.rulebook.conditions import UNDETERMINED
from recommend.rulebook.contents import Bearing, Edit
from recommend.rulebook.models import Basis, NeedsThen, NoteThen
from recommend.rulebook.words import kind_words, need_line, sentence_lines, then_lines
from recommend.show.console import Unbroken, bullet, heading, inset, plain_table
from recommend.show.findings import finding_blocks

_EXAMPLES = 4


def rule_blocks(found: Touched, book: Rulebook) -> Iterator[RenderableType]:
    """A rule with its reach."""
    rule = found.rule
    yield Text(f"{rule.id}: {rule.rule.title}", style="bold")
    yield Unbroken(f"stage {rule.stage} of {book.heading.name} {book.stamp}, {rule.place}")
    yield heading("When")
    for line in sentence_lines(rule.rule.when, book):
        yield inset(line.lstrip(), 2 + len(line) - len(line.lstrip()))
    yield heading("Then")
    yield from map(bullet, then_lines(rule.rule.then, book))
    yield heading("Because")
    yield inset(rule.rule.because, 2)
    yield heading("Stands on")
    yield from map(bullet, basis_lines(rule.rule.basis, book))
    yield from _reach(found)


def _reach(found: Touched) -> Iterator[RenderableType]:
    yield heading("Touches")
    yield inset(f"{100 * found.share:.1f} % of {found.feet} feet of the modelled population", 2)
    yield inset(f"one foot or both of {100 * found.adults:.1f} % of these healthy adults", 2)
    met, drawn = found.drawn
    customers = (
        f"{100 * found.customers:.1f} % of a shop's customers, children, pain and unusual answers "
        f"among them ({met} of {drawn} that were drawn with more of these)"
    )
    yield inset(customers if met else f"none of {drawn} customers, rare ones among them", 2)
    for name, share in found.beside.items():
        yield bullet(f"{name} holds for {100 * share:.0f} % of these feet too")
    yield heading("Worked examples in which it holds")
    told_first = sorted(found.examples, key=lambda case: not case.example.why)
    for case in told_first[:_EXAMPLES]:
        why = f": {case.example.why}" if case.example.why else ""
        yield bullet(f"{case.example.name}{why} ({case.place})")
    more = len(found.examples) - _EXAMPLES
    if more > 0:
        yield inset(f"and {more} more", 4)


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


_FEW, _FIRSTS = 4, 5  # places of one thing, and products, told one by one
_TOP = 8  # transitions shown in words, the most frequent; JSON has them all


def difference_blocks(found: RulebookDifference, width: int) -> Iterator[RenderableType]:
    """What the changes do to the customers that were drawn; see `edits_blocks` for them."""
    if found.moves is not None:
        yield from _moves(found.moves)
    elif found.turned:
        yield Text(
            "No condition has changed, and yet outcomes may: asked otherwise, a yes may mean "
            f"another thing. Read before and after: {', '.join(found.turned)}."
        )
    elif found.edits:
        yield Text("Nothing that decides has changed: every outcome is what it was.")
    for finding in found.weakened:
        yield from finding_blocks(finding, width)
    yield from _to_do(found)


def _moves(found: Moves) -> Iterator[RenderableType]:
    customers = counted(found.customers, "customer")
    yield heading(f"What it does to {customers} of the modelled population")
    rare = f"Drawn with more that is rare than a shop sees: {found.mixture}."
    yield Text(f"{rare} Shares are a shop's.")
    yield from _types(found)
    yield from _held(found)
    for word, needs in (("lose", found.unbound), ("gain", found.bound)):
        for need, count in needs.items():
            yield Text(f"Customers whose pair would {word}, {need}: {count}")
    for kind, ranked in found.ranked.items():
        yield from _ranked(kind, ranked)
    if found.silent:
        yield Text(f"Rules that fire for none of them: {', '.join(found.silent)}.")


_TO_SEE: dict[Bearing, str] = {
    "decides": "what decides",
    "words": "what is read",
    "holds": "what holds the rest",
}
_HEADS: dict[Bearing, str] = {
    "decides": "What decides",
    "words": "What is read: words, marks and sources; it needs a reader",
    "holds": "What holds the rest in place: promises, claims and guarded words",
    "guards": "What else is beside it: examples, the change log, order of asking",
}


def books_heading(books: tuple[Rulebook, Rulebook]) -> RenderableType:
    """Which two rulebooks are compared."""
    old, new = books
    return heading(f"What changed from {old.heading.name} {old.stamp} to {new.stamp}")


def edits_blocks(found: Sequence[Edit]) -> Iterator[RenderableType]:
    """Every difference of what the two folders say."""
    if not found:
        yield bullet("nothing that decides, that is read, or that guards either")
    for bearing, words in _HEADS.items():
        edits = [one for one in found if one.bearing == bearing]
        if edits:
            yield Text(f"{words}:")
        yield from map(
            bullet, _grouped(edits) if bearing == "guards" else (one.words for one in edits)
        )


def _grouped(edits: list[Edit]) -> Iterator[str]:
    """A thing changed in many places in one line; --json has them all."""
    for (thing, name), some in groupby(edits, lambda one: (one.thing, one.id)):
        all_ = list(some)
        if len(all_) <= _FEW:
            yield from (one.words for one in all_)
        else:
            yield f"{thing} {name}: {len(all_)} places (--json lists them)".replace(" :", ":")


def _to_do(found: RulebookDifference) -> Iterator[RenderableType]:
    if found.accepted:
        yield Text(f"Losses that the change log accepts: {', '.join(found.accepted)}")
    if found.stronger:
        yield Text(f"Notes that come for more feet than before: {', '.join(found.stronger)}")
    if found.page:
        yield Text(f"The page's own texts are not those of version {found.page}: read a page anew.")
    if found.same_version:
        yield Text("Both call themselves the same version; give the new one a version of its own.")
    if found.unread:
        what = " and ".join(_TO_SEE[bearing] for bearing in found.unread)
        have = "has" if len(found.unread) == 1 else "have"
        yield Text(f"To be seen: {what} {have} changed, and the change log has no code for it.")
        yield bullet(f"when you have seen it, add to its newest entry: {found.sign}")


def _share(share: DrawnShare) -> str:
    percent = 100 * share.of_shop
    few = "under 0.1" if share.count and percent < 0.05 else f"{percent:.1f}"
    return f"{share.count} ({few} %)"


def _types(found: Moves) -> Iterator[RenderableType]:
    total = sum((one.feet for one in found.types), DrawnShare())
    yield Text(f"Feet that change type: {_share(total)} of {2 * found.customers}")
    for one in found.types[:_TOP]:
        yield bullet(f"{one.was} -> {one.now}: {one.feet.count}")
        yield inset(f"such as {one.foot}", 6)


def _held(found: Moves) -> Iterator[RenderableType]:
    told = (
        ("gain the note of", "gain a note", found.gained),
        ("lose the note of", "lose a note", found.lost),
        ("are asked something by", "are asked something more", found.asked),
        ("are asked nothing more by", "are asked something less", found.unasked),
    )
    for one, none, rules in told:
        if not rules:
            yield Text(f"Feet that {none}: none")
        for rule, count in rules.items():
            yield Text(f"Feet that {one} {rule}: {_share(count)}")


def _ranked(kind: str, ranked: Ranked) -> Iterator[RenderableType]:
    total = sum((share for _, _, share in ranked.firsts), DrawnShare())
    yield Text(f"Customers whose first {kind} changes: {_share(total)}")
    table = plain_table("  was", "is", "customers")
    for was, now, share in ranked.firsts[:_FIRSTS]:
        table.add_row(f"  {was}", now, str(share.count))
    if ranked.firsts:
        yield table
    yield Text(f"Customers whose {kind}s come in another order: {_share(ranked.order)}")
    for words, products in (("now ruled out", ranked.out), ("no longer ruled out", ranked.back)):
        named = [f"{name} for {count}" for name, count in list(products.items())[:_FIRSTS]]
        more = f" and {len(products) - _FIRSTS} more" if len(products) > _FIRSTS else ""
        if named:
            yield Text(f"{kind.capitalize()}s {words}: {', '.join(named)}{more}")


def difference_json(found: RulebookDifference) -> dict[str, Any]:
    """The comparison as plain data; fields as in `RulebookDifference`, and every edit as a line."""
    return {"said": [one.words for one in found.edits], **asdict(found)}
