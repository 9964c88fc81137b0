"""The shipped population, read once."""

from pathlib import Path

import pytest

from recommend.coverage.population import Population, load_population

RULES = Path(__file__).parents[2] / "rules"


@pytest.fixture(scope="session")
def population() -> Population:
    """The population that ships."""
    return load_population(RULES / "population.yaml")
