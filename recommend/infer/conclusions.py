"""What an engine says of one foot, and what every engine does alike with facts and axes."""

from __future__ import annotations

from collections.abc import Mapping

from recommend.dataclass import dataclass
from recommend.errors import RecommendError
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.compiling import LARGEST
from recommend.rulebook.models import AxisThen
from recommend.rulebook.naming import DECIMALS
from recommend.rulebook.terms import Facts
from recommend.rulebook.vocabulary import about

Truth = bool | None


class ContradictionError(RecommendError):
    """Two rules conclude different values of one axis for the same foot."""


@dataclass(frozen=True, slots=True)
class Conclusions:
    """What the rulebook says of one foot.

    Attributes
    ----------
    truth : by rule id, True, False or None (could not be decided).
    facts : the facts given, and those concluded.
    axes : by axis, its value or None (undetermined).
    """

    truth: Mapping[str, Truth]
    facts: Mapping[str, float | str]
    axes: Mapping[str, str | None]


def settle(rules: tuple[CompiledRule, ...], truth: Mapping[str, Truth]) -> dict[str, str]:
    """Values that the true rules conclude, by axis.

    Raises
    ------
    ContradictionError
        If two true rules conclude different values of one axis; it names both.
    """
    concluded: dict[str, tuple[str, CompiledRule]] = {}
    for rule in rules:
        then = rule.rule.then
        if not isinstance(then, AxisThen) or not truth.get(rule.id):
            continue
        before = concluded.get(then.axis)
        if before and before[0] != then.value:
            raise contradiction(before[1], rule)
        concluded[then.axis] = (then.value, rule)
    return {axis: value for axis, (value, _) in concluded.items()}


def contradiction(one: CompiledRule, other: CompiledRule) -> ContradictionError:
    """The error for two rules that conclude different values of one axis for the same foot."""
    first, second = one.rule.then, other.rule.then
    assert isinstance(first, AxisThen)
    assert isinstance(second, AxisThen)
    return ContradictionError(
        f"rules `{one.id}` ({one.place}) and `{other.id}` ({other.place}) contradict each other: "
        f"axis `{first.axis}` is `{first.value}` and `{second.value}` for the same foot; "
        "make their conditions exclude each other"
    )


def last_stratum_of_axes(book: Rulebook) -> dict[str, int]:
    """The stratum after which an axis is settled."""
    last: dict[str, int] = {}
    for rule in book.rules:
        if isinstance(rule.rule.then, AxisThen):
            last[rule.rule.then.axis] = max(last.get(rule.rule.then.axis, 0), rule.stratum)
    return last


def checked_facts(facts: Facts, book: Rulebook) -> Facts:
    """`facts`, if every one is of the vocabulary and every number is as engines compare it.

    Raises
    ------
    RecommendError
        Otherwise.
    """
    for name, value in facts.items():
        if about(name).concluded:
            raise RecommendError(f"`{name}` is concluded by rules, it cannot be given")
        words = book.vocabulary.words.get(name)
        if words is not None:
            if value not in words:
                raise RecommendError(f"`{name}` is `{value}`; allowed: {', '.join(words)}")
        elif name not in book.vocabulary.numbers:
            raise RecommendError(f"no fact is called `{name}`")
        elif not _comparable(value):
            raise RecommendError(
                f"`{name}` is `{value!r}`; allowed: a decimal number from -{LARGEST:.0f} to "
                f"{LARGEST:.0f} with up to {DECIMALS} decimals"
            )
    return facts


def _comparable(value: object) -> bool:
    """Whether `value` is a float that every engine reads and compares alike (NaN is not)."""
    return isinstance(value, float) and abs(value) <= LARGEST and round(value, DECIMALS) == value
