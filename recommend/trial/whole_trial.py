"""A trial in its whole: judged, ordered, and what it does to the shortlist."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from recommend.catalogue.loading import Catalogue
from recommend.catalogue.shop import open_visit
from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS, Shortlist
from recommend.reading import Document, read_document
from recommend.rulebook.book import Rulebook
from recommend.trial.change import Sample, StepChange
from recommend.trial.judged_steps import StepResult, Trial, judge_trial, order
from recommend.trial.pictures import Picture, pictures
from recommend.trial.plan import Next, next_of, step_dose
from recommend.trial.steps import ReadingKey
from recommend.trial.tried import Tried, TriedOrder, against_rules, rank_tried, reranked
from recommend.trial.verdict import Band, JudgedReading, LoadShift
from recommend.way import outcome_of

FORMAT = 2  # raised when a field changes its meaning or goes away


@dataclass(frozen=True, slots=True)
class TrialOutcome:
    """Everything a trial says.

    Attributes
    ----------
    outcome : the visit's outcome without the trial.
    trial : every step judged.
    ranking : the tried combinations in order; empty when a stop withholds it.
    against : what the rules say against tried combinations, by id.
    shortlist : ranked again with what was measured; None when a stop withholds it.
    pictures : the curves.
    next : what to try next; None where one of those tried will do, and after a stop.
    """

    outcome: Outcome
    trial: Trial
    ranking: TriedOrder
    against: Mapping[str, str]
    shortlist: Shortlist | None
    pictures: tuple[Picture, ...]
    next: Next | None = None


def trial_outcome(outcome: Outcome, document: Document | None = None) -> TrialOutcome:
    """Judge the trial of a visit and rank its shortlist again.

    Raises
    ------
    InputError
        If a step names a product that the catalogue does not hold, or was measured against
        another zero reference than the bare foot.
    """
    book, visit = outcome.book, outcome.assessment.visit
    trial = judge_trial(visit, book, document)
    curves = pictures(trial, book)
    if outcome.shortlist is None:
        return TrialOutcome(outcome, trial, TriedOrder(()), {}, None, curves)
    against = against_rules(outcome, (result.step for result in trial.results))
    doses = {r.step.id: step_dose(r, outcome).wedge or 0.0 for r in trial.results}
    ranking = rank_tried(trial, book.parameters, against, doses)
    again = reranked(outcome.shortlist, ranking)
    then = None if ranking.best else next_of(trial, ranking, outcome, again)
    return TrialOutcome(outcome, trial, ranking, against, again, curves, then)


def judged_file(file: Path, book: Rulebook, catalogue: Catalogue) -> TrialOutcome:
    """The trial of a visit file, judged as it stands there; errors as of `trial_outcome`."""
    outcome = outcome_of(open_visit(file, book), book, catalogue)
    return trial_outcome(outcome, read_document(file))


def as_document(one: TrialOutcome) -> dict[str, Any]:
    """The trial as plain data (str, float, int, None, list, dict), in a stable order.

    Fields: ``format``, ``visit`` (reference), ``stopped``, ``steps`` (each with its readings
    against barefoot and against the step before, load, comfort, and what was not measured),
    ``tried`` (in order, with what is against each), ``best`` (null for none of these), what
    motion and comfort alone would choose, ``next`` and ``shortlist`` (ids by group, ranked
    again; null when a stop withholds it, and then there are no steps either).
    """
    ranking, best = one.ranking, one.ranking.best
    return {
        "format": FORMAT,
        "visit": {"reference": one.outcome.assessment.visit.reference},
        "stopped": one.outcome.assessment.stopped,
        "clinician-first": [
            note.say for note in one.outcome.assessment.notes if note.level == "see-clinician"
        ],
        "steps": [_step(result) for result in one.trial.results] if one.shortlist else [],
        "tried": [_tried(tried, one.against) for tried in ranking.tried],
        "best": best.id if best else None,
        "as-good": [tried.id for tried in ranking.equals],
        "by-motion": list(ranking.by_motion),
        "by-comfort": list(ranking.by_comfort),
        "comfort-alike": {"points": ranking.alike, "measured": ranking.alike_measured},
        "next": _next(one.next),
        "shortlist": None
        if one.shortlist is None
        else {group: [c.id for c in one.shortlist.ranked[group]] for group in GROUPS},
    }


def _next(then: Next | None) -> dict[str, Any] | None:
    if then is None:
        return None
    return {"why": then.why.value, "try": list(then.names), "after": list(then.after)}


def _step(result: StepResult) -> dict[str, Any]:
    return {
        "id": result.step.id,
        "added-to": result.parent.id,
        "readings": [
            {
                **asdict(key),
                "against-barefoot": _judged(result.whole[key]) if key in result.whole else None,
                "against-step-before": _judged(result.part[key]) if key in result.part else None,
            }
            for key in sorted(result.step.readings, key=order)
        ],
        "not-measured": [asdict(key) for key in result.missing],
        "load": {side: _load(shift) for side, shift in result.load.items()},
        "load-not-compared": list(result.load_alone),
        "over-corrected": [
            asdict(one) if isinstance(one, ReadingKey) else {"side": one, "load": "outwards"}
            for one in result.over
        ],
        "comfort": {side: dict(regions) for side, regions in result.step.comfort.items()},
        "hurts": [asdict(rating) for rating in result.hurts],
    }


def _judged(judged: JudgedReading) -> dict[str, Any]:
    band = judged.band
    return {
        **_change(judged.change),
        "band": _band(band),
        "level": asdict(judged.level),
        "verdict": judged.verdict.value,
        "outside-band": judged.residual if band else None,
        "clear-of-edges": judged.clear,
        "doubtful": judged.doubtful,
        "drift": {
            step: asdict(found) if found else None
            for step, found in zip(("before", "after"), judged.drift, strict=True)
        },
    }


def _end(value: float) -> float | None:
    """An end of a band; None where it is open (JSON has no infinity)."""
    return value if math.isfinite(value) else None


def _load(shift: LoadShift) -> dict[str, Any]:
    return {**_change(shift.change), "band": _band(shift.band), "over-corrected": shift.over}


def _band(band: Band | None) -> dict[str, float | None] | None:
    return {"low": _end(band.low), "high": _end(band.high)} if band else None


def _change(moved: StepChange) -> dict[str, Any]:
    return {
        "before": _sample(moved.before),
        "after": _sample(moved.after),
        "change": asdict(moved.interval),
        "smallest-detectable": moved.smallest,
        "told-from-noise": moved.told,
        "state": moved.state.value,
        "strides-to-tell": moved.needed,
        "resemblance": {"value": round(moved.resemblance, 3), "stated": moved.stated},
    }


def _sample(one: Sample) -> dict[str, Any]:
    return {"mean": one.mean, "sd": one.sd, "n": one.n, "assumed": one.assumed}


def _tried(tried: Tried, against: Mapping[str, str]) -> dict[str, Any]:
    return {
        "id": tried.id,
        "against": [bar.value for bar in tried.bars],
        "rules": against.get(tried.id),
        "degrees-outside-band": tried.residual,
        "readings-compared": tried.readings,
        "comfort": tried.result.comfort,
        "further-outside": tried.motion,
        "less-comfortable": tried.discomfort,
        "worth": tried.worth,
        "comfort-counted": tried.with_comfort,
    }
