"""An explained record, at the terminal and as one page: what it is, its derivation, how sure it is.

The page is self-contained HTML without a script, made to be printed.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from html import escape
from typing import Any

from recommend.errors import counted
from recommend.explain.node import Node
from recommend.match.outcome import Outcome
from recommend.match.sureness import HowSure
from recommend.match.telling import unplaced_words
from recommend.measure.model import SIDES, Side
from recommend.records.keeping import engine_kept
from recommend.records.replay import Replayed
from recommend.records.store import BEHIND, Record
from recommend.show.answer import Part, day_words, fitted
from recommend.show.labels import LEVEL_WORDS, SECTIONS, captured_doubts, first_choices
from recommend.show.lines import ScreenLine
from recommend.show.pages import document, style
from recommend.show.sure import change_lines, sure_data, sure_lines
from recommend.whatif import Effect, NearestChange

FORMAT = 2  # of the JSON; raised when a field changes its meaning or goes away


def head_lines(replayed: Replayed) -> Iterator[str]:
    """What the record is, and whether deriving it again gave the same."""
    record, book = replayed.record, replayed.outcome.book
    yield f"Record {record.seq}, kept {record.made_at}, SHA-256 {record.hash}"
    yield book.byline
    yield f"catalogue ({replayed.outcome.catalogue.digest[:12]})"
    made = ", ".join(f"{n} {v}" for n, v in record.head.get("versions", {}).items())
    yield f"made with {made}"
    yield from _by_lines(record.head)
    now = replayed.outcome.assessment.engine
    yield f"concluded by the engine {engine_kept(record)}, just now by {now}"
    if replayed.identical:
        yield "Derived again just now: identical, byte for byte."
    else:
        places = counted(len(replayed.differences), "place")
        yield f"DERIVED AGAIN JUST NOW, IT DIFFERS in {places}: see `recommend replay`."


_HEEDS = {
    "tried": "The order heeds what was tried on at this visit.",
    "learned": "The order heeds effects learned from the shop's own trials.",
}


def _by_lines(head: Mapping[str, Any]) -> Iterator[str]:
    """Who measured, what program kept it, what the order heeds, and a clock that was wrong."""
    measured = head.get("by", {}).get("measured")
    if "by" in head:
        yield f"measured by {measured or '(no code given)'}"
    if "program" in head:
        yield f"program SHA-256 {head['program'][:16]}"
    yield from (_HEEDS[one] for one in head.get("heeds", []) if one in _HEEDS)
    if head.get("clock") == BEHIND:
        yield "THE CLOCK WAS BEHIND: it says that it was made before the record that it follows."


_SHORTENED = ("made", "change", "notes", "feet", "first", "notes", "change", "notes")


@dataclass(frozen=True, slots=True)
class Explained:
    """A record derived again, and what is laid open of it.

    How `sure` it is and which `changes` are nearest is told of the whole alone.
    """

    replayed: Replayed
    tree: Node
    sure: HowSure | None = None
    changes: tuple[NearestChange, ...] = ()


def brief_lines(one: Explained, came: Iterable[tuple[Record, Any]], width: int) -> list[ScreenLine]:
    """The first screen: is it intact, by which rules, what was decided and why, how sure it is.

    `came` are the records of what came of it.
    """
    *parts, more = _brief(one)
    told = "; ".join(f"{event.head['event']} (record {event.seq})" for event, _ in came)
    shown = [*parts, *([Part("came", "Since", [[told]])] if told else []), more]
    return fitted(shown, _SHORTENED, width)


def _brief(one: Explained) -> Iterator[Part]:
    replayed, sure = one.replayed, one.sure
    record, outcome = replayed.record, replayed.outcome
    book, seen = outcome.book, outcome.assessment
    day = day_words(seen.visit.date)
    kept = f"visit {seen.visit.reference} of {day}, kept {record.made_at[:16].replace('T', ' ')}"
    yield Part("who", "Record", [[f"{record.seq}: {kept}"]])
    yield Part("intact", "Intact", [[_intact(replayed)]], "bold" if replayed.identical else "red")
    yield Part("rules", "Rules", [[f"{book.heading.name} {book.stamp}"]])
    goods = f"Catalogue {outcome.catalogue.digest[:12]}; record {record.hash[:12]}"
    yield Part("made", "", [[f"{goods}; concluded by {engine_kept(record)}"], [goods]])
    told = [f"{LEVEL_WORDS[n.level]}: {n.say} [rule {n.rule}]" for n in seen.notes]
    names = [f"{LEVEL_WORDS[n.level]}: rule {n.rule}" for n in seen.notes]
    none, count = ["no stop, no note"], f"{counted(len(names), 'note')}: --full"
    yield Part("notes", "Decided", [told or none, names or none, [count]])
    doubts = captured_doubts(seen.visit)
    yield Part("captured", "Doubt", [doubts, [counted(len(doubts), "doubt")]] if doubts else [])
    for side in SIDES:
        yield Part("feet", side.capitalize(), [[_kind(outcome, side, full)] for full in (1, 0)])
    yield Part("first", "First", [list(_first(outcome, full)) for full in (1, 0)])
    if sure is not None and outcome.shortlist is not None:
        types, first = 100 * sure.types_hold, 100 * sure.choice
        words = f"of 100 redraws the foot types hold in {types:.0f}, the first group in {first:.0f}"
        yield Part("sure", "Sure", [[words]])
        near = list(change_lines(one.changes, book))
        yield Part("change", "Nearest", [near[:2], near[:1], []] if near else [])
    name = record.seq
    yield Part(
        "more", "More",
        [[f"explain {name} --full (every step) | --rule ID | --product ID | --why-not ID",
          f"replay {name} | store verify | explain {name} --html FILE | --json"]],
    )  # fmt: skip


def _intact(replayed: Replayed) -> str:
    if replayed.identical:
        return "yes: derived again just now, identical, byte for byte"
    places = counted(len(replayed.differences), "place")
    return f"NO: derived again just now, it differs in {places}: see `recommend replay`"


def _kind(outcome: Outcome, side: Side, full: int) -> str:
    foot, book = outcome.assessment.feet[side], outcome.book
    if foot.foot_type is None:
        return "undetermined: no rule could decide the foot type"
    fired = counted(sum(truth is True for truth in foot.conclusions.truth.values()), "rule")
    title = f"{book.types[foot.foot_type].title} [{foot.foot_type}]"
    return f"{title}, {fired} fired" if full else title


def _first(outcome: Outcome, full: int) -> Iterator[str]:
    ranked = outcome.shortlist
    if ranked is None:
        yield "nothing: a stop withheld the shortlist"
    elif ranked.unplaced:
        yield f"nothing has a place yet: {unplaced_words(ranked)}"
    elif ranked.empty:
        yield "nothing suitable was in stock in this size"
    else:
        for letter, one in list(first_choices(outcome).items())[: 3 if full else 1]:
            yield f"{letter}  {one.title} [{one.id}]" if full else f"{letter}  {one.id}"


def explain_lines(one: Explained, width: int) -> Iterator[str]:
    """The whole explanation, at most `width` columns wide."""
    book = one.replayed.outcome.book
    yield from tree_lines(one.tree, width)
    if one.sure is not None:
        yield from _section("How sure", sure_lines(one.sure, book), width)
        title = "Nearest changes (one reading alone, smallest in standard errors first)"
        yield from _section(title, change_lines(one.changes, book), width)
    yield from _section("Before it is used", book.heading.cautions, width)
    yield from _section("What this was derived from", head_lines(one.replayed), width)


def _section(title: str, lines: Iterable[str], width: int) -> Iterator[str]:
    yield from ("", title)
    for line in lines:
        yield from _wrapped(line, width, "- ", "  ")


def _wrapped(line: str, width: int, first: str, rest: str) -> list[str]:
    return textwrap.wrap(
        line, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def explain_data(one: Explained) -> dict[str, Any]:
    """The same as plain data: what ``--json`` prints.

    Fields: ``record`` (number, SHA-256, kept-at, identical, engine, versions, documents), ``tree``
    (nodes of kind, text, truth, id, facts, children), ``how-sure`` and ``nearest-changes``
    (null with ``--rule``, ``--product`` and ``--why-not``), ``cautions``. The foot of a reading
    is null when one reading stands for both.
    """
    replayed, record = one.replayed, one.replayed.record
    return {
        "format": FORMAT,
        "record": {
            "number": record.seq,
            "sha256": record.hash,
            "kept-at": record.made_at,
            "identical": replayed.identical,
            "engine": engine_kept(record),
            "versions": dict(record.head.get("versions", {})),
            "documents": record.bodies,
        },
        "tree": one.tree.as_data(),
        "how-sure": None if one.sure is None else sure_data(one.sure),
        "nearest-changes": None if one.sure is None else [*map(_change_data, one.changes)],
        "cautions": list(replayed.outcome.book.heading.cautions),
    }


def _change_data(change: NearestChange) -> dict[str, Any]:
    return {
        "foot": change.side,
        "measure": change.measure,
        "unit": change.unit,
        "was": change.was,
        "value": change.value,
        "change": change.by,
        "change-in-errors": change.errors,
        "effects": [_effect_data(effect) for effect in change.effects],
    }


def _effect_data(effect: Effect) -> dict[str, str]:
    return {name: word for name, word in asdict(effect).items() if word or name != "level"}


_JUDGED = frozenset({"group", "comparison", "axis", "answer"})  # kinds whose truth is shown
_NARROWEST = 30


def tree_lines(top: Node, width: int) -> Iterator[str]:
    """Lines of at most `width` columns; what was laid open once is named again, not repeated."""
    return _Tree(width).lines(top, "", "")


class _Tree:
    def __init__(self, width: int) -> None:
        self.width = width
        self.seen: set[str] = set()

    def lines(self, node: Node, first: str, rest: str) -> Iterator[str]:
        """`first` stands before the node's own text, `rest` before everything below it."""
        again = node.once and node.text in self.seen
        self.seen.add(node.text)
        text = (_marked(node) + " (laid open above)") if again else _marked(node)
        hang = rest + ("| " if node.children and not again else "  ")
        width = max(self.width, len(hang) + _NARROWEST)
        yield from _wrapped(text, width, first, hang)
        if again:
            return
        for number, child in enumerate(node.children, start=1):
            last = number == len(node.children)
            yield from self.lines(child, rest + "+-", rest + ("  " if last else "| "))


