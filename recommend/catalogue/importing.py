"""A supplier's list (CSV) into products, by a mapping file; all rows or none.

The mapping says which column becomes which field or attribute, and which of the supplier's
words mean which of ours.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, model_validator

from recommend.catalogue.loading import Item, as_item, item_in
from recommend.catalogue.models import CatalogueFile, Product
from recommend.errors import InputError, Place, RecommendError, counted, nearest
from recommend.measure.sizing import foot_length_of
from recommend.output import CATALOGUE, write_output
from recommend.parameters import Parameters
from recommend.reading import Document, Strict, problems_in, read_document, validate, written
from recommend.reading.document import Loc, read_text
from recommend.rulebook.models import AttributeDef
from recommend.visit.models import Day, ShoeSize, SizeSystem

SHOWN = 3  # faults of a column listed before the rest is only counted
# Units that a cell may bear, in ours. A point-less unit is one of a kind of number.
_TO_OURS: Mapping[tuple[str, str], float] = {
    ("mm", "mm"): 1, ("cm", "mm"): 10, ("m", "mm"): 1000, ("in", "mm"): 25.4, ("inch", "mm"): 25.4,
    ("kg", "kg"): 1, ("g", "kg"): 0.001, ("lb", "kg"): 0.45359237, ("lbs", "kg"): 0.45359237,
    ("deg", "deg"): 1, ("°", "deg"): 1, ("degrees", "deg"): 1, ("%", "percent"): 1,
}  # fmt: skip
LEAST, MOST = 100, 399  # mm; lengths that a size may be made for
_MONEY = re.compile(r"[A-Z]{3}|[€$£]")


class FromColumn(Strict):
    """Where one value comes from: a `column`, or the same `always`.

    `words` translates what stands in the column; a number is multiplied by `factor`. An empty
    cell leaves the value out, which means unknown.
    """

    column: str | None = None
    always: str | float | None = None
    words: dict[str, str | float] = {}
    factor: float = 1

    @model_validator(mode="after")
    def _one_of_the_two(self) -> FromColumn:
        if (self.column is None) == (self.always is None):
            raise ValueError("write exactly one of `column` and `always`")
        return self


class SizesFrom(Strict):
    """Where sizes and stock come from.

    Either one `column` with entries such as ``250:3 255:0``, or one column per size in
    `columns`, from size to the column that holds the number in stock (empty: not made). Sizes are
    Mondopoint (mm), or numbers of the `system`, which are read as the foot length that they are
    made for (``sizing.toe-allowance``), to half a millimetre.
    """

    system: SizeSystem = "mondopoint"
    column: str | None = None
    columns: dict[str, str] = {}

    @model_validator(mode="after")
    def _one_of_the_two(self) -> SizesFrom:
        if (self.column is None) == (not self.columns):
            raise ValueError("write exactly one of `column` and `columns`")
        return self


_SINGLE = ("id", "kind", "name", "price", "remarks")  # what stands in one column


class ColumnMapping(Strict):
    """A mapping file; `as_of` is the day of the maker's data."""

    title: str
    currency: str = ""
    as_of: Day | None = None
    delimiter: Literal[",", ";", "\t", "|"] = ","
    decimal: Literal[".", ","] = "."
    id: FromColumn
    kind: FromColumn
    name: FromColumn
    price: FromColumn | None = None
    remarks: FromColumn | None = None
    sizes: SizesFrom
    supply: dict[Literal["cost", "pack", "minimum", "lead-weeks"], FromColumn] = {}
    insole: dict[str, FromColumn] = {}
    shoe: dict[str, FromColumn] = Field(default={}, validate_default=True)

    def columns(self) -> Iterator[tuple[tuple[str, ...], str]]:
        """Every column the mapping reads, with where the mapping names it."""
        found: dict[tuple[str, ...], FromColumn | None] = {
            (name,): getattr(self, name) for name in _SINGLE
        }
        for kind, group in (("insole", self.insole), ("shoe", self.shoe), ("supply", self.supply)):
            found |= {(kind, name): one for name, one in group.items()}
        for loc, one in found.items():
            if one is not None and one.column:
                yield (*loc, "column"), one.column
        if self.sizes.column:
            yield ("sizes", "column"), self.sizes.column
        for size, column in self.sizes.columns.items():
            yield ("sizes", "columns", size), column


