"""The rulebook and the catalogue of this shop, as its settings say, and visits measured by them.

Every command opens them through here. Errors of this lab, several catalogues and a stock list give
other texts, which are read like files; no folder is made for them.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from recommend.catalogue.loading import Catalogue, load_catalogue, prepared_catalogue
from recommend.errors import InputError, Place, nearest
from recommend.measure.named import read_measured_visit
from recommend.reading.document import written
from recommend.reading.texts import Texts
from recommend.rulebook import Rulebook, prepared_rulebook
from recommend.settings import lab_errors, setting, settings_file
from recommend.visit.models import Visit

_OF_LAB = "measured in this lab from repeats"


def open_rulebook(option: Path | None = None) -> Rulebook:
    """The rulebook of the shop, with the errors of measurement of its lab.

    Raises
    ------
    InputError
        If a setting or the rulebook does not fit.
    """
    folder: Path = setting("rulebook", option).value
    errors = lab_errors()
    alone = setting("raters").value == "one"
    book = prepared_rulebook(folder)  # so that what is wrong in it is named where it stands
    several = {} if alone else book.errors_of_several
    if not errors and not several:
        return book
    return prepared_rulebook(with_errors(book.texts, errors, str(settings_file()), several))


def open_catalogue(book: Rulebook, options: Sequence[Path] | None = None) -> Catalogue:
    """The catalogue of the shop: its folders stacked, and its stock list over them.

    Raises
    ------
    InputError
        If a setting, a catalogue or the stock list does not fit.
    """
    folders: list[Path] = setting("catalogue", list(options) if options else None).value
    stock: Path | None = setting("stock").value
    if len(folders) == 1 and stock is None:
        return prepared_catalogue(folders[0], book)
    from recommend.catalogue.stacking import merged, read_stock, stacked, stacked_texts

    catalogues = stacked(folders, book.attributes)
    items = merged(catalogues)
    levels = read_stock(stock, items) if stock else []
    currency = next((one.currency for one in catalogues if one.currency), "")
    sources = tuple(map(str, [*folders, *([stock] if stock else [])]))
    texts = stacked_texts(items, levels, currency, " + ".join(sources))
    made = load_catalogue(texts, book.attributes)
    origins = tuple(
        replace(one, place=items[one.id].place, as_of=items[one.id].as_of) for one in made.items
    )
    return replace(made, items=origins, sources=sources)


def open_visit(file: Path, book: Rulebook) -> Visit:
    """A visit file, with the captures that it names measured.

    Raises
    ------
    InputError
        If something in it does not fit, with its place.
    """
    return read_measured_visit(file, book.questions, book.parameters, book.measures, book.purposes)


def with_errors(
    texts: Texts,
    errors: Mapping[str, Mapping[str, float]],
    origin: str,
    several: Mapping[str, float] | None = None,
) -> Texts:
    """The texts of a rulebook with `errors` by measure: read like any, so that records keep it.

    `several` are errors of one reading where several people take it, by measure; an error that
    the lab measured itself goes before them.

    Raises
    ------
    InputError
        If an error is given for something that is not a measure with an error.
    """
    data = copy.deepcopy(texts.document("measures.yaml").data)
    measures: dict[str, Any] = data["measures"]
    for name, single in (several or {}).items():
        note = f"several raters; {measures[name]['error'].get('note', '')}"
        measures[name]["error"] |= {"single": single, "note": note}
    for name, error in errors.items():
        known = [one for one, definition in measures.items() if "error" in definition]
        if name not in known:
            raise InputError(
                Place(origin), f"`errors.{name}` is no measure with an error", ", ".join(known),
                nearest(name, known),
            )  # fmt: skip
        measures[name]["error"] = {
            **error, "of-lab": True, "kind": "assumption", "note": _OF_LAB
        }  # fmt: skip
    text = written(data, width=100)
    return texts.replaced({"measures.yaml": text})
