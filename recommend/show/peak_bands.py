"""The band of the peak of most feet, as the rulebook's limits give it."""

from __future__ import annotations

from collections.abc import Mapping

from recommend.measure.phases import Phase
from recommend.rulebook.book import Rulebook

Band = tuple[float, float]


# Phases in which the peak of stance lies; the band is of the peak, and of nothing after it.
_OF_PEAK: tuple[Phase, ...] = ("contact", "midstance")


def usual_bands(book: Rulebook) -> dict[tuple[str, str], Mapping[Phase, Band]]:
    """The band of the peak in degrees, in the phases where it lies, for every gait and zero."""
    words = book.measures["peak-angle"].qualifiers if "peak-angle" in book.measures else {}
    bands: dict[tuple[str, str], Mapping[Phase, Band]] = {}
    for gait in words.get("gait", []):
        for reference in words.get("reference", []):
            of = {"gait": gait, "reference": reference}
            low, high = (
                limit.value_of(of) if limit else None
                for limit in (book.limits.get("peak-lower"), book.limits.get("peak-upper"))
            )
            if low is not None and high is not None:
                bands[(gait, reference)] = dict.fromkeys(_OF_PEAK, (low.value, high.value))
    return bands
