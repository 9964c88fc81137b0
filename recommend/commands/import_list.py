"""`recommend import`: a supplier's list into the catalogue."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Annotated, Optional

import typer

from recommend.catalogue.importing import RowsError, import_csv, write_products
from recommend.catalogue.shop import open_rulebook
from recommend.commands import single
from recommend.commands.options import Force, RulesFolder
from recommend.coverage.run import unstated_lines
from recommend.errors import counted
from recommend.output import table, write_output
from recommend.show.console import bullet, console

FaultsOption = Annotated[
    Optional[Path],  # noqa: UP045
    typer.Option(help="Write every fault to this file (CSV), where rows cannot be used."),
]


def import_list(
    supplier_list: Annotated[Path, typer.Argument(metavar="LIST", help="The list, CSV in UTF-8.")],
    mapping: Annotated[Path, typer.Option(help="How its columns become attributes.")],
    into: Annotated[Path, typer.Option(help="The catalogue file to write (YAML).")],
    rules: RulesFolder = None,
    faults: FaultsOption = None,
    replace: Annotated[bool, typer.Option("--replace", help="Overwrite the file.")] = False,
    force: Force = False,
) -> None:
    """Read a supplier's list by a mapping file, and write it as a catalogue file.

    Every row that cannot be used is named; then nothing is written. What the list does not state
    and rules need is said first, with what that does to coverage.

    Example: recommend import catalogue_demo/supplier/list.csv --mapping
    catalogue_demo/supplier/mapping.yaml --into supplier.yaml
    """
    book = open_rulebook(rules)
    try:
        imported = import_csv(supplier_list, mapping, book.attributes, book.parameters)
    except RowsError as error:
        if faults:
            _write_faults(faults, error, force=force)
        raise
    for line in unstated_lines(imported.items, book):
        console().print(bullet(line))
    if not into.parent.exists():
        into.parent.mkdir(parents=True)
    write_products(imported, into, replace=replace, force=force)
    count = len(imported.items)
    print(f"{counted(count, 'product')} written to {into}")


def _write_faults(path: Path, error: RowsError, *, force: bool) -> None:
    """Every fault of the list, a line each."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["line", "found", "allowed", "mend"])
    for one in error.problems:
        writer.writerow([one.place.line, one.found, one.allowed, one.mend])
    write_output(path, text.getvalue(), table("line"), force=force)


app = single(import_list)