class RowsError(RecommendError):
    """Rows of a list that cannot be used; names each, and nothing was loaded."""

    def __init__(self, file: str, problems: list[InputError], rows: int) -> None:
        self.problems = problems
        bad = len({p.place.line for p in problems})
        columns: dict[str, list[InputError]] = {}
        for problem in problems:
            columns.setdefault(_column_of(problem), []).append(problem)
        lines: list[str] = []
        for some in sorted(columns.values(), key=len, reverse=True):
            lines += [problem.sentence for problem in some[:SHOWN]]
            if len(some) > SHOWN:
                lines.append(f"... and {len(some) - SHOWN} more like these")
        head = f"{file}: {bad} of {counted(rows, 'row')} cannot be used, so none was loaded"
        super().__init__("\n  ".join([head, *lines]))


def _column_of(problem: InputError) -> str:
    """What faults are grouped by: the column, or the field that a row lacks."""
    named = re.match(r"`([^`]+)`", problem.found)
    return named.group(1) if named else problem.found


@dataclass(frozen=True, slots=True)
class Imported:
    """The products of a list, checked; `as_of` is the day of the maker's data."""

    title: str
    currency: str
    items: tuple[Item, ...]
    as_of: str | None = None


def import_csv(
    path: Path,
    mapping_path: Path,
    attributes: Mapping[str, AttributeDef],
    parameters: Parameters,
) -> Imported:
    """Read every row of `path` by the mapping.

    `parameters` has ``sizing.toe-allowance`` (mm), to say what an EU size would be in Mondopoint.

    Raises
    ------
    InputError
        If the mapping does not fit, or the list lacks a column it names.
    RowsError
        If any row cannot be used; names every such row, and all that is wrong in it.
    """
    document = read_document(mapping_path)
    mapping = validate(ColumnMapping, document)
    rows = list(_rows(path, mapping, document))
    if not rows:
        raise InputError(Place(str(path), 2), "the list has a heading but no rows")
    items: list[Item] = []
    problems: list[InputError] = []
    seen: dict[str, int] = {}
    for line, row in rows:
        item, found = _item(_Row(row, line, str(path), mapping, parameters, attributes))
        problems += found
        if item is None:
            continue
        items.append(item)
        try:
            _claim(item.id, line, str(path), seen)
        except InputError as error:
            problems.append(error)
    if problems:
        raise RowsError(str(path), problems, len(rows))
    return Imported(mapping.title, mapping.currency, tuple(items), mapping.as_of)


def read_list(
    path: Path,
    mapping: Path | None,
    attributes: Mapping[str, AttributeDef],
    parameters: Parameters,
) -> Imported:
    """Read products from one file: YAML as in a catalogue, or CSV by a mapping.

    Raises
    ------
    InputError
        If it does not fit, or is CSV and no mapping is given.
    RowsError
        If rows of a CSV list cannot be used.
    """
    if path.suffix.lower() == ".csv":
        if mapping is None:
            raise InputError(
                Place(str(path)), "a CSV list needs a mapping file", mend="add --mapping MAP.yaml"
            )
        return import_csv(path, mapping, attributes, parameters)
    document = read_document(path)
    file = validate(CatalogueFile, document)
    items: list[Item] = []
    seen: dict[str, int] = {}
    for n, product in enumerate(file.products):
        items.append(as_item(product, attributes, document, ("products", n)))
        place = document.place(("products", n, "id"))
        _claim(product.id, place.line, str(path), seen)
    return Imported(file.title, file.currency, tuple(items), file.as_of)


