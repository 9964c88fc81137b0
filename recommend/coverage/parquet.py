"""Measured feet of a whole chain, read from Parquet part by part (extra ``parquet``).

One row is a customer. Columns: ``age-band``, ``purpose``, ``sex``, ``body-mass`` (kg); for a foot
``left.NAME`` and ``right.NAME`` with the measure's id, such as ``left.fpi``, in the measure's
unit; missing values are null. A column that is not there is missing for everyone. Angles and
indices are read with the qualifiers that ``population.yaml`` names.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from recommend.coverage.columns import FactColumns
from recommend.coverage.numbers import Array
from recommend.coverage.population import Population
from recommend.coverage.sampling import Column, Customers, Words, add_derived
from recommend.coverage.tally import Tally, add, cases_of_customers, people_of, tally
from recommend.errors import InputError, Place, nearest
from recommend.extras import not_installed
from recommend.match.sizes import SizeClasses
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook

if TYPE_CHECKING:
    import pandas

COUNT = "customers"


def tally_parquet(path: Path, book: Rulebook, population: Population, sizes: SizeClasses) -> Tally:
    """Count the customers in Parquet files by case.

    Every partition is counted where it lies, by the same function as drawn customers, on
    whatever dask scheduler or cluster is active; only the counts travel.

    Parameters
    ----------
    path : one file, or a folder of files.

    Raises
    ------
    RecommendError
        If dask is not installed.
    InputError
        If nothing is there, or it is not Parquet.
    """
    if not path.exists():
        raise InputError(Place(str(path)), "there is no such file or folder")
    if importlib.util.find_spec("dask") is None or importlib.util.find_spec("pyarrow") is None:
        raise not_installed("Parquet", "parquet")
    import dask.dataframe as dd
    import pyarrow

    try:
        frame = dd.read_parquet(str(path))
    except (OSError, ValueError, pyarrow.ArrowException) as error:
        raise InputError(Place(str(path)), f"this is not Parquet ({error})") from error
    meta = _counted(frame._meta, book, population, sizes)
    parts = frame.map_partitions(_counted, book, population, sizes, meta=meta)
    counted = parts.compute().to_numpy(np.int64)
    if not len(counted):
        raise InputError(Place(str(path)), "no customers are in it")
    return add([Tally(counted[:, :-1], counted[:, -1])])


def _counted(
    frame: pandas.DataFrame, book: Rulebook, population: Population, sizes: SizeClasses
) -> pandas.DataFrame:
    """Cases of one partition and how many customers each stands for."""
    import pandas

    customers = customers_of_frame(frame, book, population)
    facts = FactColumns(book, population)
    one = tally(cases_of_customers(book, facts, customers, sizes))
    names = [*(f"c{n}" for n in range(one.cases.shape[1])), COUNT]
    return pandas.DataFrame(np.column_stack([one.cases, one.counts]), columns=names)


def customers_of_frame(
    frame: pandas.DataFrame, book: Rulebook, population: Population
) -> Customers:
    """Columns of customers from a table as the module describes it.

    Differences between the feet and ratios are computed where the table does not hold them.

    Raises
    ------
    InputError
        For a word that the vocabulary does not have.
    """
    people = people_of(book).items()
    own: dict[str, Column] = {n: _words(frame[n], words) for n, words in people if n in frame}
    if "body-mass" in frame:
        own["body-mass"] = _numbers(frame["body-mass"])
    feet: dict[Side, dict[str, Column]] = {side: {} for side in SIDES}
    for side, name, full in _of_feet(book):
        if full in frame:
            words = book.measures[name].values
            column = frame[full]
            feet[side][name] = _words(column, tuple(words)) if words else _numbers(column)
    numbers: dict[Side, dict[str, Array]] = {
        side: {n: c for n, c in feet[side].items() if not isinstance(c, Words)} for side in SIDES
    }
    add_derived(numbers, population)
    both: dict[Side, dict[str, Column]] = {side: {**feet[side], **numbers[side]} for side in SIDES}
    return Customers(len(frame), own, both)


def frame_of(customers: Customers, book: Rulebook) -> pandas.DataFrame:
    """A table of drawn customers as the module describes it."""
    import pandas

    columns = {name: _plain(c) for name, c in customers.own.items()}
    for side, name, full in _of_feet(book):
        if name in customers.feet[side]:
            columns[full] = _plain(customers.feet[side][name])
    return pandas.DataFrame(columns)


def _of_feet(book: Rulebook) -> Iterator[tuple[Side, str, str]]:
    for side in SIDES:
        for name in book.measures:
            yield side, name, f"{side}.{name}"


def _plain(column: Column) -> Array:
    return column.texts().astype(object) if isinstance(column, Words) else column


def _numbers(column: pandas.Series) -> Array:
    return np.asarray(column.to_numpy(dtype=float, na_value=np.nan))


def _words(column: pandas.Series, values: tuple[str, ...]) -> Words:
    """Codes of words, -1 where null."""
    codes = {value: code for code, value in enumerate(values)}
    strange = sorted({str(word) for word in column.dropna().unique()} - set(codes))
    if strange:
        raise InputError(
            Place(str(column.name)),
            f"the column holds `{strange[0]}`",
            ", ".join(values),
            nearest(strange[0], values) or "leave it null when it is not known",
        )
    return Words(column.map(codes).fillna(-1).to_numpy(np.int8), values)
