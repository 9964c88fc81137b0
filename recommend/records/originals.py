"""Rulebook and catalogue as documents to keep, and back again when a record is reopened."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from recommend.catalogue.loading import Catalogue, load_catalogue
from recommend.errors import InputError, Place
from recommend.reading.texts import Texts
from recommend.rulebook import Rulebook, load_rulebook

_SEE = "see `recommend store verify`"
RULES, PRODUCTS = "rules", "products"  # what their folders are called in places of messages


def rulebook_document(book: Rulebook) -> dict[str, Any]:
    """Every file of the rulebook as it was read, by its name within the folder."""
    return {"files": book.texts.as_document(), "sha256": book.digest}


def catalogue_document(catalogue: Catalogue) -> dict[str, Any]:
    """Every file of the catalogue as it was read, by its name within the folder."""
    return {"files": catalogue.texts.as_document(), "sha256": catalogue.digest}


def rulebook_from(document: Mapping[str, Any]) -> Rulebook:
    """The rulebook that `rulebook_document` made the document of.

    Raises
    ------
    InputError
        If this version of the tool no longer understands it, or it is not the same.
    """
    book = load_rulebook(Texts.of(RULES, _files(document, "rulebook")), kept=True)
    _same(book.digest, document["sha256"], "rulebook")
    return book


def catalogue_from(document: Mapping[str, Any], book: Rulebook) -> Catalogue:
    """The catalogue that `catalogue_document` made the document of; errors likewise."""
    files = _files(document, "catalogue")
    catalogue = load_catalogue(Texts.of(PRODUCTS, files), book.attributes)
    _same(catalogue.digest, document["sha256"], "catalogue")
    return catalogue


def _files(document: object, what: str) -> dict[str, str]:
    """The texts by name; a record that holds something else was forged."""
    if isinstance(document, Mapping) and isinstance(document.get("sha256"), str):
        files = document.get("files")
        if isinstance(files, dict) and all(isinstance(text, str) for text in files.values()):
            return files
    raise InputError(Place(what), f"the {what} of this record holds no files", mend=_SEE)


def _same(found: str, promised: str, what: str) -> None:
    if found != promised:
        raise InputError(
            Place(what),
            f"the files of the {what} are not the ones that were used ({found[:12]} is not "
            f"{promised[:12]}): the record was changed",
            mend=_SEE,
        )
