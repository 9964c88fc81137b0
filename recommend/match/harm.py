"""What was worn or tried on and did harm: it is out, whatever its attributes.

A finding about one pair on these feet, not about a kind of product, so it stands beside the rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from recommend.catalogue.loading import Item
from recommend.parameters import Parameters
from recommend.visit.models import FollowUp, FoundHow, Pain, TrialStep, Visit
from recommend.visit.pain import PainSince, pain_since

# What makes a product as much as another: all of these as high or higher.
_AS_MUCH = {
    "insole": ("insole.wedge", "insole.arch-firmness"),
    "shoe": ("shoe.wedge", "shoe.stability"),
}
OWN = "own"  # the customer's own shoe is no product of the catalogue


def harmful(visit: Visit, parameters: Parameters) -> dict[str, str]:
    """Products that did harm to these feet, each with what they did.

    Of a shoe and an insole that were worn together it is not known which one did it, so both are
    out. What did harm before stays out, unless a fitter lifted it with a reason; a lift is of what
    was known then, and what does harm after that counts anew. `parameters` gives
    ``trial.comfort-poor``, the comfort at or below which wear hurts.
    """
    lifted = {(one.product, one.found) for one in visit.out if one.is_lifted}
    return {
        product: words
        for product, how, words in findings(visit, parameters)
        if (product, how) not in lifted
    }


def findings(visit: Visit, parameters: Parameters) -> Iterator[tuple[str, FoundHow, str]]:
    """What did harm, how it was found and what it did, lifted or not; the newest of one last."""
    poor = parameters.trial.comfort_poor
    for one in visit.out:
        if one.found == "before":
            yield one.product, one.found, one.because
    if visit.follow_up is not None and (what := _since(visit, visit.follow_up, poor)):
        words = f"worn since the last visit, and then: {', '.join(what)}"
        for product in _products(visit.follow_up.shoe, visit.follow_up.insole):
            yield product, "worn", words
    for step in visit.trials:
        if regions := _sore(step, poor):
            words = f"tried on, and hurt: {', '.join(regions)}"
            for product in _products(step.shoe, step.insole):
                yield product, "tried", words


def lifted_words(visit: Visit) -> dict[str, str]:
    """By product that a fitter lifted: what it had done, by whom it was lifted, when and why."""
    return {
        one.product: f"it had done harm ({one.because}), and fitter {one.lifted_by or 'not named'} "
        f"lifted it{f' on {one.lifted_on}' if one.lifted_on else ''}: {one.lifted or 'forgotten'}"
        for one in visit.out
        if one.is_lifted
    }


def handed_on(earlier: Visit, parameters: Parameters) -> list[dict[str, str]]:
    """What the next visit of this customer begins with under ``out``: it stays out until lifted."""
    harm = harmful(earlier, parameters)
    return [{"product": product, "because": words} for product, words in sorted(harm.items())]


def close_to_harm(items: Iterable[Item], harm: Mapping[str, str]) -> dict[str, str]:
    """Products that do as much as one that did harm, or more, and so stand back; with why.

    Of an insole wedge and firmness count, of a shoe wedge and hold. One that did nothing of this
    has nothing close to it.
    """
    listed = list(items)
    found: dict[str, str] = {}
    for worn in (item for item in listed if item.id in harm):
        names = _AS_MUCH[worn.product.kind]
        levels = [worn.levels.get(name) for name in names]
        if None in levels or not any(levels):
            continue
        for item in listed:
            if item.product.kind == worn.product.kind and item.id not in harm:
                own = [item.levels.get(name) for name in names]
                if all(o is not None and o >= (w or 0.0) for o, w in zip(own, levels, strict=True)):
                    found[item.id] = f"does as much as {worn.product.title}, which hurt"
    return found


def _since(visit: Visit, again: FollowUp, poor: float) -> list[str]:
    """What the time of wear brought, in words."""
    answers, pain = visit.answers, pain_since(visit)
    new = [f"{one.site} {one.side}" for one in pain or () if one.new]
    told = {
        "new pain": answers.get("new-pain") == "yes" and not new,
        f"new pain ({', '.join(new)})": bool(new),
        "skin trouble": answers.get("skin-trouble") == "yes",
        "left off because it hurt": answers.get("left-off-for-pain") == "yes",
        "numbness or weakness": answers.get("numbness-or-weakness") == "yes",
        "more pain": any(_grew(visit, again, pain)),
    }
    words = [name for name, true in told.items() if true]
    return [*words, *dict.fromkeys(_uncomfortable(again, poor))]


def _uncomfortable(again: FollowUp, poor: float) -> Iterator[str]:
    """Regions that were poor, of one foot or of both alike."""
    left, right = again.comfort_of("left"), again.comfort_of("right")
    for side, own, other in (("left", left, right), ("right", right, left)):
        for region, value in own.items():
            if value <= poor:
                foot = "" if other.get(region) == value else f"{side} "
                yield f"comfort {foot}{region} {value:g} of 10"


def _grew(visit: Visit, again: FollowUp, pain: tuple[PainSince, ...] | None) -> Iterator[bool]:
    """Whether pain grew, site by site; without sites, whether the worst of a side did."""
    if pain is not None:
        yield from (one.change is not None and one.change > 0 for one in pain)
        return
    for side, before in (("left", again.pain_before.left), ("right", again.pain_before.right)):
        now = _worst(visit.pain or (), side)
        yield before is not None and now is not None and now > before


def _worst(pains: Iterable[Pain], side: str) -> int | None:
    return max((p.score for p in pains if p.side in (side, "both") and p.score is not None),
               default=None)  # fmt: skip


def _sore(step: TrialStep, poor: float) -> list[str]:
    feet = (("left", step.feet.left), ("right", step.feet.right))
    return [
        f"{side} {r} {v:g} of 10" for side, f in feet for r, v in f.comfort.items() if v <= poor
    ]


def _products(*worn: str | None) -> list[str]:
    return [one for one in worn if one not in (None, OWN)]
