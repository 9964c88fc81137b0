"""Canonical JSON (RFC 8785) and content hashes.

Two documents that mean the same have the same bytes, so a hash of the bytes is a hash of the
content: whitespace, the order of keys and the spelling of numbers (``4``, ``4.0``, ``4e0``)
make no difference.
"""

from __future__ import annotations

import hashlib
import zlib
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
