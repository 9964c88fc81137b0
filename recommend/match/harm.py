"""What was worn or tried on and did harm: it is out, whatever its attributes.

A finding about one pair on these feet, not about a kind of product, so it stands beside the rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from recommend.visit.models import FollowUp, Pain, TrialStep, Visit

OWN = "own"  # the customer's own shoe is no product of the catalogue


def harmful(visit: Visit, parameters: Mapping[str, float]) -> dict[str, str]:
    """Products that did harm to these feet, each with what they did.

    Of a shoe and an insole that were worn together it is not known which one did it, so both are
    out. `parameters` gives ``trial.comfort-poor``, the comfort at or below which wear hurts.
    """
    poor = parameters["trial.comfort-poor"]
    found: dict[str, str] = {}
    if visit.follow_up is not None and (what := _since(visit, visit.follow_up, poor)):
        words = f"worn since the last visit, and then: {', '.join(what)}"
        found |= dict.fromkeys(_products(visit.follow_up.shoe, visit.follow_up.insole), words)
    for step in visit.trials:
        if regions := _sore(step, poor):
            words = f"tried on, and hurt: {', '.join(regions)}"
            found |= dict.fromkeys(_products(step.shoe, step.insole), words)
    return found


def ruled_out(visit: Visit, product: str, parameters: Mapping[str, float]) -> str | None:
    """Why `product` is out for this customer although its attributes suit; None when it is not."""
    return harmful(visit, parameters).get(product)


def _since(visit: Visit, again: FollowUp, poor: float) -> list[str]:
    """What the time of wear brought, in words."""
    answers = visit.answers
    told = {
        "new pain": answers.get("new-pain") == "yes",
        "skin trouble": answers.get("skin-trouble") == "yes",
        "numbness or weakness": answers.get("numbness-or-weakness") == "yes",
        "more pain": any(_grew(visit, again)),
    }
    words = [name for name, true in told.items() if true]
    return words + [f"comfort {r} {v:g} of 10" for r, v in again.comfort.items() if v <= poor]


def _grew(visit: Visit, again: FollowUp) -> Iterator[bool]:
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
