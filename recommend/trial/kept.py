"""Kept visits to learn from: a folder of visit files."""

from __future__ import annotations

from pathlib import Path

from recommend.errors import InputError, Place
from recommend.measure.named import read_measured_visit
from recommend.rulebook.book import Rulebook
from recommend.visit import Visit


def visits_in(folder: Path, book: Rulebook) -> tuple[Visit, ...]:
    """Every visit file (``*.yaml``, ``*.yml``, ``*.json``) in `folder` and below.

    Raises
    ------
    InputError
        If there is no such folder, no visit in it, or a file that does not fit: a trial that is
        silently left out would shift what is learned.
    """
    if not folder.is_dir():
        raise InputError(Place(str(folder)), "there is no such folder", "a folder of visit files")
    suffixes = (".yaml", ".yml", ".json")
    files = sorted(file for file in folder.rglob("*") if file.suffix in suffixes)
    if not files:
        raise InputError(Place(str(folder)), "no visit files are here", ", ".join(suffixes))
    return tuple(
        read_measured_visit(file, book.questions, book.parameters, book.measures) for file in files
    )
