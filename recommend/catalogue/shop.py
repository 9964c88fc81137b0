"""The rulebook and the catalogue of this shop, as its settings say.

Every command opens both through here. Errors of this lab, several catalogues and a stock list give
other texts, which are read like files; no folder is made for them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from recommend.catalogue.loading import Catalogue, load_catalogue, prepared_catalogue
from recommend.catalogue.stacking import merged, read_stock, stacked, stacked_texts
from recommend.rulebook import Rulebook, prepared_rulebook
from recommend.rulebook.lab import with_errors
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
