"""Strides that resemble the stride before: what is known of a mean, or of a drift, under that.

Consecutive strides are no independent sample. The model is of first order: each stride is the
mean plus r times what the stride before was off it, plus something new. Given r, mean and spread
follow from generalised least squares (Aitken 1935, Proc R Soc Edinb 55:42-48). As r is not known
either, all values of it are weighed by how well they explain the strides, with all values equally
likely beforehand (Zellner and Tiao 1964, J Am Stat Assoc 59:763-778; from memory), after mean and
spread are integrated out (the restricted likelihood of Harville 1977, J Am Stat Assoc 72:320-340).
A lab's own repeated visits say together how much its strides resemble each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from recommend.measure.model import SIDES
from recommend.measure.spread import normal_deviates, t_quantile
from recommend.parameters import Parameters
from recommend.trial.steps import READINGS, strides_of
from recommend.visit.models import Visit

Floats = NDArray[np.float64]

_LOWEST, _HIGHEST, _STEP = -0.5, 0.95, 0.025
_NORMAL, _ROOT_2 = NormalDist(), math.sqrt(2)
_NEGLIGIBLE = 1e-6  # weights below this part of the largest alter no printed digit


@cache
def every_resemblance() -> Floats:
    """Values of r that are weighed: -0.5 to 0.95, so that none of 0 to 0.6 is near an end."""
    return np.arange(_LOWEST, _HIGHEST + _STEP / 2, _STEP)


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What strides tell of one number (a mean, a slope), for each value of r.

    Attributes
    ----------
    value, variance : (k,), estimate and its squared standard error, in the unit of the strides.
    freedom : (k,), degrees of freedom of `variance`; infinite where it is not estimated.
    likelihood : (k,), logarithm of how well each r explains the strides.
    """

    value: Floats
    variance: Floats
    freedom: Floats
    likelihood: Floats

    def less(self, other: Known) -> Known:
        """The number less another of the same person: r is the same in both.

        Degrees of freedom after Welch (1947, Biometrika 34:28-35), so that the spreads may
        differ.
        """
        variance = self.variance + other.variance
        loss = self.variance**2 / self.freedom + other.variance**2 / other.freedom
        with np.errstate(divide="ignore"):
            freedom = np.where(loss > 0, variance**2 / loss, np.inf)
        return Known(
            self.value - other.value, variance, freedom, self.likelihood + other.likelihood
        )

    def with_variance(self, further: float) -> Known:
        """With a known squared error added that no stride shows."""
        if further == 0:
            return self
        variance = self.variance + further
        freedom = self.freedom * (variance / self.variance) ** 2
        return Known(self.value, variance, freedom, self.likelihood)

    def weights(self) -> Floats:
        """(k,) how much each r counts; they add up to 1."""
        weights = np.exp(self.likelihood - self.likelihood.max())
        return np.asarray(weights / weights.sum())

    def ends(self, confidence: float) -> tuple[float, float]:
        """Both ends of the interval: quantiles of t, mixed over r where r is not known."""
        low, high = (1 - confidence) / 2, (1 + confidence) / 2
        if len(self.value) == 1:
            value, scale = float(self.value[0]), math.sqrt(self.variance[0])
            reach = t_quantile(high, float(self.freedom[0])) * scale
            return value - reach, value + reach
        weights = self.weights()
        kept = weights > _NEGLIGIBLE * weights.max()
        mixture = _Mixture(
            weights[kept] / weights[kept].sum(),
            self.value[kept],
            np.sqrt(self.variance[kept]),
            self.freedom[kept],
        )
        return mixture.quantile(low), mixture.quantile(high)


def known_mean(strides: Sequence[float], resemblance: Floats, least: float) -> Known:
    """What strides tell of their mean.

    Parameters
    ----------
    strides : at least two, in the order in which they were taken.
    resemblance : (k,) values of r to weigh; one value takes it as known.
    least : spread below which equal strides are rounded strides, in their unit.
    """
    values = np.asarray(strides, dtype=float)
    return _known(values, np.ones((len(values), 1)), resemblance, least)


def known_drift(strides: Sequence[float], resemblance: Floats, least: float) -> Known:
    """What strides tell of their drift from the first to the last, a straight line through them."""
    values = np.asarray(strides, dtype=float)
    line = np.column_stack([np.ones(len(values)), np.linspace(-0.5, 0.5, len(values))])
    return _known(values, line, resemblance, least)


def _known(values: Floats, design: Floats, resemblance: Floats, least: float) -> Known:
    """Generalised least squares for every r at once; the last column of `design` is asked for.

    Notes
    -----
    Whitening: the first stride as it is, then (stride - r x stride before) / sqrt(1 - r^2); the
    determinant of the correlations is (1 - r^2)^(n - 1).
    """
    n, p = design.shape
    y, x = _whitened(values, resemblance), _whitened(design, resemblance)
    gram = np.einsum("kni,knj->kij", x, x)
    inverse = np.linalg.inv(gram)
    found = np.einsum("kij,knj,kn->ki", inverse, x, y)
    left = y - np.einsum("kni,ki->kn", x, found)
    squares = np.maximum((left**2).sum(axis=1), (n - p) * least**2)
    freedom = float(n - p)
    likelihood = -0.5 * (
        (n - 1) * np.log1p(-(resemblance**2))
        + np.linalg.slogdet(gram)[1]
        + freedom * np.log(squares)
    )
    variance = squares / freedom * inverse[:, -1, -1]
    return Known(found[:, -1], variance, np.full(len(resemblance), freedom), likelihood)


def _whitened(values: Floats, resemblance: Floats) -> Floats:
    """(n,) or (n, p) values as (k, n) or (k, n, p), freed of the resemblance of neighbours."""
    r = resemblance.reshape((-1,) + (1,) * values.ndim)
    first = np.broadcast_to(values[:1], (len(resemblance), 1, *values.shape[1:]))
    return np.concatenate([first, (values[1:] - r * values[:-1]) / np.sqrt(1 - r**2)], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class _Mixture:
    """A mixture of Student's t: weights, places, scales and degrees of freedom, each (k,)."""

    weights: Floats
    places: Floats
    scales: Floats
    freedom: Floats

    def quantile(self, p: float) -> float:
        """Newton's method, kept in a bracket; right to a millionth of the least scale."""
        reach = 60 * float(self.scales.max())
        low, high = float(self.places.min()) - reach, float(self.places.max()) + reach
        x = float(self.weights @ (self.places + self.scales * _NORMAL.inv_cdf(p)))
        tiny = 1e-6 * float(self.scales.min())
        for _ in range(200):
            below, slope = self._below(x)
            low, high = (low, x) if below > p else (x, high)
            new = x - (below - p) / slope if slope > 0 else math.inf
            new = new if low < new < high else (low + high) / 2
            if abs(new - x) <= tiny:
                return new
            x = new
        return x

    def _below(self, x: float) -> tuple[float, float]:
        """The probability below `x`, and about how fast it grows there."""
        z = normal_deviates((x - self.places) / self.scales, self.freedom)
        share = [math.erfc(-one / _ROOT_2) / 2 for one in z.tolist()]
        slope = self.weights @ (np.exp(-z * z / 2) / self.scales) / math.sqrt(2 * math.pi)
        return float(self.weights @ share), float(slope)


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
            for entry in visit.feet.of(side).rearfoot:
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
