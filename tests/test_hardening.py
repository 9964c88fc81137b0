"""The short form of `tests.bench.hardening`: damaged inputs of each kind, kills, edits at once."""

from __future__ import annotations

import os

import pytest

from recommend.catalogue import shop
from tests.bench.damage import KINDS
from tests.bench.hardening import READERS, Tally, edits, fault_of, kills, read_once

DEAR = {
    "rules",
    "population",
    "c3d",
    "command-line",
    "catalogue",
}  # once each; the others four times
KILLS, EDITS = 6, 4


@pytest.fixture(autouse=True)
def _shipped_once(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in READERS:  # put back when the test is over
        monkeypatch.setattr(shop, name, getattr(shop, name))
    read_once()


def test_damaged_inputs_of_each_kind_end_in_a_sentence() -> None:
    """No traceback, no exit code of another meaning, nothing left behind or let out."""
    for kind in KINDS:
        for seed in range(1 if kind in DEAR else 4):
            fault, _, _ = fault_of(kind, seed)
            assert not fault


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this platform cannot fork a writer")
def test_kills_and_edits_at_once_lose_nothing() -> None:
    """After kills every file is whole, and of edits at once all that were confirmed are there."""
    tally = Tally()
    kills(KILLS, 3, tally)
    edits(EDITS, 3, tally)
    assert not tally.failed