def _rows(
    path: Path, mapping: ColumnMapping, document: Document
) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows under their heading; lines before it are passed over, and a later heading holds on."""
    stream = io.StringIO(read_text(path), newline="")
    reader = csv.reader(stream, delimiter=mapping.delimiter, strict=True)
    wanted = {column for _, column in mapping.columns()}
    heading: list[str] = []
    nearly: list[str] = []  # the line that holds most of the columns, where none holds all
    try:
        for cells in ([cell.strip() for cell in row] for row in reader):
            if not any(cells):
                continue
            if wanted <= set(cells):
                heading = cells
                _check_heading(heading, mapping, document, str(path))
            elif not heading:
                nearly = max(nearly, cells, key=lambda line: len(wanted & set(line)))
            elif len(cells) != len(heading):
                raise InputError(
                    Place(str(path), reader.line_num),
                    "the row has not as many cells as the heading",
                    f"{len(heading)} cells",
                )
            else:
                yield reader.line_num, dict(zip(heading, cells, strict=True))
    except csv.Error as error:
        raise InputError(
            Place(str(path)), f"this is not a CSV list in UTF-8 ({error})", mend="save it as such"
        ) from error
    if not heading:
        _check_heading(nearly, mapping, document, str(path))


def _check_heading(
    heading: list[str], mapping: ColumnMapping, document: Document, file: str
) -> None:
    if twice := sorted({name for name in heading if name and heading.count(name) > 1}):
        raise InputError(Place(file, 1), f"the column `{twice[0]}` stands twice")
    for loc, column in mapping.columns():
        if column not in heading:
            raise InputError(
                document.place(loc),
                f"{file} has no column `{column}`",
                ", ".join(name for name in heading if name),
                nearest(column, heading) or "correct the column's name",
            )


def _item(reader: _Row) -> tuple[Item | None, list[InputError]]:
    """The product of a row, None when it is not one, and everything that is wrong in the row."""
    data = reader.product()
    at = Document(reader.file, data, dict.fromkeys(_paths(data), (reader.line, 0)), {}, "")
    product, problems = problems_in(Product, at)
    if product is None:
        return None, [*reader.problems, *problems]
    item, problems = item_in(product, reader.attributes, at, ())
    return item, [*reader.problems, *problems]


def _paths(data: Any, above: Loc = ()) -> Iterator[Loc]:
    """Every path of keys in the data of a row, so that each is known to stand on its line."""
    yield above
    if isinstance(data, dict):
        for key, part in data.items():
            yield from _paths(part, (*above, key))


# Stands in for a cell that is refused already, so that the rest of its row is checked too.
_PLACEHOLDERS: Mapping[str, Any] = {"kind": "shoe", "stock": {"250": 0}}


@dataclass(frozen=True, slots=True)
class _Row:
    """One row, and how to read a value from it; `problems` gathers the cells that are refused."""

    row: Mapping[str, str]
    line: int
    file: str
    mapping: ColumnMapping
    parameters: Parameters
    attributes: Mapping[str, AttributeDef]
    problems: list[InputError] = field(default_factory=list)

    def product(self) -> dict[str, Any]:
        """The data of the product."""
        mapping = self.mapping
        kind = self._read(mapping.kind)
        group = {"insole": mapping.insole, "shoe": mapping.shoe}.get(str(kind), {})
        values: dict[str, Any] = {
            "id": self._slug(mapping.id),
            "kind": kind,
            "title": self._text(mapping.name),
            "price": self._read(mapping.price) if mapping.price else None,
            "remarks": self._text(mapping.remarks) if mapping.remarks else None,
            "stock": self._stock(mapping.sizes),
        }
        refused = bool(self.problems)
        stated = {name: self._read(one, self._unit(kind, name)) for name, one in group.items()}
        supply = {n: self._read(one) for n, one in mapping.supply.items()}
        values["supply"] = {n: _whole(v) for n, v in supply.items() if v is not None} or None
        known = {name: value for name, value in values.items() if value is not None}
        known["attributes"] = {n: v for n, v in stated.items() if v is not None}
        return {**_PLACEHOLDERS, **known} if refused else known

    def _read(self, one: FromColumn, ours: str = "") -> str | float | None:
        """The translated value; None where the cell is empty or refused.

        `ours` is the unit in which a number is wanted, where a cell may bear its own.
        """
        if one.column is None:
            return one.always
        cell = self.row[one.column]
        if cell in one.words:
            return one.words[cell]
        if cell == "":
            return None
        cell, unit = _without_unit(cell)
        if mend := _other_mark(cell, self.mapping.decimal):
            mark = {".": "point", ",": "comma"}[self.mapping.decimal]
            allowed = f"a number with a decimal {mark}, as the mapping says, and no other mark"
            self._refuse(one.column, cell, allowed, mend)
            return None
        number = _number(cell, self.mapping.decimal)
        if number is not None:
            return self._in_ours(number * one.factor, unit, one, ours)
        cell = self.row[one.column]
        if one.words:
            words = ", ".join(word or "an empty cell" for word in one.words)
            self._refuse(one.column, cell, words, nearest(cell, one.words))
            return None
        return cell

    def _unit(self, kind: object, name: str) -> str:
        definition = self.attributes.get(f"{kind}.{name}")
        return definition.unit if definition and not definition.scale else ""

    def _in_ours(self, number: float, unit: str, one: FromColumn, ours: str) -> float | None:
        """A number in our unit; refused where its own cannot be turned into it."""
        if not unit or (not ours and _MONEY.fullmatch(unit)):
            return number
        factor = _TO_OURS.get((unit.lower(), ours))
        if factor is None:
            column = one.column or ""
            allowed = f"a number in {ours}" if ours else "a number without a unit"
            self._refuse(column, self.row[column], allowed, "write it without, or as such")
            return None
        return round(number * factor, 6)

    def _text(self, one: FromColumn) -> str | float | None:
        """What stands in the cell, word for word, though it looks like a number."""
        if one.column is None:
            return one.always
        cell = self.row[one.column]
        return one.words.get(cell, cell) or None

    def _slug(self, one: FromColumn) -> str | None:
        text = self.row[one.column] if one.column else str(one.always)
        return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or None

    def _stock(self, sizes: SizesFrom) -> dict[str, int] | None:
        """The number in stock by size; None where the cell is refused."""
        if sizes.column is None:
            cells = {size: self.row[column] for size, column in sizes.columns.items()}
            counts = {s: self._count(s, cell) for s, cell in cells.items() if cell != ""}
        elif sizes.system != "mondopoint":
            pairs = [e.partition(":") for e in re.split(r"[\s;/]+", self.row[sizes.column]) if e]
            counts = {size: self._count(size, n) for size, _, n in pairs}
        else:
            cell = self.row[sizes.column]
            pairs = [entry.partition(":") for entry in re.split(r"[\s;/]+", cell) if entry]
            wrong = [size for size, _, _ in pairs if not re.fullmatch(r"\d{3}([.,]5)?", size)]
            if wrong:
                allowed = "sizes in Mondopoint (foot length in mm), such as `250:3 255:0`"
                self._refuse(sizes.column, cell, allowed, self._as_mondopoint(wrong[0]))
                return None
            counts = {size.replace(",", "."): self._count(size, n) for size, _, n in pairs}
        known = {size: count for size, count in counts.items() if count is not None}
        if len(known) < len(counts):
            return None
        return known if sizes.system == "mondopoint" else self._in_mondopoint(sizes, known)

    def _in_mondopoint(self, sizes: SizesFrom, counts: Mapping[str, int]) -> dict[str, int] | None:
        """Counts of sizes of another system, by the foot length that each is made for."""
        found: dict[str, int] = {}
        for size, count in counts.items():
            number = _number(size.replace(",", "."), ".")
            length = number and foot_length_of(
                ShoeSize(system=sizes.system, value=number), self.parameters
            )
            if not length or not LEAST <= length <= MOST:
                allowed = f"a size number of {sizes.system}"
                allowed += f" for feet of {LEAST} to {MOST} mm" if length else ""
                self._refuse(sizes.column or f"size {size}", size, allowed)
                return None
            found[f"{round(2 * length) / 2:g}"] = count
        return found

    def _as_mondopoint(self, size: str) -> str:
        """What `size` would be in Mondopoint if it is an EU size; empty when it cannot be one."""
        if not re.fullmatch(r"\d\d([.,]5)?", size):
            return ""
        worn = ShoeSize(system="eu", value=float(size.replace(",", ".")))
        length = foot_length_of(worn, self.parameters)
        return f"if {size} is an EU size, write its foot length, about {length:.0f}"

    def _count(self, size: str, cell: str) -> int | None:
        if re.fullmatch(r"\d{1,7}", cell):
            return int(cell)
        self._refuse(f"size {size}", cell, "a whole number in stock, 0 when none")
        return None

    def _refuse(self, column: str, cell: str, allowed: str, mend: str = "") -> None:
        place = Place(self.file, self.line)
        self.problems.append(InputError(place, f"`{column}` is `{cell}`", allowed, mend))


def _other_mark(cell: str, decimal: str) -> str:
    """How to mend a number that holds the other mark than `decimal`; empty when it holds none."""
    other = {",": ".", ".": ","}[decimal]
    if other not in cell or not re.fullmatch(r"[-+]?\d+([.,]\d+)+", cell):
        return ""
    whole, fraction = cell.replace(other, ""), cell.replace(other, decimal)
    if decimal in cell or cell.count(other) > 1:
        return f"write {whole}"
    if re.fullmatch(rf"[-+]?\d{{1,3}}[{other}]\d{{3}}", cell):
        return f"write {whole} for thousands, or {fraction} for a fraction"
    return f"write {fraction}, or correct `decimal` of the mapping"


def _without_unit(cell: str) -> tuple[str, str]:
    """A number that bears a unit, and the unit; any other cell as it is."""
    found = re.fullmatch(r"([-+]?[\d.,]+)\s*([a-zA-Z°%€$£]+)", cell)
    turned = re.fullmatch(r"([€$£]|[A-Z]{3})\s*([-+]?[\d.,]+)", cell)
    if found:
        return found.group(1), found.group(2)
    return (turned.group(2), turned.group(1)) if turned else (cell, "")


def _whole(value: str | float) -> str | float | int:
    """A number without a fraction as a whole one, which is what packs and pieces are."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _number(cell: str, decimal: str) -> float | None:
    text = cell.replace(decimal, ".") if decimal != "." else cell
    if not re.fullmatch(r"[-+]?\d{1,12}(\.\d{1,12})?", text):
        return None
    return float(text)


def _claim(product_id: str, line: int, file: str, seen: dict[str, int]) -> None:
    if product_id in seen:
        raise InputError(
            Place(file, line),
            f"the id `{product_id}` stands twice (first on line {seen[product_id]})",
        )
    seen[product_id] = line


def write_products(imported: Imported, path: Path, *, replace: bool, force: bool = False) -> None:
    """Write the products as a catalogue file, whole or not at all.

    Raises
    ------
    InputError
        If `path` exists and `replace` is not set, or is no catalogue file and `force` is not, or
        cannot be written.
    """
    if path.exists() and not (replace or force):
        raise InputError(Place(str(path)), "the file exists already", mend="add --replace")
    products = [item.product for item in imported.items]
    file = CatalogueFile(
        title=imported.title, currency=imported.currency, as_of=imported.as_of, products=products
    )
    data = file.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    text = written(data)
    write_output(path, text, CATALOGUE, force=force)
