"""Conditions and conclusions in words: short, as they are written, and long, as they are read."""

from __future__ import annotations

from collections.abc import Iterator

from recommend.rulebook.book import Rulebook
from recommend.rulebook.compiling import Leaf
from recommend.rulebook.conditions import (
    NOT_ANSWERED,
    NOT_MEASURED,
    ORDERS,
    UNDETERMINED,
    Condition,
    Group,
    OfAnswer,
    OfAxis,
    OfMeasure,
    OfNote,
    OfPain,
)
from recommend.rulebook.models import AxisThen, Limit, NeedsThen, NeedThen, NoteThen
from recommend.rulebook.terms import COMPARISONS

_LONG = {
    "above": "is above", "at-least": "is at least", "below": "is below", "at-most": "is at most",
    "clearly-above": "is above, by more than its error,",
    "clearly-below": "is below, by more than its error,",
}  # fmt: skip
_GROUPS = {
    "all": "all of these:",
    "any": "at least one of these:",
    "none": "none of these (each known to be false):",
}
_KINDS = {
    "published": "published",
    "derived": "derived from published figures",
    "common-practice": "common practice",
    "from-memory": "from memory, to be verified",
    "assumption": "an assumption of ours",
}
_UNITS = {"deg": "°", "ratio": "", "score": "", "percent": " %"}


def kind_words(kind: str, *, sourced: bool = True) -> str:
    """What stands behind a statement or figure; custom without a source says so."""
    unsourced = kind == "common-practice" and not sourced
    return _KINDS[kind] + (", no source" if unsourced else "")


def code(condition: Condition) -> str:
    """A condition in one line, in the words of the file."""
    if isinstance(condition, Group):
        return f"{condition.key} of (" + "; ".join(map(code, condition.parts)) + ")"
    if isinstance(condition, OfMeasure):
        limit = f" {condition.limit}" if condition.limit else ""
        return f"{condition.measure} {' or '.join(condition.is_)}{limit}"
    if isinstance(condition, OfAxis):
        verb = "is" if condition.is_ else "is not"
        return f"{condition.axis} {verb} {' or '.join(condition.is_ or condition.is_not or ())}"
    if isinstance(condition, OfAnswer):
        verb = "" if condition.is_ == NOT_ANSWERED else "answered "
        return f"{condition.answer} {verb}{condition.is_}"
    if isinstance(condition, OfPain):
        return f"pain at {condition.pain} {condition.is_}"
    if isinstance(condition, OfNote):
        return f"note {condition.note}"
    return f"{condition.visit} {' or '.join(condition.is_)}"


def sentence_lines(condition: Condition, book: Rulebook, depth: int = 0) -> Iterator[str]:
    """A condition as an indented list to be read, one comparison a line."""
    pad = "  " * depth
    if not isinstance(condition, Group):
        yield f"{pad}- {_leaf_words(condition, book)}" if depth else _leaf_words(condition, book)
        return
    yield f"{pad}{_GROUPS[condition.key]}"
    for part in condition.parts:
        yield from sentence_lines(part, book, depth + 1)


def _leaf_words(leaf: Leaf, book: Rulebook) -> str:
    if isinstance(leaf, OfMeasure):
        name = book.measures[leaf.measure].title
        if leaf.is_[0] in ORDERS:
            limit = book.limits[str(leaf.limit)]
            return f"{name} {_LONG[leaf.is_[0]]} {limit_words(limit)} ({leaf.limit})"
        return f"{name} {'was not taken' if leaf.is_ == [NOT_MEASURED] else 'is ' + _or(leaf.is_)}"
    if isinstance(leaf, OfAxis):
        axis = book.axes[leaf.axis]
        words = [w if w == UNDETERMINED else axis.values[w] for w in leaf.is_ or leaf.is_not or ()]
        return f"{axis.title}: {'' if leaf.is_ else 'not '}{_or(words)}"
    if isinstance(leaf, OfAnswer):
        answered = "not answered" if leaf.is_ == NOT_ANSWERED else f"answered {leaf.is_}"
        return f"'{book.questions[leaf.answer].ask}' is {answered}"
    if isinstance(leaf, OfPain):
        return f"pain at the {leaf.pain.replace('-', ' ')} of this side: {leaf.is_}"
    assert not isinstance(leaf, OfNote)
    return f"{leaf.visit.replace('-', ' ')} is {_or(leaf.is_)}"


def _or(words: list[str]) -> str:
    return " or ".join(words)


def limit_words(limit: Limit) -> str:
    """The values of a limit with its unit, and which readings each is meant for."""
    unit = _UNITS.get(limit.unit, f" {limit.unit}")
    parts = []
    for value in limit.values:
        where = " from ".join(value.where.values())
        parts.append(f"{value.value:g}{unit}" + (f" ({where})" if where else ""))
    return " or ".join(parts)


def then_lines(then: AxisThen | NoteThen | NeedsThen, book: Rulebook) -> Iterator[str]:
    """A conclusion to be read, one statement a line."""
    if isinstance(then, AxisThen):
        axis = book.axes[then.axis]
        yield f"{axis.title}: {axis.values[then.value]} ({then.axis} = {then.value})"
    elif isinstance(then, NoteThen):
        level = {"stop": "STOP, no shortlist", "see-clinician": "see a clinician",
                 "caution": "caution"}[then.note]  # fmt: skip
        yield f"{level}: {then.say}"
    else:
        for need in then.needs:
            yield need_line(need, book)


def need_line(need: NeedThen, book: Rulebook) -> str:
    """A need to be read."""
    attribute = book.attributes[need.attribute]
    how = COMPARISONS[need.is_].words
    strength = {"must": "must be", "never": "must never be"}.get(
        need.strength, f"is wished ({need.weight}) to be"
    )
    if need.level is not None:
        target = attribute.scale[need.level]
    else:
        target = limit_words(book.limits[str(need.limit)])
    thing = need.attribute.partition(".")[0]
    return f"{thing}: {attribute.title} {strength} {how} {target}"
