"""The steps for a customer who comes back: screening first, then the time since, then measures."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import get_args

from recommend.visit.answers import Known, Number, Text
from recommend.visit.intake import SCREENING, YES_NO, Absorb, Asked, intake
from recommend.visit.models import Region, Visit
from recommend.visit.steps import Step
from recommend.visit.tree import SIDES, Path, Tree

SINCE = "Since the last visit"
CARRIED = ("age-band", "purpose", "shoe-size", "body-mass-kg")  # asked again, Enter keeps them


def begun_again(earlier: Visit, name: str, today: date) -> Tree:
    """What the visit of a customer who comes back begins with.

    Parameters
    ----------
    earlier : the visit before.
    name : what that visit is called on the shelf.
    today : the date of the new visit.
    """
    before = earlier.model_dump(mode="json", by_alias=True, exclude_unset=True)
    pain = _worst(earlier)
    tree: Tree = {"reference": earlier.reference, "date": today.isoformat()}
    tree |= {key: copy.deepcopy(before[key]) for key in CARRIED if key in before}
    tree["follow-up"] = {"of": name}
    if pain:
        tree["follow-up"]["pain-before"] = pain
    tree["follow-up"] |= _handed_over(earlier)
    return tree


def _worst(earlier: Visit) -> dict[str, int]:
    """The worst pain of each side at the visit before, as far as it was said."""
    out: dict[str, int] = {}
    for side in SIDES if earlier.pain is not None else ():
        here = [one.score for one in earlier.pain or [] if one.side in (side, "both")]
        known = [score for score in here if score is not None]
        if known or not here:
            out[side] = max(known, default=0)
    return out


def _handed_over(earlier: Visit) -> dict[str, str]:
    """What left the shop with the customer at the visit before: offered as what was worn."""
    decision = earlier.decision
    if decision is None or decision.outcome not in ("sold", "to-try"):
        return {}
    chosen = {"shoe": decision.shoe, "insole": decision.insole}
    return {kind: product for kind, product in chosen.items() if product}


def _weeks_since(tree: Tree) -> str | None:
    """Whole weeks from the visit before to this one, offered and never taken unasked."""
    day = re.search(r"_(\d{4}-\d{2}-\d{2})", str(tree["follow-up"]["of"]))
    if day is None or "date" not in tree:
        return None
    days = (date.fromisoformat(str(tree["date"])) - date.fromisoformat(day[1])).days
    return str(days // 7) if days >= 0 else None


def steps_again(
    questions: Mapping[str, Asked],
    sizes: str,
    zero: str,
    worn: Mapping[str, frozenset[str]],
    absorb: Absorb | None = None,
) -> tuple[Step, ...]:
    """The steps of a visit of a customer who comes back.

    `worn` has the ids of products by kind (``shoe``, ``insole``); the others are as of `intake`.
    """
    steps = intake(questions, sizes, zero, absorb)
    screening = tuple(step for step in steps if step.block == SCREENING)
    rest = tuple(step for step in steps if step.block != SCREENING)
    return (*screening, *_since(worn), *rest)


def _since(worn: Mapping[str, frozenset[str]]) -> Iterator[Step]:
    told: Path = ("follow-up",)
    for side in SIDES:
        yield Step(
            f"pain-before.{side}", SINCE, f"{side.upper()}: worst pain at the last visit, 0 to 10",
            Number(whole=True), (*told, "pain-before", side),
            "As it was then. Taken from the visit before where it was asked there.",
        )  # fmt: skip
    for product, ids in worn.items():
        kind = Known(f"the id of the {product}, or own", ids | {"own"})
        yield Step(
            f"worn-{product}", SINCE, f"Which {product} was worn since?", kind, (*told, product),
            "Its id in the catalogue, so that what came of it counts for this product.",
        )  # fmt: skip
    yield Step(
        "weeks-of-wear", SINCE, "For how many weeks was it worn?", Number("weeks"),
        (*told, "weeks-of-wear"), "The weeks since the last visit stand in brackets; Enter "
        "says that it was worn all that time.", usual=_weeks_since,
    )  # fmt: skip
    yield Step(
        "hours-a-day", SINCE, "How many hours a day?", Number("hours"), (*told, "hours-a-day"),
        "On the days on which it was worn.",
    )  # fmt: skip
    for region in ("overall", *(one for one in get_args(Region) if one != "overall")):
        yield Step(
            f"comfort-{region}", SINCE, f"Comfort, {region}: 0 (cannot be worn) to 10 (best)",
            Number(), (*told, "comfort", region), "As the customer says; regions may be left out.",
        )  # fmt: skip
    yield Step(
        "returned", SINCE, "Was it given back?", YES_NO, (*told, "returned"),
        "A pair that comes back teaches the shop as much as one that stays.",
    )  # fmt: skip
    yield Step(
        "changed", SINCE, "What was changed since? (no names)", Text("one line of text"),
        (*told, "changed"), "Another shoe, more training, an insole cut down, a treatment.",
    )  # fmt: skip
