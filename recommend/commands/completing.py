"""What the shell offers on Tab: codes, products, rules and records, found without loading rules.

Completion must be quick and must never fail: what cannot be read offers nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from recommend.errors import RecommendError
from recommend.settings import setting

_ID = re.compile(r"^\s*(?:-\s+)?id:\s*([a-z0-9-]+)\s*(?:#.*)?$", re.MULTILINE)
_RULES = re.compile(r"^rules:", re.MULTILINE)
_KIND = re.compile(r"^\s*(?:-\s+)?kind:\s*(shoe|insole)\b", re.MULTILINE)


def references(incomplete: str) -> list[str]:
    """Reference codes of visits on the shelf and under way."""
    from recommend.visit.shelf import Shelf

    try:
        shelf = Shelf(setting("visits").value)
        codes = {one.reference for one in shelf.finished()}
        codes |= {one.reference for one in shelf.drafts()}
    except (RecommendError, OSError):
        return []
    return sorted(code for code in codes if code.startswith(incomplete))


def drafts(incomplete: str) -> list[str]:
    """Reference codes of visits under way."""
    from recommend.visit.shelf import Shelf

    try:
        codes = [one.reference for one in Shelf(setting("visits").value).drafts()]
    except (RecommendError, OSError):
        return []
    return [code for code in codes if code.startswith(incomplete)]


def shoes(incomplete: str) -> list[str]:
    """Ids of shoes in the catalogue of the shop."""
    return _products("shoe", incomplete)


def insoles(incomplete: str) -> list[str]:
    """Ids of insoles in the catalogue of the shop."""
    return _products("insole", incomplete)


def rule_ids(incomplete: str) -> list[str]:
    """Ids of the rules of the shop's rulebook, by the look of their lines."""
    try:
        folder: Path = setting("rulebook").value
        texts = [file.read_text("utf-8") for file in sorted(folder.glob("*/*.yaml"))]
    except (RecommendError, OSError, UnicodeDecodeError):
        return []
    found = {one[1] for text in texts if _RULES.search(text) for one in _ID.finditer(text)}
    return sorted(one for one in found if one.startswith(incomplete))


def records(incomplete: str) -> list[str]:
    """Numbers of kept records and the references they are of, `last` among them."""
    count, codes = _kept()
    numbers = (str(number) for number in range(count, 0, -1))
    return [one for one in ("last", *numbers, *codes) if one.startswith(incomplete)]


def customers(incomplete: str) -> list[str]:
    """References that kept records are of."""
    return [code for code in _kept()[1] if code.startswith(incomplete)]


def _kept() -> tuple[int, list[str]]:
    """How many records are kept, and of which references."""
    from recommend.records.database import store_path
    from recommend.records.store import Store

    try:
        with Store(store_path(None)) as opened:
            return len(opened), opened.known_references()
    except (RecommendError, OSError):
        return 0, []


def _products(kind: str, incomplete: str) -> list[str]:
    try:
        folders: list[Path] = setting("catalogue").value
        found = {id_ for folder in folders for id_, k in _ids(folder) if k == kind}
    except (RecommendError, OSError, UnicodeDecodeError):
        return []
    return sorted(one for one in found if one.startswith(incomplete))


def _ids(folder: Path) -> Iterator[tuple[str, str]]:
    """Ids and kinds of the products in a folder, by the look of their lines."""
    inner = folder / "products" if (folder / "products").is_dir() else folder
    for file in sorted(inner.glob("*.yaml")):
        text = file.read_text("utf-8")
        places = [*_ID.finditer(text)]
        for number, place in enumerate(places):
            end = places[number + 1].start() if number + 1 < len(places) else len(text)
            kind = _KIND.search(text, place.end(), end)
            if kind:
                yield place[1], kind[1]
