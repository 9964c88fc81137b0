"""The band that is usual for a reading: a pair of limits of the rulebook."""

from __future__ import annotations

from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import Limit
from recommend.rulebook.words import kind_words
from recommend.trial.readings import READINGS
from recommend.trial.steps import Key
from recommend.trial.verdict import Band

# Where the rulebook has no limit of these names, that end is open; with neither there is no band.
LOAD_LIMITS = ("lateral-load-lower", "lateral-load-upper")


def band_of(book: Rulebook, key: Key) -> Band | None:
    """The usual band of a reading, in its unit; None when the rulebook has none for it."""
    names = READINGS[key.reading].limits
    return _between(book, names, {"gait": key.gait, "reference": key.reference})


def load_band(book: Rulebook) -> Band | None:
    """The usual share of load on the outer half in percent; None where no limit is known."""
    return _between(book, LOAD_LIMITS, {})


def load_mark(book: Rulebook) -> str:
    """Where the outer edge of the band of load comes from, in words; empty where there is none."""
    limit = book.limits.get(LOAD_LIMITS[1])
    found = limit.value_of({}) if limit else None
    return kind_words(found.kind, sourced=found.source is not None) if found else ""


def _between(book: Rulebook, names: tuple[str, str], words: dict[str, str]) -> Band | None:
    low, high = (_value(book.limits.get(name), words) for name in names)
    if low is None and high is None:
        return None
    open_ = Band()
    return Band(open_.low if low is None else low, open_.high if high is None else high)


def _value(limit: Limit | None, words: dict[str, str]) -> float | None:
    found = limit.value_of(words) if limit else None
    return found.value if found else None
