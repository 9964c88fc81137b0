"""How much a lab's own strides resemble each other, from its repeated visits."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from recommend.measure.model import SIDES
from recommend.parameters import Parameters
from recommend.trial.readings import READINGS
from recommend.trial.resemblance import every_resemblance, known_mean
from recommend.trial.steps import strides_of
from recommend.visit.models import Visit

_SHORTEST = 5  # strides of a film that say something of it
_SURE = 0.95  # the lab's resemblance is taken at the upper end of what its films allow


def lab_resemblance(visits: Iterable[Visit], parameters: Parameters) -> dict[str, float]:
    """Resemblance of neighbouring strides by measure, from all films of these visits together.

    The upper end of what the films allow, so that intervals rather hold too often; only of
    measures with at least ``noise.repeat-freedom`` films of five strides or more.
    """
    grid = every_resemblance()
    evidence: dict[str, np.ndarray] = {}
    films: dict[str, int] = {}
    for visit in visits:
        for side in SIDES:
            foot = visit.feet.left if side == "left" else visit.feet.right
            for entry in foot.rearfoot:
                for name, strides in strides_of(entry).items():
                    if len(strides) >= _SHORTEST and len(set(strides)) > 1:
                        measure = READINGS[name].measure
                        told = known_mean(strides, grid, 0.0).likelihood
                        evidence[measure] = evidence.get(measure, 0.0) + told
                        films[measure] = films.get(measure, 0) + 1
    enough = parameters.noise.repeat_freedom
    return {
        measure: _upper_end(likelihood, grid)
        for measure, likelihood in evidence.items()
        if films[measure] >= enough
    }


def _upper_end(likelihood: np.ndarray, grid: np.ndarray) -> float:
    weights = np.exp(likelihood - likelihood.max())
    below = np.cumsum(weights) / weights.sum()
    return max(0.0, float(grid[int(np.searchsorted(below, _SURE))]))
