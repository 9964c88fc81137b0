"""How gladly each product was worn, given back, and what began to hurt, by the kind of foot."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from statistics import fmean

from recommend.match.wishes import OWN
from recommend.measure.model import SIDES, Side
from recommend.parameters import Parameters
from recommend.trial.steps import steps_of
from recommend.visit.models import Region, Visit
from recommend.visit.pain import pain_since


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
