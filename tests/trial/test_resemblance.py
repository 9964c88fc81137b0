from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from recommend.parameters import Parameters
from recommend.trial.resemblance import lab_resemblance
from recommend.visit import Visit


def filmed(rng: np.random.Generator, r: float, number: int) -> Visit:
    """A visit whose left foot was filmed over 40 strides that resemble each other by `r`."""
    noise = signal.lfilter([1], [1, -r], rng.normal(0, np.sqrt(1 - r * r), 90))[50:]
    film = {"gait": "walking", "reference": "vertical", "peak": [round(6 + x, 3) for x in noise]}
    return Visit.model_validate(
        {"reference": f"T-{number}", "feet": {"left": {"rearfoot": [film]}}}
    )


@pytest.mark.parametrize("r", [0.0, 0.3, 0.5])
def test_the_lab_s_own_resemblance_is_found(parameters: Parameters, r: float) -> None:
    """From 20 simulated films: not below the truth, and at most 0.15 above it."""
    rng = np.random.default_rng(3)
    found = lab_resemblance([filmed(rng, r, n) for n in range(20)], parameters)
    assert found.keys() == {"peak-angle"}
    assert r - 0.02 <= found["peak-angle"] <= r + 0.15


def test_too_few_films_say_nothing(parameters: Parameters) -> None:
    """Below ten films the stated assumption stays."""
    rng = np.random.default_rng(4)
    assert lab_resemblance([filmed(rng, 0.3, n) for n in range(9)], parameters) == {}
