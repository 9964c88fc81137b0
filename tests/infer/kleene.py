"""Rules as they are written, evaluated the slow and plain way: a check of the normal form.

Strong three-valued logic (Kleene 1952, Introduction to Metamathematics, section 64): a
conjunction is the least of its parts and a disjunction the greatest, with
false < unknown < true. Nothing here reads a compiled form.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from recommend.rulebook.book import Rulebook
from recommend.rulebook.conditions import (
    AllOf,
    AnyOf,
    Condition,
    NoneOf,
    OfAnswer,
    OfAxis,
    OfMeasure,
    OfPain,
    OfVisit,
)
from recommend.rulebook.models import AxisThen, Limit

Truth = bool | None
Facts = Mapping[str, float | str]
_RANK = {False: 0, None: 1, True: 2}


def least(parts: Iterable[Truth]) -> Truth:
    """Conjunction."""
    return min(parts, key=_RANK.__getitem__)


def greatest(parts: Iterable[Truth]) -> Truth:
    """Disjunction."""
    return max(parts, key=_RANK.__getitem__)


def opposite(truth: Truth) -> Truth:
    """Negation; unknown stays unknown."""
    return None if truth is None else not truth


def truth_of(
    condition: Condition, facts: Facts, axes: Mapping[str, str | None], limits: Mapping[str, Limit]
) -> Truth:
    """Truth of a condition as written; `axes` has None where an axis is undetermined."""

    def parts(conditions: list[Condition]) -> list[Truth]:
        return [truth_of(one, facts, axes, limits) for one in conditions]

    if isinstance(condition, AllOf):
        return least(parts(condition.all))
    if isinstance(condition, AnyOf):
        return greatest(parts(condition.any))
    if isinstance(condition, NoneOf):
        return opposite(greatest(parts(condition.none)))
    if isinstance(condition, OfAxis):
        return _of_axis(condition, axes[condition.axis])
    if isinstance(condition, OfMeasure):
        return _of_measure(condition, facts, limits)
    if isinstance(condition, OfAnswer):
        if condition.is_ == "not-answered":
            return f"answer_{condition.answer}" not in facts
        return _among(facts.get(f"answer_{condition.answer}"), [condition.is_])
    if isinstance(condition, OfPain):
        return _among(facts.get(f"pain_{condition.pain}"), [condition.is_])
    assert isinstance(condition, OfVisit)
    return _among(facts.get(f"visit_{condition.visit}"), condition.is_)


def _of_measure(condition: OfMeasure, facts: Facts, limits: Mapping[str, Limit]) -> Truth:
    if condition.limit is not None:
        return _against(condition, facts, limits[condition.limit])
    if condition.is_ == ["not-measured"]:
        return facts[f"known_{condition.measure}"] == "no"
    return _among(facts.get(condition.measure), condition.is_)


def _among(word: float | str | None, words: list[str]) -> Truth:
    return None if word is None else word in words


def _of_axis(condition: OfAxis, value: str | None) -> Truth:
    words = condition.is_ or condition.is_not or []
    if value is None and "undetermined" not in words:
        return None  # neither this value nor any other
    truth = value is None or value in words
    return truth if condition.is_ else opposite(truth)


def _against(condition: OfMeasure, facts: Facts, limit: Limit) -> Truth:
    """A reading against the one value of a limit that is meant for its qualifiers, if any is."""
    meant = [
        one.value
        for one in limit.values
        if all(facts.get(f"{condition.measure}_{q}") == word for q, word in one.where.items())
    ]
    if condition.measure not in facts or not meant:
        return None
    (bound,) = meant
    reading, low, high = (float(facts[condition.measure + end]) for end in ("", "_low", "_high"))
    return {
        "above": reading > bound,
        "at-least": reading >= bound,
        "below": reading < bound,
        "at-most": reading <= bound,
        "clearly-above": low > bound,
        "clearly-below": high < bound,
    }[condition.is_[0]]


class PlainFoot:
    """One foot through a whole rulebook, by recursion from rule to axis to rule."""

    def __init__(self, book: Rulebook, facts: Facts) -> None:
        self.book, self.facts = book, facts
        self._axes: dict[str, str | None] = {}

    def truth(self, rule_id: str) -> Truth:
        """Whether a rule is true, false or unknown."""
        when = self.book.by_id[rule_id].rule.when
        return truth_of(when, self.facts, _Lazy(self), self.book.limits)

    def axis(self, axis: str) -> str | None:
        """The value of an axis; None when no rule that concludes it is true."""
        if axis not in self._axes:
            values = {
                rule.rule.then.value
                for rule in self.book.rules
                if isinstance(rule.rule.then, AxisThen)
                and rule.rule.then.axis == axis
                and self.truth(rule.id)
            }
            assert len(values) <= 1, (axis, values)
            self._axes[axis] = values.pop() if values else None
        return self._axes[axis]


class _Lazy(dict[str, "str | None"]):
    """Axes that are worked out when they are asked for."""

    def __init__(self, foot: PlainFoot) -> None:
        super().__init__()
        self._foot = foot

    def __missing__(self, axis: str) -> str | None:
        return self._foot.axis(axis)
