"""What to try: a design for the try-on, and what next after what was tried.

A design says what to try, in which order, how many strides, and what to leave out. After too much
less of the same comes next, never past zero; else what is fresh.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from statistics import fmean

from recommend.catalogue.loading import Item
from recommend.match.out import OWN, worn_id
from recommend.match.outcome import Outcome
from recommend.match.shortlist import Candidate, Group, Shortlist
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.trial.change import Sample, mean_interval, strides_to_tell
from recommend.trial.judged_steps import StepResult, Trial, sample_of
from recommend.trial.steps import ReadingKey, Step, steps_of
from recommend.trial.tried import TriedOrder
from recommend.trial.verdict import band_of

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


def next_of(trial: Trial, ranking: TriedOrder, outcome: Outcome, shortlist: Shortlist) -> Next:
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
    for kind in kinds or dict.fromkeys(_ORDER[:2]):
        yield from shortlist.ranked[kind]


def _kind(result: StepResult) -> Group:
    if result.step.insole is None:
        return "shoe"
    return "insole" if result.step.shoe == OWN else "pair"


BAREFOOT = "barefoot"
_ORDER: tuple[Group, ...] = ("pair", "shoe", "insole")  # the first group that there is


@dataclass(frozen=True, slots=True)
class Worth:
    """What one reading is worth in this trial, both feet together.

    Attributes
    ----------
    reading, gait, reference : what is read.
    sd : this customer's own stride-to-stride spread; from the rulebook where there is one stride.
    own : whether `sd` comes from the customer's strides.
    small, large : strides in each try-on that tell the smaller and the larger change; None where
        nobody walks as many.
    judged : whether the rulebook has a band for it.
    to_gain : feet that lie outside it barefoot, or not clear of its edge.
    """

    reading: str
    gait: str
    reference: str
    sd: float
    own: bool
    small: int | None
    large: int | None
    judged: bool
    to_gain: tuple[str, ...]

    @property
    def worth_it(self) -> bool:
        """Whether measuring it can say something: it has a band, and strides can tell."""
        return self.judged and self.large is not None


@dataclass(frozen=True, slots=True)
class Plan:
    """A try-on as it is best done.

    Attributes
    ----------
    names : ids of what to try, best first.
    order : ids in the order of wearing, barefoot at both ends: there and back again, so that
        what drifts, and what is tried first or last, falls on all alike.
    readings : what each reading is worth.
    strides : in each try-on, over both of its turns; None where comfort alone is to decide.
    other_gaits : gaits that were filmed barefoot and are not what the shoe is for.
    """

    names: tuple[str, ...]
    order: tuple[str, ...]
    readings: tuple[Worth, ...]
    strides: int | None
    other_gaits: tuple[str, ...] = ()

    @property
    def each_turn(self) -> int | None:
        """Strides in each of the two turns."""
        return None if self.strides is None else math.ceil(self.strides / 2)


def plan_of(outcome: Outcome) -> Plan | None:
    """A design for the trial of this visit; None when a stop withholds it.

    Notes
    -----
    Order A, B, C, C, B, A with barefoot at both ends: a drift that is even over time shifts the
    mean of every try-on by the same amount (counterbalancing there and back; common practice).
    """
    if outcome.shortlist is None:
        return None
    book, visit = outcome.book, outcome.assessment.visit
    names = _to_try(outcome.shortlist, visit_tried(outcome), book.parameters)
    bare = steps_of(visit)[0]
    gaits = {key.gait for key in bare.readings} - {"standing"}
    gait = "running" if visit.purpose == "running" and "running" in gaits else "walking"
    both = gaits == {"walking", "running"}
    kept = {key: s for key, s in bare.readings.items() if key.gait == gait or not both}
    readings = tuple(_worths(replace(bare, readings=kept), book))
    useful = [one for one in readings if one.worth_it]
    gains = [one for one in useful if one.to_gain] or useful
    needed = [one.small if one.small is not None else one.large for one in gains]
    counts = [count for count in needed if count is not None]
    there = (BAREFOOT, *names)
    strides = max(counts) if counts else None
    others = tuple(sorted(gaits - {one.gait for one in readings}))
    return Plan(names, (*there, *reversed(there)), readings, strides, others)


def visit_tried(outcome: Outcome) -> set[str]:
    """Ids of what was tried already."""
    return {step.id for step in steps_of(outcome.assessment.visit)[1:]}


def _to_try(shortlist: Shortlist, tried: set[str], parameters: Parameters) -> tuple[str, ...]:
    """What was fetched first; then the next that do something else: alike ones teach nothing."""
    group = next((one for one in _ORDER if shortlist.ranked[one]), None)
    ranked = shortlist.ranked[group] if group else ()
    most = parameters.trial.plan_most
    fresh = {name: c for c in ranked if (name := worn_id(c)) and name not in tried}
    chosen: dict[Dose, str] = {}
    for name, candidate in fresh.items():
        chosen.setdefault(dose_of(candidate.parts), name)
    fetched = [name for one in ranked[:most] if (name := worn_id(one)) in fresh]
    return tuple(dict.fromkeys([*fetched, *chosen.values(), *fresh]))[:most]


def _worths(bare: Step, book: Rulebook) -> Iterable[Worth]:
    moving = {k: sample_of(bare, k, book) for k in bare.readings if k.gait != "standing"}
    for reading, gait, reference in dict.fromkeys((k.reading, k.gait, k.reference) for k in moving):
        feet = {
            k: one for k, one in moving.items()
            if (k.reading, k.gait, k.reference) == (reading, gait, reference)
        }  # fmt: skip
        yield _worth(feet, book)


def _worth(feet: Mapping[ReadingKey, Sample], book: Rulebook) -> Worth:
    parameters = book.parameters
    key = next(iter(feet))
    sd = math.sqrt(fmean(one.sd**2 for one in feet.values()))
    alike = min(one.stated for one in feet.values()) / 2  # a usual one, not the cautious one
    small, large = (
        strides_to_tell(parameters.trial[f"plan-{size}"], sd, sd, alike, parameters)
        for size in ("small", "large")
    )
    band = band_of(book, key)
    to_gain = []
    for one, taken in feet.items():
        level = mean_interval(taken, parameters)
        if band is not None and (level.low < band.low or level.high > band.high):
            to_gain.append(one.side)
    own = not any(one.assumed for one in feet.values())
    return Worth(
        key.reading, key.gait, key.reference, sd, own, small, large, band is not None,
        tuple(to_gain),
    )  # fmt: skip
