"""An explained record as one page: self-contained HTML, no script, made to be printed."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from html import escape

from rich.console import Console

from recommend.explain.node import Node
from recommend.match.sureness import HowSure
from recommend.records.replay import Replayed
from recommend.show.explain import head_lines, judged
from recommend.show.figures import SECTIONS
from recommend.show.shortlist import section_blocks
from recommend.show.sure import change_lines, sure_lines
from recommend.whatif import Change

_STYLE = """
:root { color-scheme: light }
body { font: 15px/1.45 system-ui, sans-serif; color: #1a1a1a; background: #fff;
       max-width: 62rem; margin: 2rem auto; padding: 0 1rem }
h1 { font-size: 1.5rem; margin: 0 0 .5rem } h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem }
.head { font-size: .9rem; overflow-wrap: anywhere }
pre { font: 12px/1.35 ui-monospace, monospace; overflow-x: auto; padding: .5rem;
      border: 1px solid #b9b9b9 }
.differs { border: 2px solid #8a1c00; padding: .4rem .6rem; font-weight: 700 }
ul.tree, ul.tree ul { list-style: none; margin: 0; padding: 0 0 0 1.1rem;
                      border-left: 1px solid #b9b9b9 }
ul.tree { border: 0; padding: 0 } ul.tree li { margin: .12rem 0; overflow-wrap: anywhere }
.rule > .text, .product > .text, .note > .text { font-weight: 600 }
.source > .text, .remark > .text, .capture > .text, .basis > .text { color: #4a4a4a }
.truth { display: inline-block; min-width: 1.9rem; margin-right: .35rem; padding: 0 .25rem;
         border: 1px solid currentColor; border-radius: .2rem; font-size: .8rem;
         text-align: center }
.yes { color: #14532d } .no { color: #7c2d12 } .unknown { color: #1e3a8a; border-style: dashed }
.again { font-style: italic }
@media print { body { margin: 0; max-width: none; font-size: 9.5pt }
               h2 { break-after: avoid } li { break-inside: auto } @page { margin: 14mm } }
"""
_COLUMNS = 96  # of the screen that is shown
_MARKS = {True: ("yes", "yes"), False: ("no", "no"), None: ("?", "unknown")}


def explain_page(
    replayed: Replayed, tree: Node, sure: HowSure | None, changes: tuple[Change, ...]
) -> str:
    """The whole explanation as one HTML document."""
    book = replayed.outcome.book
    title = f"Record {replayed.record.seq}: where each word came from"
    parts = [f"<h1>{escape(title)}</h1>", *_again(replayed), *_shown(replayed)]
    parts += ["<h2>The record</h2>", *_identity(replayed)]
    parts += ["<h2>Derivation</h2>", '<ul class="tree">', *_Items().item(tree), "</ul>"]
    if sure is not None:
        parts += _list("How sure", sure_lines(sure, book))
        parts += _list("Nearest changes, one reading alone", change_lines(changes, book))
    parts += _list("Before it is used", book.heading.cautions)
    body = "\n".join(parts)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{_STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )


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
    if not judged(node):
        return ""
    word, style = _MARKS[node.truth]
    return f'<span class="truth {style}">{word}</span>'
