"""How gladly each product was worn when tried, by the kind of foot."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from statistics import fmean

from recommend.match.worn import OWN
from recommend.measure.model import SIDES, Side
from recommend.parameters import Parameters
from recommend.trial.steps import steps_of
from recommend.visit.models import Visit


@dataclass(frozen=True, slots=True)
class Liked:
    """Ratings of one product on one kind of foot.

    Attributes
    ----------
    product, foot_type : ids; `foot_type` is empty where the foot is undetermined.
    feet : feet that were rated in it; of a pair, shoe and insole are rated together.
    comfort : mean of the overall rating, else of the regions, 0 to 10.
    hurt : feet of which a region was rated at or below ``trial.comfort-poor``.
    """

    product: str
    foot_type: str
    feet: int
    comfort: float
    hurt: int


def liked(
    visits: Iterable[Visit],
    types_of: Callable[[Visit], Mapping[Side, str | None]],
    parameters: Parameters,
) -> tuple[Liked, ...]:
    """Ratings by product and foot type, in the order of their names."""
    ratings: dict[tuple[str, str], list[tuple[float, bool]]] = defaultdict(list)
    for visit in visits:
        rated = [step for step in steps_of(visit)[1:] if step.comfort]
        types = types_of(visit) if rated else {}
        for step in rated:
            for side in SIDES:
                regions = step.comfort.get(side)
                if not regions:
                    continue
                whole = regions["overall"] if "overall" in regions else fmean(regions.values())
                hurt = min(regions.values()) <= parameters.trial.comfort_poor
                for product in step.products:
                    if product != OWN:
                        ratings[product, types.get(side) or ""].append((whole, hurt))
    return tuple(
        Liked(product, kind, len(told), fmean(one for one, _ in told), sum(h for _, h in told))
        for (product, kind), told in sorted(ratings.items())
    )
