"""Kept visits to learn from: a folder of visit files, or the record store."""

from __future__ import annotations

import json
from pathlib import Path

from recommend.catalogue.shop import open_visit
from recommend.errors import InputError, Place
from recommend.records.private import join
from recommend.records.store import SHORTLIST, Store
from recommend.rulebook.book import Rulebook
from recommend.visit import Visit
from recommend.visit.models import KEPT
from recommend.visit.shelf import DRAFTS

_SUFFIXES = (".yaml", ".yml", ".json")
STORES = (".sqlite", ".sqlite3", ".db")


def kept_visits(path: Path, book: Rulebook) -> tuple[Visit, ...]:
    """The visits of a folder of visit files (and its folders), or of a record store.

    A folder may hold the stores of several shops as well. Of a visit that was recorded several
    times the last record counts; what was forgotten on request is left out.

    Raises
    ------
    InputError
        If there is nothing of that name, no visit in it, or a file that does not fit: a visit
        that is silently left out would shift what is learned.
    """
    return tuple(visit for visits in kept_by_shop(path, book).values() for visit in visits)


def kept_by_shop(path: Path, book: Rulebook) -> dict[str, tuple[Visit, ...]]:
    """The same by shop: each store in a folder is one, and each folder in it; '' for the rest."""
    if not path.is_dir():
        found = {"": _of_store(path)}
    else:
        named = (file for file in path.rglob("*") if file.suffix in _SUFFIXES)
        files = sorted(file for file in named if file.parent.name != DRAFTS)
        stores = sorted(file for file in path.rglob("*") if file.suffix in STORES)
        if not files and not stores:
            raise InputError(Place(str(path)), "no visit files are here", ", ".join(_SUFFIXES))
        by_folder: dict[str, list[Visit]] = {}
        for file in files:
            inside = file.relative_to(path).parts
            one = open_visit(file, book)
            by_folder.setdefault(inside[0] if len(inside) > 1 else "", []).append(one)
        found = {shop: tuple(visits) for shop, visits in sorted(by_folder.items())}
        for store in stores:
            found[store.stem] = (*found.get(store.stem, ()), *_of_store(store))
    if not any(found.values()):
        raise InputError(Place(str(path)), "no kept visits are here", "visit files or records")
    return found


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
