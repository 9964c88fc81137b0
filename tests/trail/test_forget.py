"""A forgotten customer is gone from the files; the chain stays whole and says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from recommend.errors import InputError
from recommend.records.documents import join
from recommend.records.store import FORGOTTEN, Store, forget
from recommend.records.verify import verify
from tests.trail.entries import entry

REFERENCE, REMARK = "ZQ-7741-unmistakable", "a remark about a very particular customer"


def bytes_of(path: Path) -> bytes:
    """Everything on the disk that belongs to the store."""
    return b"".join(file.read_bytes() for file in sorted(path.parent.glob(path.name + "*")))


@pytest.fixture
def two_customers(path: Path) -> Path:
    """Six records, three of them of one customer."""
    with Store(path, write=True) as store:
        for i in range(3):
            store.append(entry(REFERENCE, i + 0.5, remarks=REMARK))
            store.append(entry("other", i + 0.5))
    return path


def test_nothing_of_a_forgotten_customer_is_left_in_the_files(two_customers: Path) -> None:
    """After forgetting, neither reference nor remark is anywhere in the file or its log."""
    assert REFERENCE.encode() in bytes_of(two_customers)
    with Store(two_customers, write=True) as store:
        done = forget(store, REFERENCE)
        assert done.log_emptied
        assert REFERENCE.encode() not in bytes_of(two_customers)
        assert REMARK.encode() not in bytes_of(two_customers)
    assert REMARK.encode() not in bytes_of(two_customers)


def test_the_chain_still_verifies_and_declares_the_gap(two_customers: Path) -> None:
    """The gap is a record of the chain that names the records, not the person."""
    with Store(two_customers, write=True) as store:
        done = forget(store, REFERENCE)
        verdict = verify(store)
        assert verdict.sound, verdict.differs
        assert verdict.forgotten == done.records == (1, 3, 5)
        assert store.record(len(store)).kind == FORGOTTEN
        assert REFERENCE not in store.find("last").text.decode()


def test_measures_and_the_other_customer_stay(two_customers: Path) -> None:
    """What was measured stays readable without the reference; others are untouched."""
    with Store(two_customers, write=True) as store:
        forget(store, REFERENCE)
        record = store.record(1)
        visit = store.body(record.bodies["visit"])
        assert join({"visit": visit}, store.private(record))["visit"] == {
            "feet": {"left": {"angle": 0.5}}
        }
        assert len(store.of_reference("other")) == 3


def test_a_salt_hides_what_was_forgotten(two_customers: Path) -> None:
    """Two records of one customer and remark name different hashes: guessing finds nothing."""
    with Store(two_customers) as store:
        assert store.record(1).head["private"] != store.record(3).head["private"]


def test_forgetting_someone_unknown_is_a_sentence(two_customers: Path) -> None:
    """A reference that no record has, or that is already forgotten, is bad input."""
    with Store(two_customers, write=True) as store:
        forget(store, REFERENCE)
        for reference in ("nobody", REFERENCE):
            with pytest.raises(InputError, match="no record has the reference"):
                forget(store, reference)
