"""Canonical JSON against RFC 8785's own samples and ECMAScript."""

from __future__ import annotations

import json
import shutil
import struct
import subprocess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recommend.errors import RecommendError
from recommend.records.documents import canonical, digest

# RFC 8785, appendix B: bits of the double, and its text.
RFC_NUMBERS = [
    ("0000000000000000", "0"),
    ("8000000000000000", "0"),
    ("0000000000000001", "5e-324"),
    ("8000000000000001", "-5e-324"),
    ("7fefffffffffffff", "1.7976931348623157e+308"),
    ("ffefffffffffffff", "-1.7976931348623157e+308"),
    ("4340000000000000", "9007199254740992"),
    ("c340000000000000", "-9007199254740992"),
    ("4430000000000000", "295147905179352830000"),
    ("44b52d02c7e14af5", "9.999999999999997e+22"),
    ("44b52d02c7e14af6", "1e+23"),
    ("44b52d02c7e14af7", "1.0000000000000001e+23"),
    ("444b1ae4d6e2ef4e", "999999999999999700000"),
    ("444b1ae4d6e2ef4f", "999999999999999900000"),
    ("444b1ae4d6e2ef50", "1e+21"),
    ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
    ("3eb0c6f7a0b5ed8d", "0.000001"),
    ("41b3de4355555553", "333333333.3333332"),
    ("41b3de4355555554", "333333333.33333325"),
    ("41b3de4355555555", "333333333.3333333"),
    ("41b3de4355555556", "333333333.3333334"),
    ("41b3de4355555557", "333333333.33333343"),
    ("becbf647612f3696", "-0.0000033333333333333333"),
    ("43143ff3c1cb0959", "1424953923781206.2"),
]

# RFC 8785, 3.2.2 (the sample object) and 3.2.3 (the sample of key order).
RFC_SAMPLE = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
RFC_SAMPLE_BYTES = bytes.fromhex(
    "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e"
    "756d62657273223a5b3333333333333333332e333333333333332c31652b3330"
    "2c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac24"
    "5c75303030665c6e4127425c225c5c5c5c5c222f227d"
)
RFC_KEYS = r"""{
  "\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh",
  "1": "One", "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control",
  "\u00f6": "Latin Small Letter O With Diaeresis"
}"""
RFC_KEY_ORDER = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

DOUBLES = st.floats(allow_nan=False, allow_infinity=False)
TEXT = st.text(st.characters(exclude_categories=["Cs"]))
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | DOUBLES | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=20,
)


@pytest.mark.parametrize(("bits", "text"), RFC_NUMBERS)
def test_numbers_of_the_rfc(bits: str, text: str) -> None:
    """Every finite sample of RFC 8785, appendix B, is written as the RFC writes it."""
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical(value).decode() == text


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_numbers_the_rfc_refuses(bits: str) -> None:
    """NaN and infinity are refused, as RFC 8785, appendix B, demands."""
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(RecommendError, match="not representable"):
        canonical([value])


def test_sample_object_of_the_rfc() -> None:
    """The sample object of RFC 8785, 3.2.2, gives the bytes printed in 3.2.4."""
    assert canonical(json.loads(RFC_SAMPLE)) == RFC_SAMPLE_BYTES


def test_key_order_of_the_rfc() -> None:
    """Keys are sorted by UTF-16 code units, as in the sample of RFC 8785, 3.2.3."""
    ordered = json.loads(canonical(json.loads(RFC_KEYS)))
    assert list(ordered.values()) == RFC_KEY_ORDER


@given(JSON)
def test_what_is_written_is_json_that_says_the_same(value: object) -> None:
    """Python's own JSON reader gets back what was written, whatever JSON value it is."""
    assert json.loads(canonical(value), parse_int=float) == value


@given(DOUBLES)
def test_numbers_survive_the_way_back(value: float) -> None:
    """Reading a written number back gives the same double."""
    assert float(canonical(value)) == value
    assert canonical(json.loads(canonical([value]), parse_int=float)) == canonical([value])


@pytest.mark.skipif(shutil.which("node") is None, reason="no ECMAScript engine (node) is here")
def test_numbers_as_ecmascript_writes_them() -> None:
    """20,000 doubles of every size are written as a real ECMAScript engine writes them."""
    bits = [f"{(i * 0x9E3779B97F4A7C15) % 2**64:016x}" for i in range(1, 20_001)]
    program = (
        "const b=JSON.parse(require('fs').readFileSync(0));"
        "const v=new DataView(new ArrayBuffer(8));"
        "console.log(JSON.stringify(b.map(h=>{v.setBigUint64(0,BigInt('0x'+h));"
        "const d=v.getFloat64(0);return Number.isFinite(d)?String(d):null})))"
    )
    run = subprocess.run(
        ["node", "-e", program], input=json.dumps(bits), capture_output=True, text=True, check=True
    )
    for text, theirs in zip(bits, json.loads(run.stdout), strict=True):
        (value,) = struct.unpack(">d", bytes.fromhex(text))
        assert theirs is None or canonical(value).decode() == theirs


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (2**53 + 1, "exceeds safe integer"),
        (10**30, "exceeds safe integer"),
        ({1: "x"}, "keys must be strings"),
        ("\ud800", "UTF-8|utf-16"),
        ({"\ud800": 1}, "UTF-8|utf-16"),
        ([object()], "unsupported type"),
        (b"x", "unsupported type"),
    ],
)
def test_what_json_cannot_carry_is_refused(value: object, words: str) -> None:
    """What would not come back the same is refused with a sentence."""
    with pytest.raises(RecommendError, match=words):
        canonical(value)


def test_the_spelling_of_a_document_does_not_change_its_hash() -> None:
    """Key order and the spelling of a number do not change the hash; a value does."""
    assert digest({"a": 4, "b": [1.0]}) == digest({"b": [1], "a": 4.0})
    assert digest({"a": 4}) != digest({"a": 4.0000001})


def test_digest_is_sha_256() -> None:
    """The hash of the empty text equals the published SHA-256 of its two quotes (FIPS 180-4)."""
    # `printf '""' | sha256sum` of GNU coreutils
    assert digest("") == "12ae32cb1ec02d01eda3581b127c1fee3b0dc53572ed6baf239721a03d82e126"
