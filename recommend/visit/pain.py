"""Pain by site: what hurts now, what hurt at the visit before, and which of it is new."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from recommend.dataclass import dataclass
from recommend.visit.models import Pain, PainSite, Visit

Scores = dict[PainSite, int | None]


@dataclass(frozen=True, slots=True)
class PainSince:
    """One site that hurts now or hurt at the visit before; scores are 0 to 10, None unsaid."""

    side: Literal["left", "right"]
    site: PainSite
    before: int | None
    now: int | None
    new: bool

    @property
    def change(self) -> int | None:
        """Now less then; None for a new pain, and where a score is unsaid."""
        if self.new or self.before is None or self.now is None:
            return None
        return self.now - self.before


def sites_of(pains: Iterable[Pain], side: str) -> Scores:
    """What hurts on a side, by site; what is said to hurt 0 of 10 does not."""
    found: Scores = {}
    for one in pains:
        if one.side in (side, "both") and one.score != 0:
            scores = [s for s in (found.get(one.site), one.score) if s is not None]
            found[one.site] = max(scores, default=None)
    return found


def pain_since(visit: Visit) -> tuple[PainSince, ...] | None:
    """Each site that hurts now or hurt at the visit before; None where one of them is not known."""
    again = visit.follow_up
    if again is None or again.pain_sites_before is None or visit.pain is None:
        return None
    found = []
    for side in ("left", "right"):
        then, now = sites_of(again.pain_sites_before, side), sites_of(visit.pain, side)
        for site in {**then, **now}:
            found.append(
                PainSince(side, site, then.get(site, 0), now.get(site, 0), site not in then)
            )
    return tuple(found)


def most_grown(since: Iterable[PainSince], side: str) -> PainSince | None:
    """Of the sites that hurt before, the one whose pain grew most, or fell least."""
    known = [one for one in since if one.side == side and one.change is not None]
    return max(known, key=lambda one: one.change or 0, default=None)
