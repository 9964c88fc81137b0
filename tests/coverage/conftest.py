"""What ships, read once."""

from pathlib import Path

import pytest

from recommend.catalogue import Catalogue, load_catalogue
from recommend.coverage.population import Population, load_population
from recommend.rulebook import load_rulebook
from recommend.rulebook.book import Rulebook

TOP = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def population() -> Population:
    """The population that ships."""
    return load_population(TOP / "rules" / "population.yaml")


@pytest.fixture(scope="session")
def book() -> Rulebook:
    """The rulebook that ships."""
    return load_rulebook(TOP / "rules")


@pytest.fixture(scope="session")
def catalogue(book: Rulebook) -> Catalogue:
    """The demo catalogue."""
    return load_catalogue(TOP / "catalogue_demo", book.attributes)