def _marked(node: Node) -> str:
    return f"[{_MARKS[node.truth][0]}] {node.text}" if node.kind in _JUDGED else node.text


_COLUMNS = 96  # of the screen that is shown
_MARKS = {True: ("yes", "yes"), False: ("no", "no"), None: ("?", "unknown")}


def explain_page(one: Explained) -> str:
    """The whole explanation as one HTML document."""
    replayed, book = one.replayed, one.replayed.outcome.book
    title = f"Record {replayed.record.seq}: where each word came from"
    parts = [f"<h1>{escape(title)}</h1>", *_again(replayed), *_shown(replayed)]
    parts += ["<h2>The record</h2>", *_identity(replayed)]
    parts += ["<h2>Derivation</h2>", '<ul class="tree">', *_Items().item(one.tree), "</ul>"]
    if one.sure is not None:
        parts += _list("How sure", sure_lines(one.sure, book))
        parts += _list("Nearest changes, one reading alone", change_lines(one.changes, book))
    parts += _list("Before it is used", book.heading.cautions)
    return document(title, style("explain.css"), "\n".join(["<main>", *parts, "</main>"]))


def _again(replayed: Replayed) -> Iterator[str]:
    """Whether it comes out again as it was kept: before anything that leans on it."""
    mark = "" if replayed.identical else ' class="differs"'
    *_, last = head_lines(replayed)
    yield f"<p{mark}>{escape(last)}</p>"


