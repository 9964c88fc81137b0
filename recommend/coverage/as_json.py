"""Coverage as plain data: what ``--json`` prints and ``--csv`` writes."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from recommend.coverage.crowd import Crowd, assumed_figures
from recommend.coverage.run import Run
from recommend.coverage.split import OUTCOMES, WAYS, Cell
from recommend.output import table, write_output
from recommend.reading.checked import kebab

FORMAT = 2  # raised when a field changes its meaning or goes away


def as_document(run: Run) -> dict[str, Any]:
    """The run as plain data, in a stable order; shares are from 0 to 1."""
    coverage = run.coverage
    return {
        "format": FORMAT,
        "rulebook": {
            "name": run.book.heading.name,
            "version": run.book.heading.version,
            "sha256": run.book.digest,
        },
        "catalogue": {
            "folder": run.catalogue.name,
            "sha256": run.catalogue.digest,
            "currency": run.catalogue.currency,
            "shoes": len(run.catalogue.shoes),
            "insoles": len(run.catalogue.insoles),
        },
        "population": _crowd(run.crowd, coverage.customers, run.agreement),
        "sold": run.sold,
        "sold-out-counts": run.sold_out_counts,
        "served": plain(coverage.served),
        "outcomes": {name: plain(share) for name, share in coverage.outcomes.items()},
        "choice": {"of": run.book.parameters.coverage.choice, **plain(coverage.choice)},
        "not-served": [{**plain(reason), "share": share} for reason, share in coverage.reasons],
        "gaps": [plain(gap) for gap in coverage.gaps],
        "scenarios": [plain(one) for one in run.scenarios],
        "splits": {way: [_cell(one) for one in coverage.split.cells(way)] for way in WAYS},
        "matrix": list(coverage.by),
        "cells": [
            {**_cell(cell), **plain(shown)}
            for cell, shown in zip(coverage.cells, coverage.shown, strict=True)
        ],
        "products": [plain(product) for product in coverage.products],
        "sizes-missing": [plain(one) for one in coverage.missing_sizes],
        "shops": {name: plain(share) for name, share in run.shops.items()},
        "comparison": plain(run.comparison) if run.comparison else None,
    }


def _cell(cell: Cell) -> dict[str, Any]:
    """A cell with its outcomes by name."""
    outcomes = dict(zip(OUTCOMES, cell.outcomes, strict=True))
    return {**plain(cell), "outcomes": outcomes}


def _crowd(crowd: Crowd, customers: int, agreement: float | None) -> dict[str, Any]:
    assumed, total = assumed_figures(crowd.population)
    drawn = crowd.drawn
    return {
        "mode": crowd.mode,
        "title": crowd.population.title if drawn else None,
        "customers": customers,
        "seed": crowd.seed if drawn else None,
        "visits": crowd.visits,
        "figures": total if drawn else 0,
        "figures-assumed": assumed if drawn else 0,
        "fleiss-kappa": agreement,
    }


def plain(value: Any) -> Any:
    """A frozen model as plain data with hyphens in its keys."""
    return _hyphened(asdict(value))


def _hyphened(value: Any) -> Any:
    if isinstance(value, dict):
        return {kebab(key): _hyphened(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_hyphened(part) for part in value]
    return value


def write_csv(run: Run, path: Path, *, force: bool = False) -> None:
    """Write the matrix, one line a cell.

    Raises
    ------
    InputError
        If a file of another kind is there (unless `force`), or it cannot be written.
    """
    rows = list(_rows(run))
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    write_output(path, text.getvalue(), table(next(iter(rows[0]))), force=force)


def _rows(run: Run) -> Iterator[dict[str, Any]]:
    row, column = run.coverage.by
    for cell, shown in zip(run.coverage.cells, run.coverage.shown, strict=True):
        out = {row: cell.row, column: cell.column, "share": cell.share, "people": cell.people,
               "served": cell.served, **dict(zip(OUTCOMES, cell.outcomes, strict=True)),
               "choices": cell.choices, "products": shown.products}  # fmt: skip
        for name, band in (("shoe", shown.shoe_prices), ("insole", shown.insole_prices)):
            out |= {f"{name}-prices-from": band.low, f"{name}-prices-to": band.high}
        yield {**out, "stock": shown.stock}
