"""For every test: a folder in place of the user's data and settings, and time without an end."""

import os
import tempfile

import pytest
from hypothesis import settings

from recommend.catalogue import Catalogue
from recommend.infer.engine import Engine, engine_of
from recommend.rulebook import Rulebook
from tests import shipped

settings.register_profile("unhurried", deadline=None)  # a slow or busy machine is no failure
settings.load_profile("unhurried")

# A shop that runs the tests has customers of its own: they are neither read nor written here.
_ELSEWHERE = tempfile.TemporaryDirectory(prefix="recommend-tests-")
for _name in [_name for _name in os.environ if _name.startswith("RECOMMEND_")]:
    if _name != "RECOMMEND_ENGINE":  # which engine concludes is the platform's
        del os.environ[_name]
os.environ["XDG_DATA_HOME"] = os.environ["XDG_CONFIG_HOME"] = _ELSEWHERE.name


@pytest.fixture(scope="session")
def book() -> Rulebook:
    """The rulebook that ships."""
    return shipped.book()


@pytest.fixture(scope="session")
def catalogue() -> Catalogue:
    """The demo catalogue."""
    return shipped.shop()


@pytest.fixture(scope="session")
def engine(book: Rulebook) -> Engine:
    """The engine of the rulebook; the sessions of one test leave nothing behind for the next."""
    return engine_of(book)
