"""The rulebook and the catalogue of this shop, as its settings say.

Every command opens both through here. With errors of this lab, several catalogues, or a stock
list, a folder is derived from them once and kept in the platform's cache by content.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from recommend.catalogue.loading import Catalogue, load_catalogue
from recommend.catalogue.stacking import merged, read_stock, stacked, write_catalogue
from recommend.rulebook import Rulebook, load_rulebook
from recommend.rulebook.lab import write_with_errors
from recommend.settings import lab_errors, setting, settings_file


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
    book = load_rulebook(folder)  # so that what is wrong in it is named where it stands
    several = {} if alone else book.errors_of_several
    if not errors and not several:
        return book
    derived = _cache("rulebook", book.digest, json.dumps([errors, several], sort_keys=True))
    if not (derived / "measures.yaml").exists():
        write_with_errors(folder, derived, errors, str(settings_file()), several)
    return load_rulebook(derived)


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
        return load_catalogue(folders[0], book.attributes)
    catalogues = stacked(folders, book.attributes)
    items = merged(catalogues)
    levels = read_stock(stock, items) if stock else []
    counted = json.dumps([(one.product, one.size, one.count) for one in levels])
    derived = _cache("catalogue", *(one.digest for one in catalogues), counted)
    if not (derived / "products" / "stacked.yaml").exists():
        currency = next((one.currency for one in catalogues if one.currency), "")
        write_catalogue(derived, items, levels, currency)
    sources = tuple(map(str, [*folders, *([stock] if stock else [])]))
    return replace(load_catalogue(derived, book.attributes), sources=sources)


def _cache(kind: str, *parts: str) -> Path:
    from platformdirs import user_cache_path  # only here: it costs a few milliseconds

    name = hashlib.sha256("\n".join(parts).encode()).hexdigest()[:20]
    return user_cache_path("recommend", appauthor=False) / f"{kind}-{name}"
