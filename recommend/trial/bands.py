"""The band that is ordinary for a reading: a pair of limits of the rulebook."""

from __future__ import annotations

from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import Limit
from recommend.trial.judge import Band
from recommend.trial.steps import STANDING, Key

# A phase is judged by the limits of these names; where one is missing, that end is open.
_STANDING = ("standing-inverted", "standing-everted")
_LOAD = ("lateral-load-lower", "lateral-load-upper")


def band_of(book: Rulebook, key: Key) -> Band | None:
    """The ordinary band for a reading, in degrees; None when the rulebook has none for it."""
    names = _STANDING if key.phase == STANDING else (f"{key.phase}-lower", f"{key.phase}-upper")
    return _between(book, names, {"gait": key.gait, "reference": key.reference})


def load_band(book: Rulebook) -> Band:
    """The ordinary lateral share of load in percent; open where the rulebook has no limit."""
    return _between(book, _LOAD, {}) or Band()


def _between(book: Rulebook, names: tuple[str, str], words: dict[str, str]) -> Band | None:
    low, high = (_value(book.limits.get(name), words) for name in names)
    if low is None and high is None:
        return None
    open_ = Band()
    return Band(open_.low if low is None else low, open_.high if high is None else high)


def _value(limit: Limit | None, words: dict[str, str]) -> float | None:
    found = limit.value_of(words) if limit else None
    return found.value if found else None
