"""The bare numbers of a population, ready to draw from, and how they are made consistent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from recommend.coverage.population import SEXES, Population
from recommend.parameters import Figure

Array = np.ndarray


@dataclass(frozen=True, slots=True)
class Numbers:
    """Marginals and correlations of k quantities.

    Attributes
    ----------
    names : the k quantities.
    mean, sd : shape (2, k), rows female and male, in the unit of the quantity.
    matrix : correlations within one foot, shape (k, k).
    left_right : correlation of the two feet, shape (k,); 1 for a quantity of the customer.
    female : share of women.
    words : shares of the customer's words (age band, purpose).
    classes : shares of each cut of each class measure, in the order of the cuts.
    children : share of children; 0 where none are drawn.
    """

    names: tuple[str, ...]
    mean: Array
    sd: Array
    matrix: Array
    left_right: Array
    female: float
    words: Mapping[str, Mapping[str, float]]
    classes: Mapping[str, tuple[Mapping[str, float], ...]]
    children: float = 0.0


def numbers_of(population: Population, assumed: float = 1.0, *, children: bool = False) -> Numbers:
    """The numbers of `population`, with assumed correlations multiplied by `assumed`.

    Parameters
    ----------
    children : whether children are drawn as well.
    """
    quantities = population.quantities.values()
    shares = {name: _values(words) for name, words in population.words.items()}
    return Numbers(
        names=population.names,
        mean=np.array([[q.spread(sex).mean.value for q in quantities] for sex in SEXES]),
        sd=np.array([[q.spread(sex).sd.value for q in quantities] for sex in SEXES]),
        matrix=nearest_correlation(population.matrix(assumed)),
        left_right=np.array([q.left_right.value if q.left_right else 1.0 for q in quantities]),
        female=population.sex["female"].value,
        words=shares,
        classes={n: tuple(_values(c.shares) for c in cs) for n, cs in population.classes.items()},
        children=population.children.share.value if children and population.children else 0.0,
    )


def _values(shares: Mapping[str, Figure]) -> dict[str, float]:
    return {word: figure.value for word, figure in shares.items()}


def nearest_correlation(matrix: Array) -> Array:
    """The correlation matrix that `matrix` is, or one near it.

    Negative eigenvalues are set to zero and the diagonal is scaled back to 1.
    """
    values, vectors = np.linalg.eigh(matrix)
    if values[0] >= 0:
        return matrix
    repaired = (vectors * np.maximum(values, 0)) @ vectors.T
    scale = 1 / np.sqrt(np.diag(repaired))
    return np.asarray(repaired * np.outer(scale, scale))


def modes(numbers: Numbers) -> tuple[Array, Array]:
    """Covariances of (left + right) / sqrt 2 and (left - right) / sqrt 2, each (k, k).

    Across the feet, two quantities of a foot correlate as within it times the geometric mean
    of their left-right correlations (an assumption); one of the customer is shared.
    """
    root = np.sqrt(numbers.left_right)
    shared = numbers.left_right == 1
    damping = np.outer(root, root)
    damping[shared, :] = damping[:, shared] = 1.0
    across = numbers.matrix * damping
    np.fill_diagonal(across, numbers.left_right)
    return numbers.matrix + across, numbers.matrix - across


def square_root(covariance: Array) -> Array:
    """A matrix `a` with ``a @ a.T`` equal to `covariance`, negative eigenvalues taken as 0.

    It is the symmetric one, which moves little when the covariance does: the same customers are
    drawn, each a little different, when one figure is another.
    """
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)
