"""What ships, read once."""

from dataclasses import replace
from pathlib import Path

import pytest

from recommend.catalogue import Catalogue
from recommend.coverage.crowd import Crowd
from recommend.coverage.population import Population, load_population
from recommend.coverage.report import Assessor
from recommend.coverage.run import CoverageQuestion
from recommend.coverage.tally import Tally
from recommend.rulebook.book import Rulebook

TOP = Path(__file__).parents[2]


@pytest.fixture(scope="session")
def population() -> Population:
    """The population that ships."""
    return load_population(TOP / "rules" / "population.yaml")


@pytest.fixture(scope="session")
def few(catalogue: Catalogue) -> Catalogue:
    """Every third product of the demo, so that not everybody is served."""
    kept = (*catalogue.shoes[1::3], *catalogue.insoles[::3])
    return replace(catalogue, items=tuple(sorted(kept, key=lambda item: item.id)))


@pytest.fixture(scope="session")
def question(book: Rulebook, few: Catalogue, population: Population) -> CoverageQuestion:
    """Pairs in stock for 1,500 customers drawn."""
    return CoverageQuestion(book, few, Crowd("modelled", population, 1500, 3), sensitivity=False)


@pytest.fixture(scope="session")
def assessor(question: CoverageQuestion) -> Assessor:
    """What answers about it."""
    return question.assessor()


@pytest.fixture(scope="session")
def counted(question: CoverageQuestion, assessor: Assessor) -> Tally:
    """The customers, counted."""
    return question.crowd.tally(question.book, assessor.classes)
