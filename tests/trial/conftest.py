from __future__ import annotations

from pathlib import Path

import pytest

from recommend.parameters import Parameters

RULES = Path(__file__).parents[2] / "rules"


@pytest.fixture(scope="session")
def parameters() -> Parameters:
    """The numbers that ship."""
    return Parameters.load(RULES / "parameters")
