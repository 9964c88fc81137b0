"""Kept visits to learn from: a folder of visit files, or the record store."""

from __future__ import annotations

import json
from pathlib import Path

from recommend.errors import InputError, Place
from recommend.measure.named import read_measured_visit
from recommend.records.private import join
from recommend.records.store import SHORTLIST, Store
from recommend.rulebook.book import Rulebook
from recommend.visit import Visit
from recommend.visit.models import KEPT
from recommend.visit.shelf import DRAFTS

_SUFFIXES = (".yaml", ".yml", ".json")


def kept_visits(path: Path, book: Rulebook) -> tuple[Visit, ...]:
    """The visits of a folder of visit files (and its folders), or of a record store.

    Of a visit that was recorded several times the last record counts; what was forgotten on
    request is left out.

    Raises
    ------
    InputError
        If there is nothing of that name, no visit in it, or a file that does not fit: a visit
        that is silently left out would shift what is learned.
    """
    visits = _of_folder(path, book) if path.is_dir() else _of_store(path)
    if not visits:
        raise InputError(Place(str(path)), "no kept visits are here", "visit files or records")
    return visits


def _of_folder(folder: Path, book: Rulebook) -> tuple[Visit, ...]:
    found = (file for file in folder.rglob("*") if file.suffix in _SUFFIXES)
    files = sorted(file for file in found if file.parent.name != DRAFTS)
    if not files:
        raise InputError(Place(str(folder)), "no visit files are here", ", ".join(_SUFFIXES))
    return tuple(
        read_measured_visit(file, book.questions, book.parameters, book.measures, book.purposes)
        for file in files
    )


def _of_store(path: Path) -> tuple[Visit, ...]:
    visits: dict[str, Visit] = {}
    with Store(path) as store:
        for record in store.records():
            private = store.private(record)
            if record.kind == SHORTLIST and private is not None:
                data = join({"visit": store.body(record.bodies["visit"])}, private)["visit"]
                visit = Visit.model_validate(data, context=KEPT)
                # Without a date nothing says that two records are of one visit but their content.
                when = visit.date or json.dumps(data, sort_keys=True)
                visits[f"{visit.reference} {when}"] = visit
    return tuple(visits.values())
