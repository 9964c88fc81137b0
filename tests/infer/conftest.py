"""The shipped rulebook, read once, and an engine on it."""

import pytest

from recommend.infer.engine import Engine, engine_of
from recommend.rulebook.book import Rulebook
from tests import shipped


@pytest.fixture(scope="session")
def book() -> Rulebook:
    """The rulebook that ships."""
    return shipped.book()


@pytest.fixture(scope="session")
def engine(book: Rulebook) -> Engine:
    """Its engine; the sessions of one test leave nothing behind for the next."""
    return engine_of(book)
