"""Which tried combination is best, or none; and the shortlist with what was measured.

A measurement never lifts a never, a stop or a note: a product that the rules excluded stays
excluded, whatever it did to the foot today.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from statistics import NormalDist

from recommend.match.judge import fit
from recommend.match.needs import ruling_words
from recommend.match.out import OWN, step_id
from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS, Candidate, Shortlist
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.trial.judged_steps import StepResult, Trial
from recommend.trial.steps import ReadingKey, Step

_ENOUGH_PAIRS = 3  # blind second ratings from which their own noise is used


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
    residual : mean of the degrees outside the band over the readings shared with those it is
        compared with; None when they share none that has a band.
    readings : how many readings `residual` stands on.
    motion : degrees by which it lies further outside than the nearest of them; 0 within noise.
    discomfort : points by which it is less comfortable than the most comfortable of them; 0
        where ratings are as alike as two of the same shoe, and where not all were rated.
    worth : `motion` plus what `discomfort` weighs, in degrees; lower is better.
    with_comfort : whether comfort is in `worth`.
    """

    result: StepResult
    bars: tuple[Bar, ...]
    residual: float | None
    readings: int
    motion: float
    discomfort: float
    worth: float
    with_comfort: bool

    @property
    def id(self) -> str:
        """Ids of the parts, joined by +."""
        return self.result.step.id


@dataclass(frozen=True, slots=True)
class TriedOrder:
    """Tried combinations, best first; `best` is None when none of them will do.

    Attributes
    ----------
    tried : all of them.
    by_motion : ids that motion alone would choose: more than one where noise cannot part them.
    by_comfort : ids that comfort alone would choose; empty where none was rated.
    alike : points of comfort within which two ratings are the same.
    alike_measured : whether `alike` comes from this customer's own second ratings.
    """

    tried: tuple[Tried, ...]
    by_motion: tuple[str, ...] = ()
    by_comfort: tuple[str, ...] = ()
    alike: float = 0.0
    alike_measured: bool = False

    @property
    def best(self) -> Tried | None:
        """The combination to choose of those tried."""
        return self.tried[0] if self.tried and not self.tried[0].bars else None

    @property
    def equals(self) -> tuple[Tried, ...]:
        """Others that are as good as the best, so that the one that does least comes first."""
        best = self.best
        if best is None:
            return ()
        level = (len(best.result.missing), round(best.worth, 6))
        return tuple(
            t for t in self.tried[1:]
            if not t.bars and (len(t.result.missing), round(t.worth, 6)) == level
        )  # fmt: skip


def rank_tried(
    trial: Trial,
    parameters: Parameters,
    excluded: Collection[str] = (),
    doses: Mapping[str, float] | None = None,
) -> TriedOrder:
    """Order the tried combinations.

    Parameters
    ----------
    trial : the judged trial.
    parameters : ``trial.comfort-worth``, degrees per point, and ``trial.comfort-alike``.
    excluded : ids of combinations that the rules exclude.
    doses : wedge of shoe and insole together in degrees, by id, where it is known.

    Notes
    -----
    1. Combinations with nothing against them come first; then by the worst thing against them.
    2. What was measured in fewer of the readings of the bare foot comes after what was measured
       in more: a reading that is missing never helps.
    3. Those measured in as many are compared on the readings that all of them share: degrees
       further outside the band than the nearest, where that is beyond noise, plus
       ``comfort-worth`` for every point of comfort below the best rated, where that is more
       than two ratings of one shoe differ. So comfort decides where motion does not differ,
       and where both do, the exchange rate. A rating that is missing is neither 0 nor 10:
       comfort counts where all were rated.
    4. Equals: the smaller wedge, then the fewer parts, then as they were tried.
    """
    alike, measured = _alike(trial, parameters)
    groups: dict[tuple[bool, int], list[int]] = {}
    bars = [_bars(result, result.step.id in excluded) for result in trial.results]
    for index, (result, against) in enumerate(zip(trial.results, bars, strict=True)):
        groups.setdefault((bool(against), len(result.missing)), []).append(index)
    tried: dict[int, Tried] = {}
    for members in groups.values():
        results = [trial.results[index] for index in members]
        found = _compared(results, [bars[index] for index in members], alike, parameters)
        tried |= dict(zip(members, found, strict=True))
    known = doses or {}
    ordered = sorted(tried.values(), key=lambda one: _place(one, known))
    free = [one for one in ordered if not one.bars]
    return TriedOrder(tuple(ordered), *_choices(free, alike), alike, measured)


