"""What stands beside a reading: the marks of the trade, and its place among people.

Neither decides anything: a mark is a limit that the rulebook shows beside a measure, a place is
where the reading lies in the group that was studied with the same gait, zero and device.
"""

from __future__ import annotations

from collections.abc import Iterator
from statistics import NormalDist

from recommend.measure.model import Measure
from recommend.rulebook.book import Rulebook

_FINEST = 0.99  # beyond this share a place is said in hundredths
_STUDIED = ("published", "derived")


def marks_of(measure: Measure, book: Rulebook) -> tuple[str, ...]:
    """The marks beside a reading in words, such as ``above the trade's 4 degrees``."""
    return tuple(_marks(measure, book))


def _marks(measure: Measure, book: Rulebook) -> Iterator[str]:
    if isinstance(measure.value, str):
        return
    margin = book.parameters.noise.clearly * (measure.error or 0.0)
    for limit in book.limits.values():
        at = limit.value_of(measure.qualifiers) if limit.marks == measure.name else None
        if at is None:
            continue
        apart = float(measure.value) - at.value
        side = "above" if apart > 0 else "below" if apart < 0 else "at"
        within = ", within the error of it" if 0 < abs(apart) <= margin else ""
        yield f"{side} {limit.title}{within}"


def share_below(measure: Measure, book: Rulebook) -> float | None:
    """The share of the studied group whose reading is smaller; None where none was studied.

    The group is taken as normal with the mean and SD that `measures.yaml` gives for the gait,
    zero and device of the reading; a norm from memory or assumed is no study.
    """
    norm = book.measures[measure.name].norm_of(measure.qualifiers)
    if norm is None or norm.kind not in _STUDIED or isinstance(measure.value, str):
        return None
    return NormalDist(norm.mean, norm.sd).cdf(float(measure.value))


def place_of(measure: Measure, book: Rulebook) -> str:
    """The place of a reading among people in words, such as ``more than in 7 of 10``."""
    share = share_below(measure, book)
    if share is None:
        return ""
    word, part = ("more", share) if share >= 0.5 else ("less", 1 - share)
    if part > _FINEST:
        return f"{word} than in 99 of 100"
    beyond = part >= book.parameters.noise.beyond_middle
    return f"{word} than in {int(10 * part)} of 10" if beyond else "about the middle of people"


def beside(measure: Measure, book: Rulebook) -> str:
    """Marks and place of a reading as one clause; empty where there is neither."""
    return "; ".join(filter(None, (*marks_of(measure, book), place_of(measure, book))))
