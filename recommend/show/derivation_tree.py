"""A derivation as an indented tree of plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from recommend.explain.node import Node

_MARK = {True: "yes", False: "no", None: "?"}
_JUDGED = frozenset({"group", "comparison", "axis", "answer"})  # kinds whose truth is shown
_NARROWEST = 30


def tree_lines(top: Node, width: int) -> Iterator[str]:
    """Lines of at most `width` columns; what was laid open once is named again, not repeated."""
    yield from _Tree(width).lines(top, "", "")


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
        yield from textwrap.wrap(
            text, width, initial_indent=first, subsequent_indent=hang, break_on_hyphens=False
        )
        if again:
            return
        for number, child in enumerate(node.children, start=1):
            last = number == len(node.children)
            yield from self.lines(child, rest + "+-", rest + ("  " if last else "| "))


def judged(node: Node) -> bool:
    """Whether a node is shown with its truth."""
    return node.kind in _JUDGED


def _marked(node: Node) -> str:
    return f"[{_MARK[node.truth]}] {node.text}" if judged(node) else node.text
