"""How sure an outcome is, for the short line of the shortlist and for the explanation."""

from __future__ import annotations

from recommend.match.harm import harmful
from recommend.match.outcome import Outcome
from recommend.trail.keeping import case_of
from recommend.trail.leaders import Leaders
from recommend.trail.redraw import HowSure, how_sure
from recommend.trail.whatif import WhatIf


def whatif_of(outcome: Outcome) -> WhatIf:
    """What-ifs about a visit that was taken through the whole path."""
    book, visit = outcome.book, outcome.assessment.visit
    leaders = Leaders(book, outcome.catalogue, harmful(visit, book.parameters))
    return WhatIf(outcome.assessment, book, leaders)


def sureness(outcome: Outcome, whatif: WhatIf | None = None) -> HowSure:
    """Redraws of a visit, ``sure.draws`` of them, seeded by what was seen and what it met.

    The shortlist and the explanation of its record draw the same ones, so they say the same.
    """
    count = int(outcome.book.parameters["sure.draws"])
    return how_sure(whatif or whatif_of(outcome), case_of(outcome), count)
