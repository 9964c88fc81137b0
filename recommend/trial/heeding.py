"""A shortlist whose order heeds more than the rules: what was tried on, and what trials taught.

What a record heeds is kept with it, so that it is derived again from the record alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from recommend.errors import counted
from recommend.match.outcome import Outcome
from recommend.records.keeping import Archive, visit_document
from recommend.records.private import separate
from recommend.records.store import Record
from recommend.trial.kept_trials import shop_of
from recommend.trial.learned import LearnedList, with_learned
from recommend.trial.whole_trial import TrialOutcome, as_document, trial_outcome
from recommend.visit.models import KEPT, Visit

TRIED, LEARNED = "tried", "learned"  # what a record may heed
TRIAL = "trial"  # the document of a judged trial


def tried(outcome: Outcome) -> TrialOutcome | None:
    """The trial of the visit, judged; None where nothing was tried or a stop withholds it."""
    if outcome.shortlist is None or not outcome.assessment.visit.trials:
        return None
    return trial_outcome(outcome)


def heeding(outcome: Outcome, judged: TrialOutcome | None) -> Outcome:
    """The outcome in the order that the try-on steps give it."""
    return outcome if judged is None else replace(outcome, shortlist=judged.shortlist)


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