def _identity(replayed: Replayed) -> Iterator[str]:
    """Hashes and versions."""
    *lines, _ = head_lines(replayed)
    yield '<p class="head">' + "<br>".join(escape(line) for line in lines) + "</p>"


def _shown(replayed: Replayed) -> Iterator[str]:
    """The visit, its readings and the shortlist, as the terminal shows all of it."""
    from rich.console import Console  # seldom asked for

    from recommend.show.shortlist import section_blocks

    screen = io.StringIO()
    out = Console(file=screen, width=_COLUMNS, no_color=True, highlight=False, emoji=False)
    for block in section_blocks(replayed.outcome, SECTIONS, _COLUMNS):
        out.print(block)
    lines = "\n".join(line.rstrip() for line in screen.getvalue().splitlines())
    yield "<h2>The visit, and what was shown</h2>"
    yield f"<pre>{escape(lines)}</pre>"


def _list(title: str, lines: Iterable[str]) -> Iterator[str]:
    yield f"<h2>{escape(title)}</h2>\n<ul>"
    yield from (f"<li>{escape(line)}</li>" for line in lines)
    yield "</ul>"


class _Items:
    """Nested lists; what was laid open once is linked, not repeated."""

    def __init__(self) -> None:
        self.anchors: dict[str, str] = {}

    def item(self, node: Node) -> Iterator[str]:
        again = node.once and node.text in self.anchors
        text = f'<span class="text">{escape(node.text)}</span>'
        if again:
            link = f'<a class="again" href="#{self.anchors[node.text]}">laid open above</a>'
            yield f'<li class="{node.kind}">{_truth(node)}{text} ({link})</li>'
            return
        anchor = ""
        if node.once:
            self.anchors[node.text] = f"n{len(self.anchors) + 1}"
            anchor = f' id="{self.anchors[node.text]}"'
        yield f'<li class="{node.kind}"{anchor}>{_truth(node)}{text}'
        if node.children:
            yield "<ul>"
            for child in node.children:
                yield from self.item(child)
            yield "</ul>"
        yield "</li>"


def _truth(node: Node) -> str:
    if node.kind not in _JUDGED:
        return ""
    word, style = _MARKS[node.truth]
    return f'<span class="truth {style}">{word}</span>'
