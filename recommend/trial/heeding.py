"""A shortlist whose order heeds more than the rules: what was tried on, and what trials taught.

What trials taught is heeded only where that is asked for. It moves suitable products among
themselves; what a never, a must or a stop took off the list stays off, and notes stay as they are.
What a record heeds is kept with it, so that it is derived again from the record alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from statistics import NormalDist, fmean
from typing import Any

from recommend.errors import counted
from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS, Candidate, Shortlist
from recommend.records.documents import separate
from recommend.records.keeping import Archive, visit_document
from recommend.records.store import Record
from recommend.rulebook.book import Rulebook
from recommend.trial.change import Interval
from recommend.trial.kept_trials import ShopTrials, item_of, shop_of
from recommend.trial.steps import LEARNED as LEARNED_READINGS
from recommend.trial.steps import ReadingKey, steps_of
from recommend.trial.tried import grouped
from recommend.trial.verdict import Band, band_of
from recommend.trial.whole_trial import TrialOutcome, as_document, trial_outcome
from recommend.visit.models import KEPT, Visit

_STANDARD = NormalDist()


@dataclass(frozen=True, slots=True)
class Expected:
    """What to expect of a product on one foot in one phase.

    Attributes
    ----------
    residual : degrees with the product on, from today's reading, with the interval for one foot.
    outside : degrees outside the band on average over what may happen.
    below : chance that it ends below the band.
    """

    residual: Interval
    outside: float
    below: float


@dataclass(frozen=True, slots=True)
class LearnedList:
    """A shortlist ordered with learned effects.

    Attributes
    ----------
    shortlist : with the same products in each part as before.
    expected : by candidate id and reading; a gait from which nothing was learned is absent.
    visits : kept visits with a trial behind it.
    heeded : whether a reading that has a band is foretold better than by the published mean; else
        nothing moves.
    """

    shortlist: Shortlist
    expected: Mapping[str, Mapping[ReadingKey, Expected]]
    visits: int
    heeded: bool = True


def with_learned(outcome: Outcome, shop: ShopTrials) -> LearnedList | None:
    """Order the shortlist with learned effects; None when a stop withholds it.

    Notes
    -----
    Order: what fits comes first as before; then wishes not met and ``trial.learned-weight`` for
    every degree that is expected outside the band (mean over the readings of both feet). The
    expectation runs over all that may happen to one foot, so a strong effect of little certainty
    is held against a product on both sides of the band.
    """
    ranked = outcome.shortlist
    if ranked is None:
        return None
    book = outcome.book
    readings = {
        key: fmean(strides)
        for key, strides in steps_of(outcome.assessment.visit)[0].readings.items()
        if key.reading in LEARNED_READINGS and _foretells(shop, (key.gait, key.reading))
    }
    expected = {
        c.id: {key: _expected(c, key, now, shop, book) for key, now in readings.items()}
        for group in GROUPS
        for c in ranked.ranked[group]
    }
    banded = {key for key in readings if band_of(book, key)}
    weight = book.parameters.trial.learned_weight

    def key(candidate: Candidate) -> tuple[bool, float, float, float]:
        outside = [one.outside for read, one in expected[candidate.id].items() if read in banded]
        learned = candidate.function + weight * fmean(outside or [0.0])
        total = round(candidate.fit + learned, 6)
        return (candidate.back, candidate.tier, total, candidate.fit)

    again = {group: grouped(sorted(ranked.ranked[group], key=key), key) for group in GROUPS}
    return LearnedList(replace(ranked, ranked=again), expected, shop.visits, bool(banded))


def _foretells(shop: ShopTrials, kind: tuple[str, str]) -> bool:
    """Whether what was learned foretells visits that it has not seen better than the published."""
    check = shop.checks.get(kind)
    return check is not None and check.better


def _expected(
    candidate: Candidate, key: ReadingKey, now: float, shop: ShopTrials, book: Rulebook
) -> Expected:
    learned = shop.learned[key.gait, key.reading]
    bought = [part for part in candidate.parts if part.offered == "shop"]
    items = [item_of(part, book, key.reading) for part in bought]
    confidence = book.parameters.trial.confidence
    change = learned.expected(items, confidence)
    residual = Interval(now + change.value, now + change.low, now + change.high)
    sd = (change.high - change.value) / _STANDARD.inv_cdf((1 + confidence) / 2)
    band = band_of(book, key) or Band()
    return Expected(
        residual,
        _beyond(residual.value - band.high, sd) + _beyond(band.low - residual.value, sd),
        _STANDARD.cdf((band.low - residual.value) / sd) if math.isfinite(band.low) else 0.0,
    )


def _beyond(over: float, sd: float) -> float:
    """Mean of the part above 0 of a normal variable with mean `over`; 0 for an open end.

    E[max(X, 0)] = m Phi(m / s) + s phi(m / s) for X ~ N(m, s^2).
    """
    if math.isinf(over):
        return 0.0
    z = over / sd
    return over * _STANDARD.cdf(z) + sd * _STANDARD.pdf(z)


TRIED, LEARNED = "tried", "learned"  # what a record may heed
TRIAL = "trial"  # the document of a judged trial


def tried(outcome: Outcome) -> TrialOutcome | None:
    """The trial of the visit, judged; None where nothing was tried or a stop withholds it."""
    return trial_outcome(outcome) if _is_tried(outcome) else None


def _is_tried(outcome: Outcome) -> bool:
    return outcome.shortlist is not None and bool(outcome.assessment.visit.trials)


def heeding(outcome: Outcome, judged: TrialOutcome | None) -> Outcome:
    """The outcome in the order that the try-on steps give it."""
    return outcome if judged is None else replace(outcome, shortlist=judged.shortlist)


def in_order_tried(judged: TrialOutcome) -> tuple[Outcome, dict[str, None]]:
    """The outcome of a judged trial in the order that its steps give it, and what that heeds.

    As it was, heeding nothing, where nothing was tried or a stop withholds it.
    """
    if not _is_tried(judged.outcome):
        return judged.outcome, {}
    return heeding(judged.outcome, judged), {TRIED: None}


def tried_words(judged: TrialOutcome) -> str:
    """That the order heeds what was tried on, in a sentence."""
    best = judged.ranking.best
    steps = counted(len(judged.trial.results), "try-on step")
    titles = judged.outcome.catalogue.titles
    worn = [titles.get(one, "own shoe") for one in best.id.split("+")] if best else []
    result = f"{' with '.join(worn)} did best" if best else "none of those tried will do"
    return f"The order heeds {steps} of this visit: {result}; see `recommend trial`."


def learning(visits: Iterable[Visit]) -> dict[str, Any]:
    """The visits that effects are learned from, to be kept: measured and tried, but by nobody."""
    kept = []
    for number, visit in enumerate(visits, start=1):
        public = separate({"visit": visit_document(visit)})[0]["visit"]
        plain = {name: public[name] for name in _LEARNED_FROM if name in public}
        kept.append({**plain, "reference": f"learned-{number}"})
    return {"visits": kept}


# What effects are learned from: readings of the bare feet and of what was tried on.
_LEARNED_FROM = ("feet", "trials", "age-band", "purpose", "body-mass-kg")


def learned_of(outcome: Outcome, document: Mapping[str, Any]) -> LearnedList | None:
    """The shortlist ordered with the effects that `learning` kept."""
    visits = [Visit.model_validate(one, context=KEPT) for one in document["visits"]]
    return with_learned(outcome, shop_of(visits, outcome.book, outcome.catalogue))


def heeded(outcome: Outcome, record: Record, archive: Archive) -> tuple[Outcome, dict[str, Any]]:
    """What a record's outcome becomes by what it heeds, and the trial where one was shown."""
    more: dict[str, Any] = {}
    judged = tried(outcome)
    if TRIAL in record.bodies:
        more[TRIAL] = as_document(judged or trial_outcome(outcome))
    heeds = record.head.get("heeds", [])
    if TRIED in heeds:
        outcome = heeding(outcome, judged)
    if LEARNED in heeds and outcome.shortlist is not None:
        learned = learned_of(outcome, archive.store.body(record.bodies[LEARNED]))
        outcome = replace(outcome, shortlist=learned.shortlist) if learned else outcome
    return outcome, more
