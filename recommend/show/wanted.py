"""What a pair should be, in a fitter's words: ``insole: no wedge, soft under the heel``."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from recommend.dataclass import dataclass
from recommend.match.needs import Need, bound_words, level_words
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import COMPARISONS, Comparison, opposite

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
    for need in (one for one in needs if not book.attributes[one.attribute].unsaid):
        by_attribute.setdefault(need.attribute, []).append(need)
    said = (name for name in by_attribute if not _follows(name, by_attribute, book))
    found = [(_of_fit(name, book), _want(name, by_attribute[name], book)) for name in said]
    return [want for _, want in sorted(found, key=lambda one: (one[0], -one[1].weight))]


def _of_fit(attribute: str, book: Rulebook) -> bool:
    """Whether it is about fit or purpose, which every shoe is looked at for and goes last here."""
    definition = book.attributes[attribute]
    return definition.about == "fit" or definition.yes_no


def _follows(attribute: str, asked: Mapping[str, Sequence[Need]], book: Rulebook) -> bool:
    """Whether a bound on a sum follows from those on its parts, so that it need not be said."""
    parts = book.attributes[attribute].sum_of
    if not parts or not all(part in asked for part in parts):
        return False
    bounds = [_range([n for n in asked[part] if n.strength != "prefer"]) for part in parts]
    low, high = (sum(bound[end] for bound in bounds) for end in (0, 1))
    least, most = _range([n for n in asked[attribute] if n.strength != "prefer"])
    return low >= least and high <= most


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
    name = _name(attribute, book)
    if (low, high) == (0, 0) and not book.attributes[attribute].scale:
        return f"no {name}"
    if math.isinf(high):
        return _at(attribute, "at-least", low, book)
    if math.isinf(low):
        return _at(attribute, "at-most", high, book)
    if low == high:
        return f"{name} {level_words(attribute, low, book)}"
    return f"{name} {level_words(attribute, low, book)} to {level_words(attribute, high, book)}"


def wish_words(need: Need, book: Rulebook) -> str:
    """One need: ``soft heel cushioning``, ``heel cup 14 mm or more``, ``made for running``."""
    if need.strength == "never":
        return _range_words(need.attribute, _range([need]), book)
    return _at(need.attribute, need.comparison, need.target, book)


def _at(attribute: str, comparison: Comparison, level: float, book: Rulebook) -> str:
    """An attribute and what is wanted of it; the end of a scale stands before its name."""
    definition = book.attributes[attribute]
    if definition.yes_no:
        return definition.title if level >= 1 else f"not {definition.title}"
    words = bound_words(attribute, comparison, level, book)
    at_the_end = definition.scale and words == level_words(attribute, level, book)
    name = _name(attribute, book)
    if at_the_end and words == "none":
        return f"no {name}"
    return f"{words} {name}" if at_the_end else f"{name} {words}"


def _name(attribute: str, book: Rulebook) -> str:
    """What an attribute is called behind the name of its part; both parts are said already."""
    short = book.attributes[attribute].short
    return short.partition(",")[0] if attribute.startswith("pair.") else short
