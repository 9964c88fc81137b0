"""Canonical JSON (RFC 8785) and content hashes.

Two documents that mean the same have the same bytes, so a hash of the bytes is a hash of the
content: whitespace, the order of keys and the spelling of numbers (``4``, ``4.0``, ``4e0``)
make no difference.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import zlib
from collections.abc import Callable, Mapping
from typing import Any

from recommend.errors import RecommendError

MAX_INTEGER = 2**53 - 1  # beyond it a double no longer tells neighbours apart (RFC 8785, 3.2.2.3)

MAX_BODY = 64_000_000  # bytes of one document; a guard of memory

_quoted: Callable[[str], str] = json.encoder.encode_basestring
_REPR = re.compile(r"(-?)(\d+)(?:\.(\d+))?(?:e([-+]\d+))?")


def canonical(value: Any) -> bytes:
    """`value` as canonical JSON in UTF-8.

    Parameters
    ----------
    value : None, bool, int, float, str, or lists, tuples and mappings of these.

    Raises
    ------
    RecommendError
        If `value` holds what JSON cannot carry: a number that is not finite, a whole number
        that no double tells from its neighbours, a key that is not text, a lone surrogate,
        another kind of object.
    """
    out: list[str] = []
    _write(value, out.append)
    try:
        return "".join(out).encode("utf-8")
    except UnicodeEncodeError as error:
        raise RecommendError(f"text that is not Unicode cannot be recorded ({error.reason})") from (
            None
        )


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


def _write(value: Any, put: Callable[[str], None]) -> None:
    if isinstance(value, str):
        put(_quoted(value))
    elif value is None or isinstance(value, bool):
        put({None: "null", True: "true", False: "false"}[value])
    elif isinstance(value, int):
        put(_integer(value))
    elif isinstance(value, float):
        put(number(value))
    elif isinstance(value, Mapping):
        _write_mapping(value, put)
    elif isinstance(value, list | tuple):
        _write_list(value, put)
    else:
        raise RecommendError(f"a {type(value).__name__} cannot be recorded as JSON")


def _write_list(value: list[Any] | tuple[Any, ...], put: Callable[[str], None]) -> None:
    before = "["
    for item in value:
        put(before)
        _write(item, put)
        before = ","
    put("]" if value else "[]")


def _write_mapping(value: Mapping[Any, Any], put: Callable[[str], None]) -> None:
    before = "{"
    for key in _in_order(value):
        put(before)
        put(_quoted(key))
        put(":")
        _write(value[key], put)
        before = ","
    put("}" if value else "{}")


def _in_order(value: Mapping[Any, Any]) -> list[str]:
    for key in value:
        if not isinstance(key, str):
            raise RecommendError(f"the key {key!r} is not text and cannot be recorded as JSON")
    if all(map(str.isascii, value)):
        return sorted(value)
    # RFC 8785, 3.2.3: keys are compared as UTF-16 code units, not as code points.
    return sorted(value, key=lambda key: key.encode("utf-16-be", "surrogatepass"))


def _integer(value: int) -> str:
    text = str(int(value))
    # JSON numbers are doubles: a larger one is sound only if it is how its double is written.
    if abs(value) > MAX_INTEGER and (abs(value) >= 10**21 or number(float(value)) != text):
        raise RecommendError(f"the whole number {text} is too large to be recorded exactly")
    return text


def number(value: float) -> str:
    """A double as ECMAScript writes it, which is what RFC 8785 (3.2.2.3) asks for.

    Python and ECMAScript choose the same shortest digits; they differ in where the exponent
    form begins and in how it looks.
    """
    if not math.isfinite(value):
        raise RecommendError("a number that is not finite cannot be recorded")
    if value == 0:
        return "0"  # also for minus zero
    match = _REPR.fullmatch(float.__repr__(value))
    assert match is not None  # repr of a finite float has this one form
    sign, whole, fraction, exponent = match.groups()
    fraction = "" if fraction in (None, "0") else fraction
    digits = (whole + fraction).lstrip("0")
    point = len(whole) + int(exponent or 0)  # the value is 0.DIGITS x 10^point
    if whole == "0":
        point -= len(fraction) - len(digits) + 1
    return sign + _placed(digits.rstrip("0"), point)


def _placed(digits: str, point: int) -> str:
    """`digits` with the decimal point after `point` of them, as Number::toString of ECMA-262."""
    if len(digits) <= point <= 21:
        return digits + "0" * (point - len(digits))
    if 0 < point <= 21:
        return f"{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return "0." + "0" * -point + digits
    mantissa = digits if len(digits) == 1 else f"{digits[0]}.{digits[1:]}"
    return f"{mantissa}e{point - 1:+d}"
