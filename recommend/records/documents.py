"""Documents as they are kept: canonical JSON (RFC 8785), content hashes, what may be forgotten.

Two documents that mean the same have the same bytes, so a hash of the bytes is a hash of the
content: whitespace, the order of keys and the spelling of numbers (``4``, ``4.0``, ``4e0``)
make no difference.

A visit names no one, but its reference code leads to a person in the shop's own books, and free
text can hold anything. These parts are kept apart from the record, which holds only their hash
under a random salt: without the salt the hash tells nothing, not even by guessing.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Mapping
from typing import Any

import rfc8785

from recommend.errors import RecommendError

MAX_BODY = 64_000_000  # bytes of one document; a guard of memory


def canonical(value: Any) -> bytes:
    """`value` as canonical JSON in UTF-8.

    Parameters
    ----------
    value : None, bool, int, float, str, or lists, tuples and dictionaries of these.

    Raises
    ------
    RecommendError
        If `value` holds what JSON cannot carry: a number that is not finite, a whole number
        that no double tells from its neighbours, a key that is not text, a lone surrogate,
        another kind of object.
    """
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise RecommendError(f"this cannot be recorded as JSON: {error}") from None


def digest(value: Any) -> str:
    """SHA-256 of the canonical JSON of `value`, in hexadecimal."""
    return sha256(canonical(value))


def pack(body: bytes) -> bytes:
    """`body` compressed."""
    return zlib.compress(body, 6)


def unpack(packed: object) -> bytes:
    """What `pack` was given; b'' for anything that it cannot have made."""
    if not isinstance(packed, bytes):
        return b""
    machine = zlib.decompressobj()
    try:
        body = machine.decompress(packed, MAX_BODY)
    except zlib.error:
        return b""
    return body if machine.eof and not machine.unused_data else b""


def sha256(body: bytes) -> str:
    """SHA-256 of `body`, in hexadecimal."""
    return hashlib.sha256(body).hexdigest()


# Where they stand; * is any place in a list. Everything else of a visit is a number, a date or a
# word of a closed vocabulary (a test walks the schema of a visit and keeps this list complete).
PRIVATE_PATHS = (
    ("visit", "reference"),
    ("visit", "remarks"),
    ("visit", "out", "*", "because"),
    ("visit", "out", "*", "lifted"),
    ("visit", "trials", "*", "remarks"),
    ("visit", "follow-up", "of"),
    ("visit", "follow-up", "changed"),
    ("visit", "decision", "remark"),
    ("visit", "own-shoes", "title"),
    ("visit", "keeps", "insole", "title"),
    ("visit", "captures", "*", "file"),
    ("visit", "captures", "*", "still"),
    ("visit", "captures", "*", "doubts", "*", "says"),
    ("visit", "feet", "left", "from-captures", "*", "file"),
    ("visit", "feet", "right", "from-captures", "*", "file"),
    ("visit", "feet", "left", "from-captures", "*", "method"),
    ("visit", "feet", "right", "from-captures", "*", "method"),
    ("outcome", "visit", "reference"),
    ("trial", "visit", "reference"),
    ("event", "reference"),
    ("event", "remark"),
    ("event", "text"),
    ("event", "file"),
)

FORGOTTEN_WORD = "forgotten"

Private = dict[str, Any]  # "visit/remarks" -> the text that stood there


def separate(documents: Mapping[str, Any]) -> tuple[dict[str, Any], Private]:
    """Split `documents` into what is recorded for good and what may be forgotten."""
    private: Private = {}
    public = {name: _without(value, (name,), private) for name, value in documents.items()}
    return public, private


def forgotten_parts(public: Mapping[str, Any]) -> Private:
    """What stands in for private parts that are gone, so that a visit stays a whole visit."""
    visit = public.get("visit", {})
    paths = [
        f"{above}/reference"
        for above in ("visit", "outcome/visit", "trial/visit")
        if above.partition("/")[0] in public
    ]
    paths += [f"visit/captures/{number}/file" for number in range(len(visit.get("captures", [])))]
    paths += [f"visit/out/{number}/because" for number in range(len(visit.get("out", [])))]
    paths += ["visit/follow-up/of"] if "follow-up" in visit else []
    return dict.fromkeys(paths, FORGOTTEN_WORD)


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


def _without(value: Any, at: tuple[str, ...], private: Private) -> Any:
    deeper = [path for path in PRIVATE_PATHS if len(path) > len(at) and _fits(at, path)]
    if not deeper:
        return value
    if isinstance(value, Mapping):
        kept = {}
        for key, item in value.items():
            if any(_fits((*at, key), path) for path in deeper if len(path) == len(at) + 1):
                private["/".join((*at, key))] = item
            else:
                kept[key] = _without(item, (*at, key), private)
        return kept
    if isinstance(value, list | tuple):
        return [_without(item, (*at, str(i)), private) for i, item in enumerate(value)]
    return value


def _fits(at: tuple[str, ...], path: tuple[str, ...]) -> bool:
    return all(step in ("*", here) for here, step in zip(at, path, strict=False))


def _copied(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _copied(item) for key, item in value.items()}
    return [_copied(item) for item in value] if isinstance(value, list) else value
