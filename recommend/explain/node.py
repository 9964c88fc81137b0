"""A derivation as plain data: what was said, and below it what it was said from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

Kind = Literal[
    "shortlist", "product", "need", "note", "type", "rule", "group", "list", "comparison",
    "measure", "capture", "limit", "axis", "answer", "fact", "source", "basis", "remark",
]  # fmt: skip
Truth = bool | None

_ONCE = frozenset({"rule", "source", "limit", "measure"})


@dataclass(frozen=True, slots=True)
class Node:
    """One statement of a derivation.

    Attributes
    ----------
    kind : what sort of statement it is.
    text : the statement, in one line for people.
    truth : for a condition or rule: True, False or None (could not be decided); for any other
        statement True.
    id : the id of the rule, limit, measure, source or product, or ''.
    facts : the numbers behind the text, for programs: value, unit, limit, margin.
    children : what it rests on.
    """

    kind: Kind
    text: str
    truth: Truth = True
    id: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict)
    children: tuple[Node, ...] = ()

    @property
    def once(self) -> bool:
        """Whether it may recur in a tree, and is then laid open only where it is first met."""
        return self.kind in _ONCE and bool(self.children)

    def as_data(self) -> dict[str, Any]:
        """The node and everything below it as plain JSON data; empty parts are left out."""
        word = {True: "true", False: "false", None: "unknown"}[self.truth]
        data: dict[str, Any] = {"kind": self.kind, "text": self.text, "truth": word}
        if self.id:
            data["id"] = self.id
        if self.facts:
            data["facts"] = dict(self.facts)
        if self.children:
            data["children"] = [child.as_data() for child in self.children]
        return data

    def cut(self, depth: int) -> Node:
        """The same with `depth` levels below it; where more is left out, how much is said."""
        if depth:
            return replace(self, children=tuple(child.cut(depth - 1) for child in self.children))
        below = sum(1 for _ in self.walk()) - 1
        return (
            replace(self, text=f"{self.text} [{below} more below]", children=()) if below else self
        )

    def walk(self) -> Iterator[Node]:
        """Itself and all below it, from the top."""
        yield self
        for child in self.children:
            yield from child.walk()
