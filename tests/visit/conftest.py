"""A guided entry without a terminal, judged by the rulebook that ships."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from recommend.extras import shipped_folder
from recommend.infer.adviser import Adviser
from recommend.measure.into import absorber
from recommend.rulebook import load_rulebook
from recommend.visit.entry import Entry
from recommend.visit.intake import intake
from recommend.visit.shelf import Draft


@pytest.fixture(scope="session")
def counter() -> Adviser:
    """The shipped rulebook, compiled once."""
    return Adviser(load_rulebook(shipped_folder("rules")))


@pytest.fixture
def begin(counter: Adviser, tmp_path: Path) -> Callable[..., Entry]:
    """Begin an entry that passes over nothing, at a step when one is named."""

    def make(at: str = "", **tree: object) -> Entry:
        draft = Draft({"reference": "T-1", "date": "2026-03-05", **tree}, at=at, opened=True)
        book = counter.book
        absorb = absorber(tmp_path, book.parameters, book.measures)
        return Entry(
            intake(book.questions, book.purposes, "eu", "vertical", absorb), draft, counter
        )

    return make
