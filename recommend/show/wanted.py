"""What a pair should be, in a fitter's words: ``insole: no wedge, soft under the heel``."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from recommend.match.needs import Need, level_words
from recommend.rulebook.book import Rulebook
from recommend.rulebook.comparisons import COMPARISONS, opposite

_PARTS = {"insole": "insole", "shoe": "shoe", "pair": "together"}


@dataclass(frozen=True, slots=True)
class Want:
    """One thing that is wanted of a part; `weight` is infinite where it binds."""

    part: str
    words: str
    weight: float


def wanted(needs: Iterable[Need], book: Rulebook) -> list[Want]:
    """What is wanted, once for each attribute: what binds as a range, else the strongest wish."""
    by_attribute: dict[str, list[Need]] = {}
    for need in needs:
        by_attribute.setdefault(need.attribute, []).append(need)
    found = [_want(attribute, asked, book) for attribute, asked in by_attribute.items()]
    return sorted(found, key=lambda want: -want.weight)


def wants_line(wants: Sequence[Want], count: int) -> str:
    """The first `count` wants by part, and how many more there are."""
    shown = wants[:count]
    by_part = (
        (words, ", ".join(want.words for want in shown if want.part == part))
        for part, words in _PARTS.items()
    )
    more = len(wants) - len(shown)
    rest = f"; {more} more" if more else ""
    return "; ".join(f"{part}: {words}" for part, words in by_part if words) + rest


def _want(attribute: str, asked: Sequence[Need], book: Rulebook) -> Want:
    part = attribute.partition(".")[0]
    binding = [need for need in asked if need.strength != "prefer"]
    if binding:
        return Want(part, _range_words(attribute, _range(binding), book), math.inf)
    wish = max(asked, key=lambda need: need.weight)
    return Want(part, wish_words(wish, book), wish.weight)


def _range(binding: Iterable[Need]) -> tuple[float, float]:
    """The lowest and the highest level that every binding need allows."""
    low, high = -math.inf, math.inf
    for need in binding:
        comparison = need.comparison if need.strength == "must" else opposite(need.comparison)
        if COMPARISONS[comparison].lower:
            low = max(low, need.target)
        else:
            high = min(high, need.target)
    return low, high


def _range_words(attribute: str, bounds: tuple[float, float], book: Rulebook) -> str:
    low, high = bounds
    name = book.attributes[attribute].short
    if (low, high) == (0, 0) and not book.attributes[attribute].scale:
        return f"no {name}"
    if math.isinf(high):
        return _at(attribute, low, "or more", book)
    if math.isinf(low):
        return _at(attribute, high, "or less", book)
    if low == high:
        return f"{name} {level_words(attribute, low, book)}"
    return f"{name} {level_words(attribute, low, book)} to {level_words(attribute, high, book)}"


def wish_words(need: Need, book: Rulebook) -> str:
    """One need: ``soft heel cushioning``, ``heel cup 14 mm or more``, ``made for running``."""
    if need.strength == "never":
        return _range_words(need.attribute, _range([need]), book)
    more = COMPARISONS[need.comparison].lower
    return _at(need.attribute, need.target, "or more" if more else "or less", book)


def _at(attribute: str, level: float, more: str, book: Rulebook) -> str:
    """A level of an attribute; at the end of its scale there is no more and no less."""
    definition = book.attributes[attribute]
    scale = list(definition.scale or ())
    if scale == ["no", "yes"]:
        return definition.title if level >= 1 else f"not {definition.title}"
    end = 0 if more == "or less" else len(scale) - 1
    if scale and round(level) == end:
        return f"{level_words(attribute, level, book)} {definition.short}"
    return f"{definition.short} {level_words(attribute, level, book)} {more}"
