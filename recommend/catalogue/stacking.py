"""Several catalogues over one another, and stock levels of today over what they say.

The result is the texts of an ordinary catalogue, so that everything that reads a catalogue -
records and their replay included - reads this one alike. A stock list is a CSV file with the
columns product, size and count; when something is sold, or a sale taken back, only the counts of
that change, every other byte stays.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from recommend.atomic import held, write_atomically
from recommend.catalogue.loading import Catalogue, Item, load_catalogue
from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, counted, nearest
from recommend.reading.document import read_bytes, read_text, written
from recommend.reading.texts import Texts
from recommend.rulebook.models import AttributeDef

STOCK_COLUMNS = ("product", "size", "count")
SHOP = "shop"  # of a chain; may be left out


@dataclass(frozen=True, slots=True)
class StockLevel:
    """One line of a stock list."""

    product: str
    size: str
    count: int
    place: Place


def stacked(folders: Sequence[Path], attributes: Mapping[str, AttributeDef]) -> list[Catalogue]:
    """The catalogues of `folders`, each checked by itself.

    Raises
    ------
    InputError
        If one of them does not fit, or they name different currencies.
    """
    catalogues = [load_catalogue(folder, attributes) for folder in folders]
    currencies = {one.currency: one.folder for one in catalogues if one.currency}
    if len(currencies) > 1:
        (first, where), (second, there) = list(currencies.items())[:2]
        raise InputError(
            Place(there),
            f"the currency is `{second}`, that of {where} is `{first}`",
            "one currency for catalogues that are stacked",
        )
    return catalogues


def merged(catalogues: Iterable[Catalogue]) -> dict[str, Item]:
    """Products by id; a later catalogue replaces a product of an earlier one as a whole."""
    return {item.id: item for catalogue in catalogues for item in catalogue.items}


def read_stock(file: Path, items: Mapping[str, Item]) -> list[StockLevel]:
    """Stock levels of a CSV file with the columns product, size (Mondopoint, mm) and count.

    Raises
    ------
    InputError
        With file and line, for a column that is missing, a product that is not in the
        catalogue, a size that is not made, a count that is not a whole number, or a line that
        stands twice.
    """
    return [level for _, level in _by_shop(file, items, shops=False)]


def read_shops(files: Sequence[Path], catalogue: Catalogue) -> dict[str, Catalogue]:
    """The stock of every shop of a chain, as a catalogue each.

    A list with a column ``shop`` holds several shops; one without is named by its file. What a
    shop's list does not name is not there.

    Raises
    ------
    InputError
        As `read_stock`, or if there is no line at all.
    """
    stock: dict[str, dict[str, dict[float, int]]] = {}
    for file in files:
        for shop, level in _by_shop(file, {item.id: item for item in catalogue.items}):
            sizes = stock.setdefault(shop, {}).setdefault(level.product, {})
            sizes[float(level.size)] = level.count
    if not stock:
        named = ", ".join(map(str, files))
        raise InputError(Place(named), "no product is in this stock", "a line for each size")
    return {shop: _with_stock(catalogue, levels) for shop, levels in sorted(stock.items())}


def _by_shop(
    file: Path, items: Mapping[str, Item], *, shops: bool = True
) -> Iterator[tuple[str, StockLevel]]:
    """Shop and level of every line; without `shops` all lines are of one shop."""
    seen: dict[tuple[str, str, str], Place] = {}
    for row, place in _rows(file):
        level, shop = _level(row, place, items), (shops and row[SHOP]) or file.stem
        key = (shop, level.product, level.size)
        if key in seen:
            raise InputError(
                place,
                f"`{level.product}` in size {level.size} stands twice (first at {seen[key]})",
                "each product and size once" + (" a shop" if shops else ""),
            )
        seen[key] = place
        yield shop, level


def _with_stock(catalogue: Catalogue, stock: Mapping[str, Mapping[float, int]]) -> Catalogue:
    """A catalogue with what a shop has; a size that it does not name is made and not there."""
    items = tuple(
        replace(item, stock={size: stock[item.id].get(size, 0) for size in item.stock})
        for item in catalogue.items
        if item.id in stock
    )
    return replace(catalogue, items=items)


def together(shops: Mapping[str, Catalogue]) -> Catalogue:
    """The stock of all shops as one catalogue."""
    items: dict[str, Item] = {}
    for one in shops.values():
        for item in one.items:
            there = items.get(item.id)
            added = {
                size: n + (there.stock[size] if there else 0) for size, n in item.stock.items()
            }
            items[item.id] = replace(item, stock=added)
    return replace(next(iter(shops.values())), items=tuple(items[key] for key in sorted(items)))


def read_counts(
    file: Path, items: Mapping[str, Item], shop: str | None = None
) -> dict[tuple[str, float], float]:
    """Pieces by product and size in a list of stock or sales, of one shop or of all together."""
    out: dict[tuple[str, float], float] = {}
    for where, level in _by_shop(file, items):
        if shop in (None, where):
            key = (level.product, float(level.size))
            out[key] = out.get(key, 0.0) + level.count
    return out


def _rows(file: Path) -> Iterator[tuple[dict[str, str], Place]]:
    text = read_text(file)
    delimiter = ";" if ";" in text.partition("\n")[0] else ","
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        missing = [name for name in STOCK_COLUMNS if name not in (reader.fieldnames or ())]
        if missing:
            found = f"the column `{missing[0]}` is missing"
            raise InputError(Place(str(file), 1), found, ", ".join(STOCK_COLUMNS))
        for row in reader:
            cells = {name: (row.get(name) or "").strip() for name in (*STOCK_COLUMNS, SHOP)}
            yield cells, Place(str(file), reader.line_num)
    except csv.Error as error:
        raise InputError(Place(str(file), reader.line_num), f"this is not CSV ({error})") from error


def _level(row: Mapping[str, str], place: Place, items: Mapping[str, Item]) -> StockLevel:
    product, size, count = (row[name] for name in STOCK_COLUMNS)
    if product not in items:
        raise InputError(place, f"no product is called `{product}`", mend=nearest(product, items))
    made = items[product].product.stock
    if size not in made:
        raise InputError(place, f"`{product}` is not made in size `{size}`", ", ".join(made))
    if not count.isascii() or not count.isdigit() or len(count) > 6:
        raise InputError(place, f"the count is `{count}`", "a whole number from 0")
    return StockLevel(product, size, int(count), place)


def stacked_texts(
    items: Mapping[str, Item], levels: Iterable[StockLevel], currency: str, where: str
) -> Texts:
    """`items`, with stock replaced by `levels`, as the texts of a catalogue."""
    stock: dict[str, dict[str, int]] = {}
    for level in levels:
        stock.setdefault(level.product, {})[level.size] = level.count
    products = [_as_written(item, stock.get(item.id, {})) for item in items.values()]
    head = {"title": "Catalogues of the shop, stacked", "currency": currency}
    text = written({**head, "products": products}, width=100)
    return Texts.of(where, {"stacked.yaml": text})


def _as_written(item: Item, stock: Mapping[str, int]) -> dict[str, Any]:
    data = item.product.model_dump(mode="json", by_alias=True, exclude_unset=True)
    return {**data, "stock": {**data["stock"], **stock}}


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
