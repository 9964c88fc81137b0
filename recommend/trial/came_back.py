"""What became of products: follow-ups of customers who came back, product by product."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import fmean, median

from recommend.measure.definitions import MeasureDefs
from recommend.measure.history import beyond_error
from recommend.measure.model import SIDES
from recommend.measure.observed import observe
from recommend.parameters import Parameters
from recommend.visit.models import FollowUp, Visit

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
    less, same, more : feet whose pain changed beyond the error of asking twice, or did not.
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


def came_back(
    visits: Iterable[Visit], defs: MeasureDefs, parameters: Parameters
) -> tuple[CameBack, ...]:
    """The table of all products that some follow-up names, by id; ``own`` shoes are left out.

    A pair counts for its shoe and for its insole: which of the two it was due to is not known.
    """
    by_product: dict[str, list[tuple[FollowUp, list[int]]]] = {}
    for visit in visits:
        again = visit.follow_up
        if again is None:
            continue
        pain = _pain(visit, defs, parameters)
        for product in {again.shoe, again.insole} - {None, OWN}:
            by_product.setdefault(str(product), []).append((again, pain))
    return tuple(_row(product, told) for product, told in sorted(by_product.items()))


def _pain(visit: Visit, defs: MeasureDefs, parameters: Parameters) -> list[int]:
    """-1, 0 or 1 for each foot that hurt then or hurts now: less, the same, more."""
    observed = observe(visit, defs, parameters).used
    out = []
    for side in SIDES:
        change = observed[side].get("pain-change")
        now = observed[side].get("pain-score")
        if change is None or now is None or not (float(change.value) or float(now.value)):
            continue
        value = float(change.value)
        out.append((1 if value > 0 else -1) if beyond_error(value, change.error or 0.0) else 0)
    return out


def _row(product: str, told: list[tuple[FollowUp, list[int]]]) -> CameBack:
    weeks = [one.weeks_of_wear for one, _ in told if one.weeks_of_wear is not None]
    comfort = [one.comfort["overall"] for one, _ in told if "overall" in one.comfort]
    answers = [one.returned for one, _ in told if one.returned in ("yes", "no")]
    pain = [foot for _, feet in told for foot in feet]
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
    )
