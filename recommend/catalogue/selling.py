"""The shop's stock list when something is sold, and when a sale is taken back.

The list is a CSV file with the columns product, size and count; only the counts of what is sold
change, every other byte stays.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from recommend.atomic import held, write_atomically
from recommend.catalogue.stacking import STOCK_COLUMNS
from recommend.errors import InputError, Place, counted
from recommend.reading.document import read_bytes

Sold = Mapping[tuple[str, float], int]  # (product id, size in mm) -> pairs
Left = dict[tuple[str, float], int]


@contextmanager
def selling(file: Path, sold: Sold) -> Iterator[Left]:
    """Lower the counts of a stock list by what was sold, once what is done inside has succeeded.

    Parameters
    ----------
    file : the stock list; no other program changes it meanwhile.
    sold : pairs by product and size; negative counts put back what was taken.

    Yields
    ------
    What is left of each.

    Raises
    ------
    InputError
        If a product or size is not on the list, or fewer are there than were sold; nothing is
        written then.
    """
    with held(file):
        text, left = _lowered(file, sold)
        yield left
        write_atomically(file, text)


def _lowered(file: Path, sold: Sold) -> tuple[str, Left]:
    text = _read(file)
    lines = text.splitlines(keepends=True)
    delimiter = ";" if ";" in (lines[0] if lines else "") else ","
    rows = [next(csv.reader([line], delimiter=delimiter), []) for line in lines]
    columns = [rows[0].index(name) for name in STOCK_COLUMNS] if rows else []
    left: Left = {}
    for (product, size), count in sold.items():
        number = _row_of(rows, columns, product, size, file)
        there = int(rows[number][columns[2]].strip())
        if count > there:
            raise InputError(
                Place(str(file), number + 1),
                f"{counted(there, 'pair')} of `{product}` in {size:g} on the list, {count} sold",
                mend="correct the count, or say `ordered` or `reserved`",
            )
        left[(product, size)] = there - count
        rows[number][columns[2]] = str(there - count)
        lines[number] = _written(rows[number], delimiter, lines[number])
    return "".join(lines), left


def _read(file: Path) -> str:
    try:
        return read_bytes(file).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            Place(str(file)), f"cannot be read ({error})", mend="name a CSV file in UTF-8"
        ) from error


def _row_of(
    rows: list[list[str]], columns: list[int], product: str, size: float, file: Path
) -> int:
    for number, row in enumerate(rows[1:], 1):
        if len(row) > max(columns) and row[columns[0]].strip() == product:
            try:
                if float(row[columns[1]].strip()) == size:
                    return number
            except ValueError:
                continue
    raise InputError(
        Place(str(file)),
        f"`{product}` in size {size:g} is not on the stock list",
        mend="add a line for it, or say `ordered`",
    )


def _written(row: list[str], delimiter: str, line: str) -> str:
    end = line[len(line.rstrip("\r\n")) :]
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="").writerow(row)
    return out.getvalue() + end
