"""What of a customer may have to be forgotten, taken out of a document and put back.

A visit names no one, but its reference code leads to a person in the shop's own books, and free
text can hold anything. These parts are kept apart from the record, which holds only their hash
under a random salt: without the salt the hash tells nothing, not even by guessing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

PRIVATE_KEYS = frozenset({"reference", "remarks"})  # wherever they stand in a document

Private = dict[str, Any]  # "visit/remarks" -> the text that stood there


def separate(documents: Mapping[str, Any]) -> tuple[dict[str, Any], Private]:
    """Split `documents` into what is recorded for good and what may be forgotten."""
    private: Private = {}
    public = {name: _without(value, name, private) for name, value in documents.items()}
    return public, private


def join(public: Mapping[str, Any], private: Mapping[str, Any] | None) -> dict[str, Any]:
    """Put the private parts back where they stood; with None they stay missing."""
    whole = {name: _copied(value) for name, value in public.items()}
    for path, value in (private or {}).items():
        *above, last = path.split("/")
        part: Any = whole
        for step in above:
            part = part[int(step)] if isinstance(part, list) else part.get(step)
            if part is None:
                break
        else:
            part[last] = value
    return whole


def _without(value: Any, path: str, private: Private) -> Any:
    if isinstance(value, Mapping):
        kept = {}
        for key, item in value.items():
            if key in PRIVATE_KEYS:
                private[f"{path}/{key}"] = item
            else:
                kept[key] = _without(item, f"{path}/{key}", private)
        return kept
    if isinstance(value, list | tuple):
        return [_without(item, f"{path}/{i}", private) for i, item in enumerate(value)]
    return value


def _copied(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _copied(item) for key, item in value.items()}
    return [_copied(item) for item in value] if isinstance(value, list) else value


def texts(private: Mapping[str, Any]) -> Iterator[str]:
    """Every private text, such as to search for it."""
    return (value for value in private.values() if isinstance(value, str))
