from __future__ import annotations

import pytest

from recommend.parameters import Parameters
from recommend.trial.liked import liked
from recommend.visit import Visit


def test_comfort_is_counted_by_product_and_kind_of_foot(parameters: Parameters) -> None:
    """Two visits worked by hand: means, feet and hurts; the own shoe is no product."""
    visits = [
        Visit.model_validate(
            {
                "reference": f"T-{number}",
                "trials": [
                    {
                        "shoe": "own",
                        "insole": "i-1",
                        "feet": {
                            "left": {"comfort": {"overall": left}},
                            "right": {"comfort": {"heel": 3, "arch": 7}},
                        },
                    }
                ],
            }
        )
        for number, left in enumerate((8, 6))
    ]
    rows = liked(visits, lambda _visit: {"left": "neutral", "right": None}, parameters)
    assert [(one.product, one.foot_type, one.feet, one.hurt) for one in rows] == [
        ("i-1", "", 2, 2),
        ("i-1", "neutral", 2, 0),
    ]
    assert [one.comfort for one in rows] == [pytest.approx(5.0), pytest.approx(7.0)]
