"""Measured feet of a whole chain, read from Parquet part by part (extra ``parquet``).

One row is a customer. Columns: ``age-band``, ``purpose``, ``sex``, ``body-mass`` (kg); for a foot
``left.NAME`` and ``right.NAME`` with the measure's id, such as ``left.fpi``, in the measure's
unit; missing values are null. A measure that is not there is missing for everyone; without the
columns of `NEEDED` nothing is counted, and a number that no foot can have is refused. Angles and
indices are read with the qualifiers that ``population.yaml`` names. ``shop`` and ``date`` may say
where and when a customer was measured.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from recommend.coverage.population import Population
from recommend.coverage.rows import Array
from recommend.coverage.sampling import Column, Customers, Words, add_derived
from recommend.coverage.tally import FactColumns, Tally, add, cases_of_customers, people_of, tally
from recommend.errors import InputError, Place, nearest
from recommend.extras import need
from recommend.match.sizes import SizeClasses
from recommend.measure.definitions import MeasureDef
from recommend.measure.derived import derivations
from recommend.measure.model import SIDES, Side
from recommend.reading.document import refuse_no_file
from recommend.rulebook.book import Rulebook

if TYPE_CHECKING:
    import pandas

COUNT, SHOP, DATE = "customers", "shop", "date"
NEEDED = ("purpose", "age-band", "left.foot-length", "right.foot-length")


@dataclass(frozen=True, slots=True)
class Columns:
    """What was made of the columns of a table.

    Attributes
    ----------
    read : columns that were read.
    unread : those that were not, each with what it may have meant, or nothing.
    absent : measures that some rule reads and no column holds, nor can be reckoned.
    days : the days on which feet were measured, where a column ``date`` says so, ascending.
    """

    read: tuple[str, ...]
    unread: tuple[tuple[str, str], ...]
    absent: tuple[str, ...]
    days: tuple[str, ...] = ()


def columns_of(path: Path, book: Rulebook) -> Columns:
    """Which columns of Parquet files will be read, and which will not.

    Raises
    ------
    RecommendError
        If dask is not installed.
    InputError
        As `tally_parquet`; and if a column is missing without which nothing can be counted.
    """
    frame = _opened(path)
    there = [str(name) for name in frame.columns]
    known = [*people_of(book), "body-mass", *(full for _, _, full in _of_feet(book))]
    read, rest = [n for n in there if n in known], [n for n in there if n not in known]
    missing = [name for name in NEEDED if name not in read]
    if missing:
        near = _meant(missing[0], rest)
        raise InputError(
            Place(str(path)), f"the column `{missing[0]}` is missing",
            f"the columns {', '.join(NEEDED)} and those of the measures, such as left.fpi",
            f"rename the column `{near}`" if near else "add it",
        )  # fmt: skip
    measured = {name.partition(".")[2] for name in read if "." in name}
    for name, how in derivations(book.measures).items():
        if set(how.parts) <= measured:
            measured.add(name)
    asked = {
        name for name in book.measures if name in book.read and not book.measures[name].of_person
    }
    open_ = [name for name in rest if name not in (SHOP, DATE)]
    dates = frame[DATE].dropna().astype(str).str[:10].unique().compute() if DATE in rest else ()
    meant = tuple((name, _meant(name, [n for n in known if n not in read])) for name in open_)
    return Columns(tuple(read), meant, tuple(sorted(asked - measured)), tuple(sorted(dates)))


def _meant(name: str, known: Iterable[str]) -> str:
    """The name among `known` that differs from `name` least, when case and signs do not count."""
    plain = {_plainly(one): one for one in known}
    near = get_close_matches(_plainly(name), list(plain), n=1, cutoff=0.75)
    return plain[near[0]] if near else ""


def _plainly(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", " ", name.lower()).strip()


def tally_parquet(
    path: Path, book: Rulebook, population: Population, sizes: SizeClasses
) -> dict[str, Tally]:
    """Count the customers in Parquet files by case, shop by shop; the one name of no shop is ''.

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
    frame = _opened(path)
    meta = _counted(frame._meta, book, population, sizes)
    parts = frame.map_partitions(_counted, book, population, sizes, meta=meta)
    found = parts.compute()
    if not len(found):
        raise InputError(Place(str(path)), "no customers are in it")
    shops, counted = found.pop(SHOP).to_numpy(str), found.to_numpy(np.int64)
    return {
        str(shop): add([Tally(counted[shops == shop, :-1], counted[shops == shop, -1])])
        for shop in np.unique(shops)
    }


