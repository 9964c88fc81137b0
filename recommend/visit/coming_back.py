"""The steps for a customer who comes back: screening first, then the time since, then measures."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any, get_args

from recommend.dataclass import dataclass
from recommend.visit.answers import KnownWord, RefusedError, Text, TypedNumber
from recommend.visit.entry_steps import SCREENING, Asked, EntryStep, for_each_foot
from recommend.visit.intake import FPI_ITEMS, LENGTHS, YES_NO, Absorb, Keyed, Taken, intake
from recommend.visit.models import Region, Visit, days_between
from recommend.visit.tree import SIDES, Both, Path, Tree, each_foot, get, put

SINCE = "Since the last visit"
# Taken over and counted until taken anew, by what it is called at the counter and where it stands.
CARRIED: Mapping[str, Path] = {
    "age-band": ("age-band",),
    "purpose": ("purpose",),
    "shoe-size": ("shoe-size",),
    "body-mass": ("body-mass-kg",),
    **{name: ("feet", Both(), "fpi", "items", name) for name, *_ in FPI_ITEMS},
    "fpi-total": ("feet", Both(), "fpi", "total"),
    **{name: ("feet", Both(), *keys) for name, _, keys, _ in LENGTHS},
    "arch-index": ("feet", Both(), "arch-index"),
}
# Told anew each time even so: it says what the customer is and wants today.
_ASKED_AGAIN = frozenset({"age-band", "purpose"})


def begun_again(earlier: Visit, name: str, today: date, child_days: float = 0) -> Tree:
    """What the visit of a customer who comes back begins with.

    Sizes, posture and wishes of the visit before count until they are taken anew, each with the
    day on which it was taken. Screening, pain and motion do not: they are asked and filmed again.

    Parameters
    ----------
    earlier : the visit before.
    name : what that visit is called on the shelf.
    today : the date of the new visit.
    child_days : the most days for which what was measured of a child or teen counts.
    """
    before = earlier.model_dump(mode="json", by_alias=True, exclude_unset=True)
    tree: Tree = {"reference": earlier.reference, "date": today.isoformat(), "carried": {}}
    for stem, path in CARRIED.items():
        taken = earlier.carried.get(stem, earlier.date or today.isoformat())
        if not _still_true(earlier, stem, date.fromisoformat(taken), today, child_days):
            continue
        for side_path in each_foot(path):
            value = get(before, side_path)
            if value is not None:
                put(tree, side_path, copy.deepcopy(value))
                if stem not in _ASKED_AGAIN:
                    tree["carried"][stem] = taken
    tree["follow-up"] = {"of": name, **_handed_over(earlier)}
    if earlier.pain is not None:
        tree["follow-up"]["pain-sites-before"] = [
            one.model_dump(mode="json", by_alias=True, exclude_unset=True) for one in earlier.pain
        ]
    pain = _worst(earlier)
    if pain:
        tree["follow-up"]["pain-before"] = pain
    return tree


def _still_true(earlier: Visit, stem: str, taken: date, today: date, child_days: float) -> bool:
    """Whether an answer of then can stand for today: feet that grow are measured again."""
    grows = earlier.age_band in (None, "child", "teen") and stem not in _ASKED_AGAIN
    return not grows or (today - taken).days <= child_days


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
    of, day = get(tree, ("follow-up", "of")), tree.get("date")
    days = days_between(of and str(of), day and str(day))
    return str(days // 7) if days is not None and days >= 0 else None


def steps_again(
    questions: Mapping[str, Asked],
    purposes: Mapping[str, Keyed],
    sizes: str,
    zero: str,
    worn: Mapping[str, Mapping[str, str]],
    absorb: Absorb | None = None,
    measures: Mapping[str, Taken] | None = None,
) -> tuple[EntryStep, ...]:
    """The steps of a visit of a customer who comes back.

    `worn` has titles by the codes of products, by kind (``shoe``, ``insole``); the
    others are as of `intake`.
    """
    steps = intake(questions, purposes, sizes, zero, absorb, measures)
    screening = tuple(step for step in steps if step.block == SCREENING)
    rest = tuple(step for step in steps if step.block != SCREENING)
    return (*screening, *_since(worn), *rest)


_FEET = {"b": SIDES, "l": SIDES[:1], "r": SIDES[1:]}  # by the first letter that is typed


@dataclass(frozen=True, slots=True)
class Sore:
    """Regions that press or hurt: ``left arch 3, both heel 4``."""

    keys: frozenset[str] = frozenset()
    hint: str = "foot, region, comfort 0 (worst) to 10, such as: left arch 3, both heel 6"

    def parse(self, text: str) -> dict[tuple[str, str], float]:
        """Ratings by foot and region; RefusedError when they mean nothing here."""
        found: dict[tuple[str, str], float] = {}
        for part in re.split(r"[,;]", text.lower()):
            words = part.split()
            feet = _FEET.get(words[0][:1] if words else "", ())
            if len(words) != 3 or not feet or words[1] not in get_args(Region):
                raise RefusedError(
                    f"`{part.strip()[:40]}` is not understood; write {self.hint} (regions: "
                    f"{', '.join(get_args(Region))})"
                )
            found |= {(side, words[1]): TypedNumber().parse(words[2]) for side in feet}
        return found

    def show(self, value: Any) -> str:
        """Each rating in words."""
        return ", ".join(f"{side} {region} {rating:g}" for (side, region), rating in value.items())


def sore_step(block: str, place: Path) -> EntryStep:
    """Where it presses or hurts, rated into ``feet`` of what stands at `place`, by region."""
    kind = Sore()

    def ratings(tree: Tree) -> dict[tuple[str, str], float]:
        return {
            (side, region): rating
            for side in SIDES
            for region, rating in (get(tree, (*place, "feet", side, "comfort")) or {}).items()
            if region != "overall"
        }

    def fill(before: Tree, value: Mapping[tuple[str, str], float]) -> tuple[Tree, str]:
        after = copy.deepcopy(before)
        for (side, region), rating in value.items():
            put(after, (*place, "feet", side, "comfort", region), rating)
        return after, kind.show(value)

    def emptied(tree: Tree) -> None:
        for side, region in ratings(tree):
            get(tree, (*place, "feet", side, "comfort")).pop(region)

    return EntryStep(
        "sore", block, "Where does it press or hurt? Comfort there, 0 worst to 10 best", kind,
        (*place, "feet"),
        "Comfort, not pain: 0 cannot be worn, 10 could not be better. A region rated low is never "
        "the best of what was tried, and what hurt in wear is not offered again. Enter when "
        "nothing presses.",
        fill=fill, emptied=emptied, shown=lambda tree: kind.show(ratings(tree)) or None,
    )  # fmt: skip


def _since(worn: Mapping[str, Mapping[str, str]]) -> Iterator[EntryStep]:
    told: Path = ("follow-up",)
    yield from for_each_foot(
        "pain-before", SINCE, "worst pain at the last visit, 0 to 10", TypedNumber(whole=True),
        (*told, "pain-before", Both()),
        "As it was then. Taken from the visit before where it was asked there.",
    )  # fmt: skip
    for product, titles in worn.items():
        own = {"own": f"their own {product}"}
        kind = KnownWord(f"the code of the {product} in the catalogue, or own", {**titles, **own})
        yield EntryStep(
            f"worn-{product}", SINCE, f"Which {product} was worn since?", kind, (*told, product),
            "Its code in the catalogue, so that what came of it counts for this product.",
        )  # fmt: skip
    yield EntryStep(
        "weeks-of-wear", SINCE, "For how many weeks was it worn?", TypedNumber("weeks"),
        (*told, "weeks-of-wear"), "The weeks since the last visit stand in brackets; Enter "
        "says that it was worn all that time.", usual=_weeks_since,
    )  # fmt: skip
    yield EntryStep(
        "hours-a-day", SINCE, "How many hours a day?", TypedNumber("hours"), (*told, "hours-a-day"),
        "On the days on which it was worn.",
    )  # fmt: skip
    yield from for_each_foot(
        "comfort-overall", SINCE, "comfort of the whole foot, 0 cannot be worn, 10 ideal",
        TypedNumber(), (*told, "feet", Both(), "comfort", "overall"), "As the customer says.",
    )  # fmt: skip
    yield sore_step(SINCE, told)
    yield EntryStep(
        "returned", SINCE, "Was it given back?", YES_NO, (*told, "returned"),
        "A pair that comes back teaches the shop as much as one that stays.",
    )  # fmt: skip
    yield EntryStep(
        "changed", SINCE, "What was changed since? (no names)", Text("one line of text"),
        (*told, "changed"), "Another shoe, more training, an insole cut down, a treatment.",
    )  # fmt: skip
