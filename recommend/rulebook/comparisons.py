"""How two numbers are compared: the one table of comparisons, for conditions and for needs."""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any, Literal

from recommend.dataclass import dataclass

Op = Literal["gt", "ge", "lt", "le"]
Comparison = Literal["at-least", "at-most", "above", "below"]


@dataclass(frozen=True, slots=True)
class Compared:
    """One way of comparing a number with a constant.

    Attributes
    ----------
    op, word : its name in normal forms, and in the files of a rulebook.
    sign, words : as a sign, and in words: ``more than``.
    holds : whether it holds of a number (or of each of an array) and a constant.
    opposite : the one that holds exactly where this does not.
    edge : the same with the constant itself on the other side.
    lower : whether the constant bounds from below.
    """

    op: Op
    word: Comparison
    sign: str
    words: str
    holds: Callable[[Any, Any], Any]
    opposite: Op
    edge: Op
    lower: bool


_ALL = (
    Compared("gt", "above", ">", "more than", operator.gt, "le", "ge", True),
    Compared("ge", "at-least", ">=", "at least", operator.ge, "lt", "gt", True),
    Compared("lt", "below", "<", "less than", operator.lt, "ge", "le", False),
    Compared("le", "at-most", "<=", "at most", operator.le, "gt", "lt", False),
)
OPS: dict[Op, Compared] = {one.op: one for one in _ALL}
COMPARISONS: dict[Comparison, Compared] = {one.word: one for one in _ALL}


def opposite(word: Comparison) -> Comparison:
    """The comparison that holds exactly where `word` does not."""
    return OPS[COMPARISONS[word].opposite].word
