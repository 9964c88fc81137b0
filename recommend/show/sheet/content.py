"""What stands on the customer's page, before it is put into words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from recommend.errors import InputError, Place, nearest
from recommend.infer.assess import Assessment
from recommend.match.out import OWN, step_id
from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS, Candidate, Shortlist
from recommend.measure.model import SIDES, Measure, Side
from recommend.rulebook.book import Rulebook
from recommend.trial.judged_steps import StepResult
from recommend.trial.steps import READINGS_BY_MEASURE
from recommend.trial.verdict import Band
from recommend.trial.whole_trial import TrialOutcome

# Readings that a customer can follow, in this order; the rest is for the fitter.
_SHOWN = (
    "fpi", "arch-height-ratio", "standing-angle", "peak-angle", "midstance-angle",
    "propulsion-angle", "foot-length", "forefoot-width",
)  # fmt: skip


class Ending(Enum):
    """How the visit ended, for the page."""

    STOP = "stop"
    CHOSEN = "chosen"
    NONE_CHOSEN = "none-chosen"
    SUGGESTED = "suggested"
    NOTHING_SUITABLE = "nothing-suitable"
    NOT_SCREENED = "not-screened"
    PAIN_FIRST = "pain-first"
    OWN_DO = "own-do"


@dataclass(frozen=True, slots=True)
class PageReading:
    """One reading of the two feet; a foot that was not measured is absent.

    `band` is what it is compared with, `published` whether published figures stand behind it.
    """

    name: str
    measures: Mapping[Side, Measure]
    band: Band | None
    published: bool


@dataclass(frozen=True, slots=True)
class PageProduct:
    """A product or pair on the page.

    Attributes
    ----------
    titles : of its parts; None for the customer's own shoe.
    kinds : of its parts, ``shoe`` or ``insole``.
    sizes : Mondopoint (mm) of each part, left and right; None for the own shoe and where no size
        is settled.
    reasons : feet and reason, for the weightiest wishes that it meets wholly.
    less : attributes that are less than wished.
    tried : how it did when it was tried, where it was.
    """

    titles: tuple[str | None, ...]
    kinds: tuple[str, ...]
    sizes: tuple[tuple[float, float] | None, ...]
    reasons: tuple[tuple[tuple[Side, ...], str], ...]
    less: tuple[str, ...]
    tried: StepResult | None


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything on the page."""

    outcome: Outcome
    trial: TrialOutcome
    ending: Ending
    readings: tuple[PageReading, ...]
    choices: tuple[PageProduct, ...]


def sheet_of(trial: TrialOutcome, chosen: str = "") -> Sheet:
    """Gather the page of a visit.

    Parameters
    ----------
    trial : the visit's outcome with its trial.
    chosen : ids joined by + of what was chosen; the best tried combination when empty, and
        where nothing was tried the first suggestions.

    Raises
    ------
    InputError
        If `chosen` is not on the shortlist: what the rules exclude is not put on a page.
    """
    ranked = trial.shortlist
    ending, choices = _ending(trial, ranked, chosen)
    return Sheet(trial.outcome, trial, ending, tuple(_readings(trial.outcome)), choices)


def _ending(
    trial: TrialOutcome, ranked: Shortlist | None, chosen: str
) -> tuple[Ending, tuple[PageProduct, ...]]:
    if ranked is None:
        return Ending.STOP, ()
    if "pain-not-looked-at" in ranked.unplaced:
        return Ending.PAIN_FIRST, ()
    if chosen:
        return Ending.CHOSEN, (_choice(_listed(ranked, chosen), chosen, trial),)
    best = trial.ranking.best
    if best is not None:
        return Ending.CHOSEN, (_choice(_candidate(ranked, best.id), best.id, trial),)
    if trial.trial.results:
        return Ending.NONE_CHOSEN, ()
    if trial.outcome.assessment.unscreened:
        return Ending.NOT_SCREENED, ()
    first = [ranked.ranked[group][0] for group in ("pair", "shoe") if ranked.ranked[group]]
    if not first:
        return Ending.NOTHING_SUITABLE, ()
    if not any(part.offered == "shop" for part in first[0].parts):
        return Ending.OWN_DO, ()
    return Ending.SUGGESTED, tuple(_choice(c, c.id, trial) for c in first)


def _candidate(ranked: Shortlist, name: str) -> Candidate | None:
    """The candidate of a combination; an insole in the own shoe is judged by itself."""
    wanted = name.removeprefix(f"{OWN}+")
    listed = (*ranked.ranked.values(), *ranked.missing.values())
    return next((c for group in listed for c in group if step_id(c.id) == wanted), None)


