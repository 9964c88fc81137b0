"""What became of products: follow-ups of customers who came back, product by product."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from statistics import fmean, median

from recommend.measure.definitions import MeasureDefs
from recommend.measure.history import beyond_error
from recommend.measure.model import SIDES
from recommend.measure.observed import observe
from recommend.parameters import Parameters
from recommend.visit.models import FollowUp, Visit
from recommend.visit.pain import pain_since

OWN = "own"


@dataclass(frozen=True, slots=True)
class CameBack:
    """Follow-ups of one product.

    Attributes
    ----------
    customers : follow-ups that named it.
    weeks : median weeks of wear, or None where never told.
    comfort, rated : mean overall comfort (0 to 10), and of how many.
    returned, told : given back, and of how many it was told.
    less, same, more : painful sites of a foot whose pain changed beyond the error of asking twice,
        or did not; feet, where the sites of the visit before are not known.
    new : sites that hurt now and did not before, each ``site side``, as often as it was told.
    """

    product: str
    customers: int
    weeks: float | None
    comfort: float | None
    rated: int
    returned: int
    told: int
    less: int
    same: int
    more: int
    new: tuple[str, ...]


def came_back(
    visits: Iterable[Visit], defs: MeasureDefs, parameters: Parameters
) -> tuple[CameBack, ...]:
    """The table of all products that some follow-up names, by id; ``own`` shoes are left out.

    A pair counts for its shoe and for its insole: which of the two it was due to is not known.
    """
    by_product: dict[str, list[_Told]] = {}
    for visit in visits:
        again = visit.follow_up
        if again is None:
            continue
        pain = _pain(visit, defs, parameters)
        for product in {again.shoe, again.insole} - {None, OWN}:
            by_product.setdefault(str(product), []).append((again, pain, tuple(_new(visit))))
    return tuple(_row(product, told) for product, told in sorted(by_product.items()))


_Told = tuple[FollowUp, list[int], tuple[str, ...]]  # told since, changes of pain, new pain
UNPLACED = "place not told"


def _new(visit: Visit) -> Iterator[str]:
    """Where it hurts now and did not before; a new pain of which the place is not known counts."""
    sites = [
        f"{one.site.replace('-', ' ')} {one.side}" for one in pain_since(visit) or () if one.new
    ]
    yield from sites
    if not sites and visit.answers.get("new-pain") == "yes":
        yield UNPLACED


def _pain(visit: Visit, defs: MeasureDefs, parameters: Parameters) -> list[int]:
    """-1, 0 or 1 for each site that hurt before: less, the same, more; else for each foot."""
    since = pain_since(visit)
    if since is not None:
        changes = [(one.before, one.now, one.change) for one in since if one.change is not None]
        one_answer = defs["pain-score"].error
        single = one_answer.single if one_answer else 0.0
        return [
            _sign(change, math.hypot(single if then else 0.0, single if now else 0.0))
            for then, now, change in changes
        ]
    observed = observe(visit, defs, parameters).used
    out = []
    for side in SIDES:
        change = observed[side].get("pain-change")
        now = observed[side].get("pain-score")
        if change is None or now is None or not (float(change.value) or float(now.value)):
            continue
        out.append(_sign(float(change.value), change.error or 0.0))
    return out


def _overall(again: FollowUp) -> float | None:
    """Overall comfort, the mean of the feet that were rated; None where neither was."""
    feet = [again.comfort_of(side).get("overall") for side in SIDES]
    rated = [one for one in feet if one is not None]
    return fmean(rated) if rated else None


def _sign(change: float, error: float) -> int:
    return (1 if change > 0 else -1) if beyond_error(change, error) else 0


def _row(product: str, told: list[_Told]) -> CameBack:
    weeks = [one.weeks_of_wear for one, *_ in told if one.weeks_of_wear is not None]
    comfort = [rated for one, *_ in told if (rated := _overall(one)) is not None]
    answers = [one.returned for one, *_ in told if one.returned in ("yes", "no")]
    pain = [foot for _, feet, _ in told for foot in feet]
    return CameBack(
        product=product,
        customers=len(told),
        weeks=median(weeks) if weeks else None,
        comfort=fmean(comfort) if comfort else None,
        rated=len(comfort),
        returned=answers.count("yes"),
        told=len(answers),
        less=pain.count(-1),
        same=pain.count(0),
        more=pain.count(1),
        new=tuple(site for *_, sites in told for site in sites),
    )
