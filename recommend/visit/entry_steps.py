"""One step of a guided entry: what is asked, what may answer it, where the answer belongs."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from recommend.dataclass import dataclass
from recommend.visit.answers import Kind
from recommend.visit.tree import Path, Tree, drop, get


def _always(_tree: Tree) -> bool:
    return True


def _nothing(_tree: Tree) -> str | None:
    return None


@dataclass(frozen=True, slots=True)
class Step:
    """One question.

    Attributes
    ----------
    id : what it is called at the command line, such as ``talar-head.left``.
    block : the part of the fitting it belongs to; a block ends with one line of what is known.
    ask : the question, one line.
    kind : what may answer it.
    path : where the answer stands in the visit file.
    help : what '?' shows.
    reminder : lines shown with the question.
    asked_if : whether it is asked at all, from what was answered so far.
    shown : the answer that stands, in words, where it stands in several places.
    usual : the answer that Enter gives when nothing was answered yet; None for none.
    absorb : for an answer that fills many places at once, such as a capture file: the data with
        it in them, and what was done in words. Such a step is asked until it is left out.
    fill : for an answer that fills some places at once, such as both feet; it is asked once.
    emptied : takes the answer out of the data, where it stands in several places.
    feeds : the measures that its answer can give; it is passed over where none of them can still
        change the outcome. Empty for what is always asked.
    short : what it is about, where the question itself does not say it in a few words.
    """

    id: str
    block: str
    ask: str
    kind: Kind
    path: Path
    help: str
    reminder: tuple[str, ...] = ()
    asked_if: Callable[[Tree], bool] = _always
    usual: Callable[[Tree], str | None] = _nothing
    absorb: Callable[[Tree, Any], tuple[Tree, str]] | None = None
    fill: Callable[[Tree, Any], tuple[Tree, str]] | None = None
    shown: Callable[[Tree], str | None] | None = None
    emptied: Callable[[Tree], None] | None = None
    feeds: frozenset[str] = frozenset()
    short: str = ""

    @property
    def called(self) -> str:
        """What it is about, in a few words, where it is named among others."""
        words = self.short or self.ask
        words = re.sub(
            r"^(LEFT|RIGHT): |, left and right\??$|, (degrees|percent) .*|\?$", "", words
        )
        return words[:1].lower() + words[1:] if words[1:2].islower() else words

    @property
    def always_asked(self) -> bool:
        """Whether it is asked whatever was answered before."""
        return self.asked_if is _always

    def standing(self, tree: Tree) -> str | None:
        """The answer that stands, as the fitter would write it; None when there is none."""
        if self.shown is not None:
            return self.shown(tree)
        value = get(tree, self.path) if self.absorb is None else None
        return None if value is None else self.kind.show(value)

    @property
    def stem(self) -> str:
        """What it is called without its side: ``foot-length`` of ``foot-length.left``."""
        return self.id.partition(".")[0]

    def empty(self, tree: Tree) -> None:
        """Take the answer out of `tree`, if it is there."""
        if self.emptied is not None:
            self.emptied(tree)
        else:
            drop(tree, self.path)
