"""Visits as a fitter would write them, with exactly the measures of a drawn customer."""

from __future__ import annotations

import numpy as np

from recommend.coverage.sampling import Customers
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.visit.models import Visit

TRUNCATED = 180.0
ERROR = 1.5  # error of one reading of an angle in rules/measures.yaml
RANGE_ERROR = 1.8
TIME_ERROR = 6.0
# Seven strides whose mean is 0 and whose sample standard deviation is 1.
STRIDES = np.array([-1.5, -1, -0.5, 0, 0.5, 1, 1.5])
STRIDES = STRIDES / STRIDES.std(ddof=1)


def visit_of(customers: Customers, index: int, book: Rulebook) -> Visit:
    """The visit of one drawn customer, every screening question answered no, no pain."""
    own = customers.own
    return Visit.model_validate(
        {
            "reference": f"drawn-{index}",
            "age-band": own["age-band"].texts()[index],
            "purpose": own["purpose"].texts()[index],
            "body-mass-kg": own["body-mass"][index],
            "pain": [],
            "answers": {name: question.calm for name, question in book.questions.items()},
            "feet": {side: foot_of(customers, side, index) for side in SIDES},
        }
    )


def foot_of(customers: Customers, side: Side, index: int) -> dict[str, object]:
    """The foot as a visit file writes it."""
    foot = {n: c for n, c in customers.feet[side].items() if isinstance(c, np.ndarray)}
    at = {name: float(column[index]) for name, column in foot.items()}
    standing = at["arch-height-ratio"] * TRUNCATED
    peak = at["peak-angle"] + ERROR * STRIDES
    ranges = at["rearfoot-range"] + RANGE_ERROR * np.roll(STRIDES, 3)
    back = at["rearfoot-return"] + RANGE_ERROR * np.roll(STRIDES, 2)
    return {
        "fpi": {"total": int(at["fpi"])},
        "foot-length-mm": at["foot-length"],
        "truncated-foot-length-mm": TRUNCATED,
        "forefoot-width-mm": at["forefoot-width"],
        "heel-width-mm": at["heel-width"],
        "dorsum-height-mm": {"standing": standing, "sitting": standing / at["arch-rigidity"]},
        "arch-index": {"value": at["arch-index"], "kind": "ink", "load": "static"},
        "rearfoot": [
            {
                "gait": "standing",
                "reference": "vertical",
                "angle": [at["standing-angle"]],
            },
            {
                "gait": "walking",
                "reference": "vertical",
                "peak": peak.tolist(),
                "peak-time": (at["peak-time"] + TIME_ERROR * np.roll(STRIDES, 1)).tolist(),
                "range": ranges.tolist(),
                "propulsion": (peak - back).tolist(),
            },
        ],
        "cop": {
            "pattern": customers.feet[side]["cop-pattern"].texts()[index],
            "excursion-index-percent": at["cpei"],
        },
    }
