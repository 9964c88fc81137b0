"""`recommend import`: a supplier's list into the catalogue."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from recommend.catalogue.importing import import_csv, write_products
from recommend.catalogue.shop import open_rulebook
from recommend.commands import single
from recommend.commands.options import Force
from recommend.errors import counted


def import_list(
    supplier_list: Annotated[Path, typer.Argument(metavar="LIST", help="The list, CSV in UTF-8.")],
    mapping: Annotated[Path, typer.Option(help="How its columns become attributes.")],
    into: Annotated[Path, typer.Option(help="The catalogue file to write (YAML).")],
    rules: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="Folder of the rulebook; else as in `setup show`."),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Overwrite the file.")] = False,
    force: Force = False,
) -> None:
    """Read a supplier's list by a mapping file, and write it as a catalogue file.

    Every row that cannot be used is named; then nothing is written.

    Example: recommend import catalogue_demo/supplier/list.csv --mapping
    catalogue_demo/supplier/mapping.yaml --into supplier.yaml
    """
    book = open_rulebook(rules)
    imported = import_csv(supplier_list, mapping, book.attributes, book.parameters)
    write_products(imported, into, replace=replace, force=force)
    count = len(imported.items)
    print(f"{counted(count, 'product')} written to {into}")


app = single(import_list)
