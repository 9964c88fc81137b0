"""Rulebook and catalogue as documents to keep, and back on the shelf when a record is reopened."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from recommend.catalogue.loading import Catalogue, hashed, load_catalogue, product_files
from recommend.errors import InputError, Place
from recommend.rulebook import Rulebook, load_rulebook
from recommend.rulebook.loading import digest_of

_BOM = "\ufeff"  # some editors begin a file with it; it is no part of the text
RULES, PRODUCTS = "rules", "products"  # names of the folders a document is laid out in again


def rulebook_document(book: Rulebook) -> dict[str, Any]:
    """Every file of the rulebook as it was read, by its name within the folder.

    Raises
    ------
    InputError
        If a file was changed since the rulebook was read.
    """
    folder = Path(book.folder)
    files = {
        file.relative_to(folder).as_posix(): _text(file) for file in sorted(folder.rglob("*.yaml"))
    }
    _same(digest_of(folder), book.digest, "rulebook")
    return {"files": files, "sha256": book.digest}


def catalogue_document(catalogue: Catalogue) -> dict[str, Any]:
    """Every file of the catalogue as it was read, by its name within the folder.

    Raises
    ------
    InputError
        If a file was changed since the catalogue was read.
    """
    files: dict[str, str] = {}
    running = hashlib.sha256()
    for file in product_files(catalogue.folder):
        files[file.name] = _text(file)
        running.update(hashed(file.name, files[file.name].removeprefix(_BOM)))
    _same(running.hexdigest(), catalogue.digest, "catalogue")
    return {"files": files, "sha256": catalogue.digest}


def _text(file: Path) -> str:
    try:
        return file.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(Place(str(file)), "this can no longer be read as text") from error


@contextmanager
def laid_out(document: Mapping[str, Any], name: str) -> Iterator[Path]:
    """A folder called `name` that holds the files of `document`, for as long as it is open."""
    with tempfile.TemporaryDirectory(prefix="recommend-") as base:
        folder = Path(base) / name
        for relative, text in document["files"].items():
            file = folder / relative
            if not file.resolve().is_relative_to(folder.resolve()):
                raise InputError(Place(relative), "this name leads out of the folder")
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(text.encode("utf-8"))
        try:
            yield folder
        except InputError as error:
            place = replace(error.place, file=_from(base, error.place.file))
            raise InputError(place, error.found, error.allowed, error.mend) from error


def _from(base: str, file: str) -> str:
    """A file as counted from the folder it was laid out in for a moment: ``rules/limits.yaml``."""
    return file.removeprefix(base).lstrip("/\\") if file.startswith(base) else file


def rulebook_from(document: Mapping[str, Any]) -> Rulebook:
    """The rulebook that `rulebook_document` made the document of.

    Raises
    ------
    InputError
        If this version of the tool no longer understands it, or it is not the same.
    """
    with laid_out(document, RULES) as folder:
        book = load_rulebook(folder)
        _same(book.digest, document["sha256"], "rulebook")
        base = str(folder.parent)
    rules = (
        replace(rule, place=replace(rule.place, file=_from(base, rule.place.file)))
        for rule in book.rules
    )
    return replace(book, folder=RULES, rules=tuple(rules))


def catalogue_from(document: Mapping[str, Any], book: Rulebook) -> Catalogue:
    """The catalogue that `catalogue_document` made the document of."""
    with laid_out(document, PRODUCTS) as folder:
        catalogue = load_catalogue(folder, book.attributes)
    _same(catalogue.digest, document["sha256"], "catalogue")
    return catalogue


def _same(found: str, promised: str, what: str) -> None:
    if found != promised:
        raise InputError(
            Place(what),
            f"the files of the {what} are not the ones that were used ({found[:12]} is not "
            f"{promised[:12]}): they were changed meanwhile",
            mend="make the shortlist again",
        )
