"""How far several static measures put the same foot into the same class."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from recommend.coverage.numbers import Array
from recommend.coverage.population import Agreement
from recommend.rulebook.book import Rulebook

SCALE = ("out", "middle", "in")


def ratings(book: Rulebook, axes: Mapping[str, Array], agreement: Agreement) -> Array:
    """How many axes put each foot into each class of `SCALE`, shape (n, 3).

    Parameters
    ----------
    axes : codes of the axis values, -1 for undetermined, as `infer.many` gives them.

    Notes
    -----
    A foot that some axis leaves undetermined is left out.
    """
    columns = []
    for axis, classes in agreement.axes.items():
        names = book.axes[axis].values
        table = [SCALE.index(classes[name]) if name in classes else -1 for name in names]
        columns.append(np.array([*table, -1])[axes[axis]])
    codes = np.column_stack(columns)
    codes = codes[(codes >= 0).all(axis=1)]
    return np.column_stack([(codes == k).sum(axis=1) for k in range(len(SCALE))])


def fleiss_kappa(table: Array) -> float:
    """Agreement of several raters beyond chance; 1 is perfect, 0 is chance.

    Parameters
    ----------
    table : how many raters put each subject into each class, shape (n, classes), each row
        with the same sum; NaN is returned for fewer than two subjects or one class only.

    References
    ----------
    Fleiss JL 1971, Psychol Bull 76:378-382.
    """
    if len(table) < 2:
        return float("nan")
    raters = table[0].sum()
    shares = table.sum(axis=0) / table.sum()
    by_chance = float((shares**2).sum())
    agreed = float(((table**2).sum(axis=1) - raters).mean() / (raters * (raters - 1)))
    return (agreed - by_chance) / (1 - by_chance) if by_chance < 1 else float("nan")
