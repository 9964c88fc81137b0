"""How sure an outcome is, for the short line of the shortlist and for the explanation."""

from __future__ import annotations

from recommend.match.outcome import Outcome
from recommend.way import seed_of
from recommend.whatif.redraw import HowSure, how_sure
from recommend.whatif.whatif import WhatIf


def sureness(outcome: Outcome, whatif: WhatIf | None = None) -> HowSure:
    """Redraws of a visit, ``sure.draws`` of them, the same that its order rests on."""
    count = outcome.book.parameters.sure.draws
    seed = seed_of(outcome.assessment, outcome.book)
    return how_sure(whatif or WhatIf(outcome), seed, count)
