"""Time stamps of records (RFC 3161): asked for, kept and verified; needs the extra ``stamp``.

A time-stamping service signs a hash and the time at which it saw it. What is stamped is the text
of a record, so that the hash in the token is the hash of the record: a chain that was written anew
later than that does not hold it. Nothing is sent from here; the request is a file to hand over.
"""

from __future__ import annotations

import base64
import importlib.util
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from recommend.errors import InputError, Place
from recommend.extras import not_installed
from recommend.reading.document import read_bytes, refuse_no_file
from recommend.records.keeping import event
from recommend.records.store import EVENT, Record, Store, ToRecord

EXTRA = "stamp"
STAMPED = "time-stamp"  # the event that holds a token
_MOST_BYTES = 1_000_000  # of an answer, or of certificates
_LEEWAY = timedelta(minutes=1)  # between two clocks


@dataclass(frozen=True, slots=True)
class Stamp:
    """A time stamp of a record: when the service saw it, and what is wrong with it ('': nothing).

    `late` tells that the record says it was made after it was stamped: this computer's clock;
    `checked` is False when nobody could check the signature, which is then the fault.
    """

    seq: int
    stamps: int
    at: str
    fault: str
    late: bool = False
    checked: bool = True


def request_of(record: Record) -> bytes:
    """A request to stamp the record, to be sent to a service as it is.

    Raises
    ------
    RecommendError
        If the extra is not installed.
    """
    client = _client()
    builder = client.TimestampRequestBuilder().hash_algorithm(client.HashAlgorithm.SHA256)
    made: bytes = builder.data(record.text).build().as_bytes()
    return made


def stamped(store: Store, answer: Path, by: str = "") -> ToRecord:
    """A service's answer as a record that names the one it stamps.

    Raises
    ------
    InputError
        If the file is no answer, grants nothing, or stamps no record of this store.
    RecommendError
        If the extra is not installed.
    """
    refuse_no_file(answer, _MOST_BYTES, "the answer of a time-stamping service")
    raw = read_bytes(answer)
    try:
        content = _imprint(_client().decode_timestamp_response(raw))
    except (ValueError, RuntimeError) as error:
        raise InputError(
            Place(str(answer)),
            f"this is no granted answer of a time-stamping service ({str(error)[:120]})",
            "what it answers to the file that `recommend store stamp --request` writes",
        ) from error
    for record in store.records():
        if record.hash == content:
            told = {"token": base64.b64encode(raw).decode("ascii")}
            return event(record, "", STAMPED, told, by)
    raise InputError(
        Place(str(answer)), f"it stamps {content[:12]}, which is no record of {store.path}"
    )


def stamps_of(store: Store, roots: Sequence[Path]) -> Iterator[Stamp]:
    """Every time stamp of a store, verified up to the certificates in the files `roots` (PEM).

    Without roots, or without the extra, the signature is not checked, and the fault says so.

    Raises
    ------
    InputError
        If certificates cannot be read.
    """
    kept = [r for r in store.records() if r.kind == EVENT and r.head["event"] == STAMPED]
    if kept and _missing():
        fault = f"it was not checked: {not_installed('a time stamp', EXTRA)}"
        named = ((record.seq, int(record.head["of"]["seq"])) for record in kept)
        yield from (Stamp(seq, of, "", fault, checked=False) for seq, of in named)
        return
    certificates = _certificates(roots) if kept and roots else []
    for record in kept:
        yield _verified(store, record, certificates)


_UNCHECKED = "its signature was not checked: give the service's root certificate with --roots"


def _verified(store: Store, record: Record, roots: Sequence[Any]) -> Stamp:
    named, client = store.record(record.head["of"]["seq"]), _client()
    try:
        answer = client.decode_timestamp_response(
            base64.b64decode(store.body(record.bodies["event"])["token"], validate=True)
        )
        content, at = _imprint(answer), answer.tst_info.gen_time
        fault = "" if content == named.hash else f"it stamps {content[:12]}, another text"
        if roots and not fault:
            verifier = client.VerifierBuilder(roots=list(roots)).build()
            verifier.verify(answer, bytes.fromhex(named.hash))
    except (client.VerificationError, ValueError, RuntimeError, KeyError, TypeError) as error:
        return Stamp(record.seq, named.seq, "", " ".join(str(error).split())[:160])
    late = datetime.fromisoformat(named.made_at) > at + _LEEWAY
    checked = bool(roots or fault)
    when = f"{at:%Y-%m-%d %H:%M:%S} UTC"
    return Stamp(record.seq, named.seq, when, fault or ("" if roots else _UNCHECKED), late, checked)


def _imprint(answer: Any) -> str:
    """The hash that an answer stamps, in hexadecimal."""
    return bytes(answer.tst_info.message_imprint.message).hex()


def _certificates(files: Sequence[Path]) -> list[Any]:
    _client()
    from cryptography.x509 import load_pem_x509_certificates

    found: list[Any] = []
    for file in files:
        refuse_no_file(file, _MOST_BYTES, "a file of certificates (PEM)")
        try:
            found += load_pem_x509_certificates(read_bytes(file))
        except ValueError as error:
            raise InputError(Place(str(file)), "this holds no certificates", "PEM") from error
    return found


def _missing() -> bool:
    return importlib.util.find_spec("rfc3161_client") is None


def _client() -> Any:
    if _missing():
        raise not_installed("a time stamp", EXTRA)
    import rfc3161_client

    return rfc3161_client
