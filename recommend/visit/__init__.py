"""What was observed at one visit: the models and the reading of a visit file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from recommend.reading import read_document, validate
from recommend.visit.models import Feet, Foot, Visit

__all__ = ["Feet", "Foot", "Visit", "read_visit", "visit_schema"]


def read_visit(path: Path | str) -> Visit:
    """Read and check a visit file (YAML or JSON).

    Raises
    ------
    InputError
        With file, line and column of the first thing that does not fit.
    """
    return validate(Visit, read_document(path))


def visit_schema() -> dict[str, Any]:
    """JSON Schema of a visit file, generated from the models."""
    return Visit.model_json_schema(by_alias=True)
