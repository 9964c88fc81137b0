"""The usual band of the rearfoot angle, as the rulebook's limits give it."""

from __future__ import annotations

from collections.abc import Mapping

from recommend.measure.phases import PHASES, Phase
from recommend.rulebook.book import Rulebook
from recommend.trial.bands import band_of
from recommend.trial.steps import Key

Band = tuple[float, float]


def usual_bands(book: Rulebook) -> dict[tuple[str, str], Mapping[Phase, Band]]:
    """Band of each phase in degrees, for every gait and zero reference that has one."""
    words = book.measures["contact-angle"].qualifiers
    bands: dict[tuple[str, str], Mapping[Phase, Band]] = {}
    for gait in words["gait"]:
        for reference in words["reference"]:
            # The bands of the two feet are the same; either may be asked for.
            found = {p: band_of(book, Key("left", gait, reference, p)) for p in PHASES}
            kept = {phase: (b.low, b.high) for phase, b in found.items() if b is not None}
            if kept:
                bands[(gait, reference)] = kept
    return bands
