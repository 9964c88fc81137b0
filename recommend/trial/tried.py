"""Which tried combination is best, or none; and the shortlist with what was measured.

A measurement never lifts a never, a stop or a note: a product that the rules excluded stays
excluded, whatever it did to the foot today.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from recommend.catalogue.fitting import fit
from recommend.match.needs import need_words
from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS, Candidate, Group, Shortlist
from recommend.rulebook.book import Rulebook
from recommend.trial.report import StepResult, Trial
from recommend.trial.steps import OWN, Key, Step


class Bar(Enum):
    """Why a tried combination cannot be the best one, worst first."""

    RULED_OUT = "ruled-out"
    OVER_CORRECTED = "over-corrected"
    HURTS = "hurts"
    AWAY = "away"
    DOUBTFUL = "doubtful"
    NOTHING_TOLD = "nothing-told"
    NOT_COMPARED = "not-compared"


@dataclass(frozen=True, slots=True)
class Tried:
    """A tried combination in its place.

    Attributes
    ----------
    result : how it did.
    bars : why it cannot be the best; empty when it can.
    residual : mean of the degrees outside the band, over readings that all combinations have
        in common where there are such; None when no reading has a band.
    worth : `residual`, plus what comfort weighs where every combination that can be the best
        was rated; lower is better.
    with_comfort : whether comfort is in `worth`.
    readings : how many readings `residual` stands on.
    """

    result: StepResult
    bars: tuple[Bar, ...]
    residual: float | None
    worth: float
    with_comfort: bool
    readings: int

    @property
    def id(self) -> str:
        """Ids of the parts, joined by +."""
        return self.result.step.id


@dataclass(frozen=True, slots=True)
class Ranking:
    """Tried combinations, best first; `best` is None when none of them will do."""

    tried: tuple[Tried, ...]

    @property
    def best(self) -> Tried | None:
        """The combination to choose of those tried."""
        return self.tried[0] if self.tried and not self.tried[0].bars else None


def rank_tried(
    trial: Trial, parameters: Mapping[str, float], excluded: Collection[str] = ()
) -> Ranking:
    """Order the tried combinations.

    Parameters
    ----------
    trial : the judged trial.
    parameters : ``trial.comfort-worth``, degrees per point.
    excluded : ids of combinations that the rules exclude.

    Notes
    -----
    1. Combinations with nothing against them come first; then by the worst thing against them.
    2. Within each, by degrees outside the band (mean over the readings that all combinations
       have in common) plus ``comfort-worth`` for every point of comfort below 10. Comfort counts
       only when all combinations of the first kind were rated: a rating that is missing is
       neither 0 nor 10.
    3. Ties keep the order in which they were tried.
    """
    bars = [_bars(result, result.step.id in excluded) for result in trial.results]
    free = [r for r, against in zip(trial.results, bars, strict=True) if not against]
    rated = bool(free) and all(r.comfort is not None for r in free)
    common = _common(free or trial.results)
    tried = []
    for result, against in zip(trial.results, bars, strict=True):
        keys = common & result.whole.keys() or result.whole.keys()
        residual = result.residual(keys)
        worth = _worth(residual, result.comfort if rated else None, parameters)
        tried.append(Tried(result, against, residual, worth, rated, len(keys)))
    return Ranking(tuple(sorted(tried, key=_place)))


def _common(results: Sequence[StepResult]) -> frozenset[Key]:
    """Readings with a band that all of these have: what one was not filmed in cannot help it."""
    judged = [{k for k, j in r.whole.items() if j.band} for r in results]
    return frozenset(set.intersection(*judged)) if judged else frozenset()


def _bars(result: StepResult, excluded: bool) -> tuple[Bar, ...]:
    found = {
        Bar.RULED_OUT: excluded,
        Bar.OVER_CORRECTED: bool(result.over),
        Bar.HURTS: bool(result.hurts),
        Bar.AWAY: bool(result.away),
        Bar.DOUBTFUL: bool(result.doubtful),
        Bar.NOT_COMPARED: not result.whole,
        Bar.NOTHING_TOLD: bool(result.open) and not (result.gained or result.over or result.away),
    }
    return tuple(bar for bar in Bar if found[bar])


def _worth(residual: float | None, comfort: float | None, parameters: Mapping[str, float]) -> float:
    missing = 0.0 if comfort is None else parameters["trial.comfort-worth"] * (10 - comfort)
    return (residual or 0.0) + missing


def _place(tried: Tried) -> tuple[int, float]:
    order = list(Bar)
    # Free of bars first, then the least bad bar: NOT_COMPARED and NOTHING_TOLD before HURTS.
    worst = len(order) - order.index(tried.bars[0]) if tried.bars else 0
    return (worst, round(tried.worth, 6))


def reranked(shortlist: Shortlist, ranking: Ranking) -> Shortlist:
    """The shortlist with tried combinations in the places that they earned.

    In each group: tried with nothing against them first, then what was not tried in its old
    order, then tried with something against them. Excluded and missing stay as they were.
    """
    places, behind = _places(ranking, bars=False), _places(ranking, bars=True)

    def key(candidate: Candidate) -> tuple[int, int]:
        if candidate.id in places:
            return (0, places[candidate.id])
        return (2, behind[candidate.id]) if candidate.id in behind else (1, 0)

    ranked: dict[Group, tuple[Candidate, ...]] = {
        group: tuple(sorted(shortlist.ranked[group], key=key)) for group in GROUPS
    }
    return replace(shortlist, ranked=ranked)


def _places(ranking: Ranking, *, bars: bool) -> dict[str, int]:
    """Place by candidate id; an insole tried in the customer's own shoe stands for itself."""
    return {
        tried.id.removeprefix(f"{OWN}+"): place
        for place, tried in enumerate(ranking.tried)
        if bool(tried.bars) == bars
    }


def against_rules(outcome: Outcome, steps: Iterable[Step]) -> dict[str, str]:
    """What the rules or the fit say against tried combinations: words by id; the rest is absent.

    Raises
    ------
    InputError
        If a product is not in the catalogue.
    """
    ranked, book = outcome.shortlist, outcome.book
    if ranked is None:
        return {}
    excluded = {c.id: c for group in GROUPS for c in ranked.excluded[group]}
    listed = {c.id for group in GROUPS for c in (*ranked.ranked[group], *ranked.missing[group])}
    found = {}
    for step in steps:
        parts = [outcome.catalogue.item(part) for part in step.products]
        broken = [excluded[id_] for id_ in (*step.products, step.id) if id_ in excluded]
        if broken:
            found[step.id] = _why_out(broken[0], book)
        elif len(parts) == 2 and step.id not in listed:
            found[step.id] = "; ".join(fit(parts[0], parts[1], book.parameters).against)
    return found


def _why_out(candidate: Candidate, book: Rulebook) -> str:
    """Why a combination is out: the harm it did, or the first need that it breaks."""
    if candidate.harm:
        return candidate.harm
    verdict = next(v for v in candidate.judgement.verdicts if v.broken)
    return f"{book.attributes[verdict.need.attribute].title}: {need_words(verdict.need, book)}"