_MAGIC = b"PAR1"  # how every Parquet file begins


def _short(error: Exception) -> str:
    """The last line of what a library says, which says what was wrong."""
    return (str(error).strip().splitlines() or [""])[-1][:200]


def _opened(path: Path) -> Any:
    """The table in Parquet files, not yet read."""
    if not path.exists():
        raise InputError(Place(str(path)), "there is no such file or folder")
    need("Parquet", "parquet", "dask", "pyarrow")
    if not path.is_dir():
        refuse_no_file(path, what="Parquet, a file or a folder of files")
        with path.open("rb") as stream:
            if stream.read(len(_MAGIC)) != _MAGIC:
                raise InputError(Place(str(path)), "this is not Parquet")
    import dask.dataframe as dd
    import pyarrow

    try:
        return dd.read_parquet(str(path))
    except (OSError, ValueError, pyarrow.ArrowException) as error:
        raise InputError(Place(str(path)), f"this is not Parquet ({_short(error)})") from error


def _counted(
    frame: pandas.DataFrame, book: Rulebook, population: Population, sizes: SizeClasses
) -> pandas.DataFrame:
    """Cases of one partition and how many customers each stands for."""
    import pandas

    facts, found = FactColumns(book, population), []
    shops = frame[SHOP].fillna("").astype(str) if SHOP in frame else pandas.Series("", frame.index)
    for shop, rows in frame.groupby(shops, sort=True) if len(frame) else [("", frame)]:
        customers = customers_of_frame(rows, book, population)
        one = tally(cases_of_customers(book, facts, customers, sizes))
        names = [*(f"c{n}" for n in range(one.cases.shape[1])), COUNT]
        counted = pandas.DataFrame(np.column_stack([one.cases, one.counts]), columns=names)
        found.append(counted.assign(**{SHOP: str(shop)}))
    return pandas.concat(found, ignore_index=True)


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
        own["body-mass"] = _numbers(frame["body-mass"], book.measures.get("body-mass"))
    feet: dict[Side, dict[str, Column]] = {side: {} for side in SIDES}
    for side, name, full in _of_feet(book):
        if full in frame:
            words = book.measures[name].values
            column = frame[full]
            feet[side][name] = (
                _words(column, tuple(words)) if words else (_numbers(column, book.measures[name]))
            )
    numbers: dict[Side, dict[str, Array]] = {
        side: {n: c for n, c in feet[side].items() if not isinstance(c, Words)} for side in SIDES
    }
    add_derived(numbers, population)
    both: dict[Side, dict[str, Column]] = {side: {**feet[side], **numbers[side]} for side in SIDES}
    return Customers(len(frame), own, both)


def _of_feet(book: Rulebook) -> Iterator[tuple[Side, str, str]]:
    for side in SIDES:
        for name in book.measures:
            yield side, name, f"{side}.{name}"


def _numbers(column: pandas.Series, measure: MeasureDef | None) -> Array:
    """Numbers of a column, in the measure's unit; NaN where null.

    Raises
    ------
    InputError
        With the row, for a number that no foot can have.
    """
    values = np.asarray(column.to_numpy(dtype=float, na_value=np.nan))
    if measure is None:
        return values
    strange = np.flatnonzero((values < measure.lowest) | (values > measure.highest))
    if len(strange):
        row = int(strange[0])
        unit = f" {measure.unit}"
        raise InputError(
            Place(str(column.name)),
            f"row {column.index[row]} holds {values[row]:g} ({len(strange)} of {len(values)} rows "
            "of this part are out of range)",
            f"from {measure.lowest:g} to {measure.highest:g}{unit}",
            _other_unit(float(np.median(values[strange])), measure),
        )
    return values


def _other_unit(value: float, measure: MeasureDef) -> str:
    """What the numbers may have been written in; empty when none comes to mind."""
    for factor, name in ((10, "centimetres"), (1000, "metres"), (0.1, "tenths of a millimetre")):
        if measure.unit == "mm" and measure.lowest <= value * factor <= measure.highest:
            return f"these look like {name}; multiply by {factor:g}"
    return "correct it, or leave it null when it is not known"


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
