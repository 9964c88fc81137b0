"""The normal form every engine runs: a rule as two disjunctions of constant comparisons.

A rule's condition is three-valued. Its normal form has one disjunction that is satisfied
exactly when the condition is true and one exactly when it is false; when neither is, the
condition is unknown. A literal over a missing fact satisfies nothing. How two numbers are compared
stands in one table, for conditions and for needs.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal, NamedTuple, TypeAlias

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


# Named tuples, because terms are hashed and compared more than anything else.
class Number(NamedTuple):
    """A numeric fact compared with a constant; `limit` is the id the constant came from."""

    fact: str
    op: Op
    value: float
    limit: str = ""

    def negated(self) -> Number:
        """The literal that is true where this one is false."""
        return Number(self.fact, OPS[self.op].opposite, self.value, self.limit)

    def holds(self, value: float) -> bool:
        """Whether `value` satisfies the comparison."""
        return bool(OPS[self.op].holds(value, self.value))


class Word(NamedTuple):
    """A word fact that has one of `values`; its vocabulary is closed."""

    fact: str
    values: frozenset[str]


Term: TypeAlias = Number | Word
Conjunction: TypeAlias = tuple[Term, ...]
Disjunction: TypeAlias = tuple[Conjunction, ...]
Facts: TypeAlias = Mapping[str, float | str]


def term_key(term: Term) -> tuple[str, str]:
    """A key that orders terms the same way in every run."""
    if isinstance(term, Number):
        return (term.fact, f"{term.op}{term.value!r}")
    return (term.fact, ",".join(sorted(term.values)))


def conjoin(parts: Iterable[Term]) -> Conjunction | None:
    """Join terms into one conjunction, merged and ordered; None when it can never hold."""
    words: dict[str, frozenset[str]] = {}
    numbers: dict[tuple[str, str], Number] = {}
    for term in parts:
        if isinstance(term, Word):
            values = words.get(term.fact, term.values) & term.values
            if not values:
                return None
            words[term.fact] = values
        else:
            _tighten(numbers, term)
    terms: list[Term] = [Word(fact, values) for fact, values in words.items()]
    terms += numbers.values()
    return None if _empty(numbers) else tuple(sorted(terms, key=term_key))


def _tighten(numbers: dict[tuple[str, str], Number], term: Number) -> None:
    """Keep the stricter of two bounds on the same side of the same fact."""
    side = "lower" if OPS[term.op].lower else "upper"
    held = numbers.get((term.fact, side))
    if held is None or _stricter(term, held):
        numbers[(term.fact, side)] = term


def _stricter(one: Number, other: Number) -> bool:
    if one.value == other.value:
        return "=" in OPS[other.op].sign and "=" not in OPS[one.op].sign
    return (one.value > other.value) == OPS[one.op].lower


def _empty(numbers: Mapping[tuple[str, str], Number]) -> bool:
    for (fact, side), lower in numbers.items():
        upper = numbers.get((fact, "upper")) if side == "lower" else None
        if upper is None:
            continue
        strict = lower.op == "gt" or upper.op == "lt"
        if lower.value > upper.value or (lower.value == upper.value and strict):
            return True
    return False


def without_covered(conjunctions: Iterable[Conjunction]) -> Disjunction:
    """Drop conjunctions that another, shorter one already covers; order is made stable."""
    kept: list[Conjunction] = []
    for one in sorted(set(conjunctions), key=lambda c: (len(c), [term_key(t) for t in c])):
        if not any(set(other) <= set(one) for other in kept):
            kept.append(one)
    return tuple(kept)


def satisfied(terms: Conjunction, facts: Facts) -> bool:
    """Whether every term holds on `facts`; a missing fact satisfies nothing."""
    return all(term_holds(term, facts) for term in terms)


def term_holds(term: Term, facts: Facts) -> bool:
    """Whether one term holds on `facts`."""
    value = facts.get(term.fact)
    if value is None:
        return False
    if isinstance(term, Number):
        return term.holds(float(value))
    return value in term.values
