"""What to try next: after too much, less of the same, never past zero; else what is fresh."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from recommend.catalogue.loading import Item
from recommend.match.out import OWN, worn_id
from recommend.match.outcome import Outcome
from recommend.match.shortlist import Candidate, Group, Shortlist
from recommend.trial.judged_steps import StepResult, Trial
from recommend.trial.tried import Ranking

_WEDGES = ("shoe.wedge", "insole.wedge")
_STABILITY, _ARCH = "shoe.stability", "insole.arch-medial"
_MOST = 3  # combinations named


class Why(Enum):
    """Why something is named next; the value is the word in JSON."""

    LESS = "less-after-too-much"
    NOTHING_LESS = "nothing-does-less"
    FRESH = "not-tried-yet"
    NOTHING_LEFT = "nothing-left"


@dataclass(frozen=True, slots=True)
class Next:
    """What to try next: `why`, ids in the order of the shortlist, and after which steps."""

    why: Why
    names: tuple[str, ...] = ()
    after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Dose:
    """How much a combination corrects: degrees of wedge, and steps of the two scales.

    A number is None where a part does not state it; `stability` and `arch` are None too where
    there is no shoe of the catalogue, or no insole.
    """

    wedge: float | None
    stability: float | None
    arch: float | None

    def less_than(self, other: Dose) -> bool:
        """Whether this corrects less: a smaller wedge of the same sign, never past zero.

        Where the other has no wedge, this has none, less stability or less arch support, and
        no more of the other. What is not stated cannot be shown to be less.
        """
        if self.wedge is None or other.wedge is None:
            return False
        if other.wedge:
            return self.wedge * other.wedge >= 0 and abs(self.wedge) < abs(other.wedge)
        pairs = ((self.stability, other.stability), (self.arch, other.arch))
        known = [(a or 0.0, b or 0.0) for a, b in pairs if (a is None) == (b is None)]
        return (
            self.wedge == 0
            and len(known) == len(pairs)
            and all(a <= b for a, b in known)
            and any(a < b for a, b in known)
        )


def dose_of(parts: tuple[Item, ...]) -> Dose:
    """How much these products correct together."""
    bought = [part for part in parts if part.offered == "shop"]
    levels = [part.levels for part in bought]
    wedges = [
        level.get(f"{part.product.kind}.wedge") for part, level in zip(bought, levels, strict=True)
    ]
    known = [wedge for wedge in wedges if wedge is not None]
    return Dose(
        sum(known) if len(known) == len(wedges) else None,
        next((level[_STABILITY] for level in levels if _STABILITY in level), None),
        next((level[_ARCH] for level in levels if _ARCH in level), None),
    )


def step_dose(result: StepResult, outcome: Outcome) -> Dose:
    """How much a step corrects; the customer's own shoe counts nothing."""
    by_id = outcome.catalogue.by_id
    return dose_of(tuple(by_id[one] for one in result.step.products if one in by_id))


def next_of(trial: Trial, ranking: Ranking, outcome: Outcome, shortlist: Shortlist) -> Next:
    """What to try next when none of what was tried will do.

    After a step that over-corrected only what corrects less than every such step is named.
    """
    tried = {result.step.id for result in trial.results}
    over = [result for result in trial.results if result.over]
    doses = [step_dose(result, outcome) for result in over]
    fresh = [(worn_id(c), c) for c in _listed(trial, shortlist)]
    fresh = [(name, c) for name, c in fresh if name and name not in tried]
    lesser = [n for n, c in fresh if all(dose_of(c.parts).less_than(dose) for dose in doses)]
    names = tuple(dict.fromkeys(lesser))[:_MOST]
    if over:
        why = Why.LESS if names else Why.NOTHING_LESS
        return Next(why, names, tuple(result.step.id for result in over))
    return Next(Why.FRESH, names) if names else Next(Why.NOTHING_LEFT)


def _listed(trial: Trial, shortlist: Shortlist) -> Iterator[Candidate]:
    """Candidates of the kinds that were tried, in the order of the shortlist."""
    kinds = dict.fromkeys(_kind(result) for result in trial.results)
    for kind in kinds or dict.fromkeys(_ORDER):
        yield from shortlist.ranked[kind]


_ORDER: tuple[Group, ...] = ("pair", "shoe")


def _kind(result: StepResult) -> Group:
    if result.step.insole is None:
        return "shoe"
    return "insole" if result.step.shoe == OWN else "pair"