def _choices(free: Sequence[Tried], alike: float) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What motion alone and comfort alone would choose among those with nothing against them."""
    least = min((len(one.result.missing) for one in free), default=0)
    compared = [one for one in free if len(one.result.missing) == least and one.readings]
    by_motion = tuple(one.id for one in compared if one.motion == 0)
    rated = [(one.result.comfort, one.id) for one in free if one.result.comfort is not None]
    highest = max((comfort for comfort, _ in rated), default=0.0)
    return by_motion, tuple(name for comfort, name in rated if comfort >= highest - alike)


def _compared(
    results: Sequence[StepResult],
    bars: Sequence[tuple[Bar, ...]],
    alike: float,
    parameters: Parameters,
) -> list[Tried]:
    """Combinations measured in as many readings, on what they share."""
    keys = _shared(results)
    residuals = [result.residual(keys) for result in results]
    noise = [_noise(result, keys) for result in results]
    nearest = min(range(len(results)), key=lambda i: residuals[i] or 0.0)
    comforts = [result.comfort for result in results if result.comfort is not None]
    rated = len(comforts) == len(results)
    reach = NormalDist().inv_cdf((1 + parameters.trial.confidence) / 2)
    tried = []
    for index, result in enumerate(results):
        further = (residuals[index] or 0.0) - (residuals[nearest] or 0.0)
        motion = further if further > reach * math.hypot(noise[index], noise[nearest]) else 0.0
        lower = max(comforts) - (result.comfort or 0.0) if rated else 0.0
        discomfort = lower if lower > alike else 0.0
        worth = motion + parameters.trial.comfort_worth * discomfort
        tried.append(
            Tried(
                result, bars[index], residuals[index], len(keys), motion, discomfort, worth, rated
            )
        )
    return tried


def _shared(results: Sequence[StepResult]) -> frozenset[ReadingKey]:
    """Readings that all of these have and that add to the degrees outside the band."""
    return frozenset(set.intersection(*({k for k in r.whole if r.counts(k)} for r in results)))


def _noise(result: StepResult, keys: Collection[ReadingKey]) -> float:
    """Standard error of the mean degrees outside the band.

    A reading that lies within its band and clear of its edges adds nothing to it.
    """
    judged = [result.whole[key] for key in keys]
    variance = sum(j.change.variance for j in judged if j.residual or not j.clear)
    return math.sqrt(variance) / max(len(judged), 1)


def _alike(trial: Trial, parameters: Parameters) -> tuple[float, bool]:
    """Points within which two ratings of comfort are the same, and whether measured here.

    From blind second ratings: 1.96 times the standard deviation of the difference of two
    ratings, as limits of agreement (Bland and Altman 1986, Lancet 1:307-310).
    """
    pairs = [both for result in trial.results for both in result.step.again.values()]
    if len(pairs) < _ENOUGH_PAIRS:
        return parameters.trial.comfort_alike, False
    spread = math.sqrt(sum((one - two) ** 2 for one, two in pairs) / len(pairs))
    return NormalDist().inv_cdf(0.975) * spread, True


def _bars(result: StepResult, excluded: bool) -> tuple[Bar, ...]:
    moved = result.gained or result.over or result.away
    found = {
        Bar.RULED_OUT: excluded,
        Bar.OVER_CORRECTED: bool(result.over),
        Bar.HURTS: bool(result.hurts),
        Bar.AWAY: bool(result.away),
        Bar.DOUBTFUL: bool(result.doubtful),
        # Where motion cannot be told to change, comfort may speak for it; else nothing does.
        Bar.NOTHING_TOLD: bool(result.open) and not moved and result.comfort is None,
        Bar.NOT_COMPARED: not result.whole and result.comfort is None,
    }
    return tuple(bar for bar in Bar if found[bar])


def _place(tried: Tried, doses: Mapping[str, float]) -> tuple[float, ...]:
    order = list(Bar)
    # Free of bars first, then the least bad bar: NOT_COMPARED and NOTHING_TOLD before HURTS.
    worst = len(order) - order.index(tried.bars[0]) if tried.bars else 0
    dose, parts = abs(doses.get(tried.id, 0.0)), len(tried.id.split("+"))
    return (worst, len(tried.result.missing), round(tried.worth, 6), dose, parts)


def reranked(shortlist: Shortlist, ranking: TriedOrder) -> Shortlist:
    """The shortlist with tried combinations in the places that they earned.

    In each group: tried with nothing against them first, then what was not tried in its old
    order, then tried with something against them. Excluded and missing stay as they were.
    """
    places, behind = _places(ranking, bars=False), _places(ranking, bars=True)

    def key(candidate: Candidate) -> tuple[int, int]:
        name = step_id(candidate.id)
        if name in places:
            return (0, places[name])
        return (2, behind[name]) if name in behind else (1, 0)

    ranked = {group: grouped(sorted(shortlist.ranked[group], key=key), key) for group in GROUPS}
    return replace(shortlist, ranked=ranked)


def grouped(
    ordered: Iterable[Candidate], key: Callable[[Candidate], tuple[float, ...]]
) -> tuple[Candidate, ...]:
    """Candidates in order, their groups of equals told anew: they share the `key` as well."""
    groups: dict[tuple[float, ...], int] = {}
    return tuple(
        replace(one, alike=groups.setdefault((*key(one), one.alike), len(groups)))
        for one in ordered
    )


def _places(ranking: TriedOrder, *, bars: bool) -> dict[str, int]:
    """Place by candidate id; an insole tried in the customer's own shoe stands for itself."""
    return {
        name: place
        for place, tried in enumerate(ranking.tried)
        if bool(tried.bars) == bars
        for name in (tried.id, tried.id.removeprefix(f"{OWN}+"))
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
    return ruling_words(verdict.need, book)
