"""What became of products: follow-ups of customers who came back, product by product.

And how gladly each was worn, given back, and what began to hurt, by the kind of foot.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from statistics import fmean, median

from recommend.match.out import OWN
from recommend.measure.definitions import MeasureDefs
from recommend.measure.model import SIDES, Side
from recommend.measure.observed import observe
from recommend.measure.repeated import beyond_error
from recommend.parameters import Parameters
from recommend.trial.steps import steps_of
from recommend.visit.models import FollowUp, Region, Visit
from recommend.visit.pain import pain_since


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


@dataclass
class Liked:
    """What the feet of one kind said of one product; of a pair, shoe and insole are told together.

    Attributes
    ----------
    product, foot_type : ids; `foot_type` is empty where the foot is undetermined.
    tried : a rating for each foot that tried it: the overall one, else the mean of the regions,
        0 to 10.
    hurt : feet of which a region was rated at or below ``trial.comfort-poor`` when tried.
    worn : the same ratings from customers who came back after wearing it.
    returned, returned_known : feet whose product was given back, of those of whom it was told.
    new_pain, new_pain_known : feet on which a pain began in it, of those of whom it was told. A
        new pain of which the place is not known counts on both.
    """

    product: str
    foot_type: str
    tried: list[float] = field(default_factory=list)
    hurt: int = 0
    worn: list[float] = field(default_factory=list)
    returned: int = 0
    returned_known: int = 0
    new_pain: int = 0
    new_pain_known: int = 0


def liked(
    visits: Iterable[Visit],
    types_of: Callable[[Visit], Mapping[Side, str | None]],
    parameters: Parameters,
) -> tuple[Liked, ...]:
    """A row for each kind of foot and product, in the order of their names.

    Plain counts and means: customers choose what they wear and whether they come back.
    """
    rows: dict[tuple[str, str], Liked] = {}
    for visit in visits:
        rated, worn = list(_rated(visit)), _worn(visit)
        types = types_of(visit) if rated or worn else {}

        def row(product: str, side: Side, types: Mapping[Side, str | None] = types) -> Liked:
            kind = types.get(side) or ""
            return rows.setdefault((kind, product), Liked(product, kind))

        for product, side, regions in rated:
            row(product, side).tried.append(_whole(regions))
            row(product, side).hurt += min(regions.values()) <= parameters.trial.comfort_poor
        for product in worn:
            for side in SIDES:
                _came_back(row(product, side), visit, side)
    return tuple(row for _, row in sorted(rows.items()))


def _rated(visit: Visit) -> Iterator[tuple[str, Side, Mapping[str, float]]]:
    """Product, foot and ratings by region, of every try-on."""
    for step in steps_of(visit)[1:]:
        for side in SIDES:
            if regions := step.comfort.get(side):
                yield from ((one, side, regions) for one in step.products if one != OWN)


def _worn(visit: Visit) -> tuple[str, ...]:
    """What a customer who comes back has worn; the own shoe is no product."""
    again = visit.follow_up
    worn = (again.shoe, again.insole) if again else ()
    return tuple(one for one in worn if one is not None and one != OWN)


def _came_back(row: Liked, visit: Visit, side: Side) -> None:
    """Add what one foot tells of the time since."""
    again, since = visit.follow_up, pain_since(visit)
    if again is None:
        return
    if regions := again.comfort_of(side):
        row.worn.append(_whole(regions))
    if again.returned in ("yes", "no"):
        row.returned_known += 1
        row.returned += again.returned == "yes"
    placed = {one.side for one in since or () if one.new}
    said = visit.answers.get("new-pain")
    if since is not None or said in ("yes", "no"):
        row.new_pain_known += 1
        row.new_pain += side in placed or (said == "yes" and not placed)


def _whole(regions: Mapping[str, float] | Mapping[Region, float]) -> float:
    return regions["overall"] if "overall" in regions else fmean(regions.values())
