"""Invented visits at random, much of them missing, for tests and benchmarks."""

from __future__ import annotations

import random
from typing import Any, get_args

from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import Question
from recommend.visit.models import AgeBand, CopPattern, PainSite, Visit


def random_visit(book: Rulebook, seed: int, *, whole: bool = False, calm: bool = False) -> Visit:
    """A visit that a lab could have seen.

    Parameters
    ----------
    whole : nothing is missing.
    calm : every screening question gets the answer that speaks against nothing.
    """
    chance = random.Random(seed)
    missing = 0.0 if whole else chance.choice([0.0, 0.1, 0.3])
    data: dict[str, Any] = {"reference": f"random-{seed}", "feet": {}}
    data["age-band"] = chance.choice(["adult", "adult", "adult", *get_args(AgeBand)])
    data["purpose"] = chance.choice(list(book.purposes))
    data["body-mass-kg"] = round(chance.uniform(45, 110), 1)
    data["pain"] = [_pain(chance) for _ in range(chance.choice([0, 0, 1, 2]))]
    data["answers"] = {q: _answer(chance, calm, one) for q, one in book.questions.items()}
    person = {"fpi": chance.gauss(2.9, 3.2), "length": chance.gauss(260, 15)}
    person |= {"peak": chance.gauss(7, 3), "arch": chance.gauss(0.34, 0.03)}
    for side in ("left", "right"):
        data["feet"][side] = _without(_foot(chance, person), chance, missing)
    return Visit.model_validate(_without(data, chance, missing / 2, keep=("reference", "feet")))


def _answer(chance: random.Random, calm: bool, question: Question) -> str:
    harmless = "no" if question.alarming == "yes" else "yes"
    if calm:
        return harmless
    return chance.choices([harmless, question.alarming, "not-asked"], [40, 1, 1])[0]


def _pain(chance: random.Random) -> dict[str, Any]:
    site, side = chance.choice(get_args(PainSite)), chance.choice(["left", "right", "both"])
    return {
        "site": site,
        "side": side,
        "score": chance.randint(0, 10),
        "weeks": chance.randint(0, 30),
    }


def _foot(chance: random.Random, person: dict[str, float]) -> dict[str, Any]:
    length = min(max(person["length"] + chance.gauss(0, 2), 180), 330)
    truncated = round(length * chance.uniform(0.71, 0.75), 1)
    standing = round(truncated * min(max(person["arch"] + chance.gauss(0, 0.01), 0.2), 0.5), 1)
    peak = person["peak"] + chance.gauss(0, 1)
    return {
        "fpi": {"total": min(max(round(person["fpi"] + chance.gauss(0, 1.2)), -12), 12)},
        "foot-length-mm": round(length, 1),
        "truncated-foot-length-mm": truncated,
        "forefoot-width-mm": round(length * chance.uniform(0.34, 0.42), 1),
        "heel-width-mm": round(length * chance.uniform(0.22, 0.27), 1),
        "dorsum-height-mm": {
            "standing": standing,
            "sitting": round(standing / min(chance.gauss(0.937, 0.02), 0.99), 1),
        },
        "arch-index": {
            "value": round(chance.uniform(0.1, 0.35), 3),
            "kind": "ink",
            "load": "static",
        },
        "rearfoot": [
            _angles(chance, chance.choice(["walking", "running"]), peak),
            {
                "gait": "standing",
                "reference": "vertical",
                "angle": _strides(chance, chance.gauss(5, 3), 1),
            },
        ],
        "cop": {
            "pattern": chance.choice(get_args(CopPattern)),
            "excursion-index-percent": round(chance.gauss(14, 8), 1),
        },
    }


def _angles(chance: random.Random, gait: str, mean: float) -> dict[str, Any]:
    count = chance.choice([1, 3, 8, 12])
    reference = chance.choice(["vertical"] * 6 + ["relaxed-standing"])
    peak = _strides(chance, mean, count)
    range_, back = max(chance.gauss(5, 2), 0.5), max(chance.gauss(4.6, 2.2), 0.2)
    return {
        "gait": gait,
        "reference": reference,
        "touchdown": [round(one - range_, 1) for one in peak],
        "peak": peak,
        "peak-time": [round(min(max(chance.gauss(38, 9), 5), 95)) for _ in peak],
        "midstance": [round(one - back / 3, 1) for one in peak],
        "propulsion": [round(one - max(back + chance.gauss(0, 0.5), 0), 1) for one in peak],
    }


def _strides(chance: random.Random, mean: float, count: int) -> list[float]:
    return [round(min(max(chance.gauss(mean, 1.2), -40), 40), 1) for _ in range(count)]


def _without(
    data: dict[str, Any], chance: random.Random, share: float, keep: tuple[str, ...] = ()
) -> dict[str, Any]:
    return {k: v for k, v in data.items() if k in keep or chance.random() >= share}