def _listed(ranked: Shortlist, name: str) -> Candidate | None:
    found = _candidate(ranked, name)
    if found is None and name != OWN:
        known = [c.id for group in GROUPS for c in ranked.ranked[group]]
        excluded = {c.id for group in GROUPS for c in ranked.excluded[group]}
        parts = {name, *name.split("+")}
        raise InputError(
            Place("--chosen"),
            f"`{name}` is excluded by the rules for these feet"
            if parts & excluded
            else f"`{name}` is not on the shortlist",
            "a shoe, an insole or SHOE+INSOLE of the shortlist, `own` or own+INSOLE",
            nearest(name, known) or "run `recommend shortlist` to see it",
        )
    return found


def _handed_over(trial: TrialOutcome) -> dict[str, tuple[float, float]]:
    """The sizes that were decided on, left and right, by product."""
    decision = trial.outcome.assessment.visit.decision
    if decision is None:
        return {}
    return {
        product: (sizes.left, sizes.right)
        for product, sizes in decision.handed
        if sizes.left is not None and sizes.right is not None
    }


def _choice(candidate: Candidate | None, name: str, trial: TrialOutcome) -> PageProduct:
    book, catalogue = trial.outcome.book, trial.outcome.catalogue
    ids = step_id(name).split("+")
    titles = tuple(None if one == OWN else catalogue.by_id[one].product.title for one in ids)
    kinds = tuple("shoe" if one == OWN else catalogue.by_id[one].product.kind for one in ids)
    tried = next((r for r in trial.trial.results if r.step.id == step_id(name)), None)
    if candidate is None:
        return PageProduct(titles, kinds, (None,) * len(ids), (), (), tried)
    parts = zip(candidate.parts, candidate.sized, strict=True)
    made = {p.id: (sized.size, sized.size) for p, sized in parts if sized.size is not None}
    made |= _handed_over(trial)  # what left the shop counts, not what would have been taken
    sizes = tuple(made.get(one) for one in ids)
    met = [v.need for v in candidate.judgement.verdicts if v.satisfaction == 1]
    wishes = sorted((n for n in met if n.strength != "never"), key=lambda n: -n.weight)
    rules = dict.fromkeys(rule for need in wishes for rule in need.rules)
    told = trial.outcome.assessment.reasons(rules, book)
    reasons = [(feet, because) for because, feet in told.items()]
    most = book.parameters.sheet.most_reasons
    unmet = [v.need for v in candidate.against if v.need.strength == "prefer"]
    less = dict.fromkeys(book.attributes[need.attribute].short for need in unmet)
    return PageProduct(titles, kinds, sizes, tuple(reasons[:most]), tuple(less), tried)


def _readings(outcome: Outcome) -> list[PageReading]:
    feet = outcome.assessment.feet
    found = []
    for name in _SHOWN:
        measures = {s: feet[s].measures[name] for s in SIDES if name in feet[s].measures}
        if measures:
            first = next(iter(measures.values()))
            found.append(PageReading(name, measures, *_compared(outcome.book, first)))
    return found


def _compared(book: Rulebook, measure: Measure) -> tuple[Band | None, bool]:
    """The band that a reading is compared with, and whether published figures stand behind it.

    A band of which an end is custom, from memory or assumed is the shop's own.
    """
    moving = READINGS_BY_MEASURE.get(measure.name)
    names = moving.limits if moving else _LIMITS.get(measure.name, ())
    limits = [book.limits.get(name) for name in names]
    found = [limit.value_of(measure.qualifiers) if limit else None for limit in limits]
    ends = [(one.value, one.kind) for one in found if one is not None]
    if not names or len(ends) < len(names):
        return None, False
    low, high = (value for value, _ in ends)
    if measure.name == "fpi":  # whole numbers; the limits are the first ones outside
        low, high = low + 1, high - 1
    return Band(low, high), all(kind in ("published", "derived") for _, kind in ends)


# Limits of what is no angle; `trial.readings` names those of the others.
_LIMITS = {
    "fpi": ("fpi-supinated", "fpi-pronated"),
    "arch-height-ratio": ("arch-ratio-low", "arch-ratio-high"),
}


def every_ache_counts(assessment: Assessment, book: Rulebook) -> bool:
    """Whether no ache may be called normal for this customer: nothing is to be waited out.

    So it is for who still grows or whose age is not known, for whom a clinician should see, and
    for who answered, or was not asked, a question that `heeds-every-ache`.
    """
    visit = assessment.visit
    asked = [(name, one) for name, one in book.questions.items() if one.heeds_every_ache]
    return (
        visit.age_band not in ("adult", "older")
        or assessment.clinician_first
        or any(visit.answers.get(name) != one.calm for name, one in asked)
    )
