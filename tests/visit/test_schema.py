"""The published JSON Schema of a visit file."""

from pathlib import Path

from recommend.visit.schema import schema_text

PUBLISHED = Path(__file__).parents[2] / "catalogue_demo" / "visit.schema.json"


def test_published_schema_is_current() -> None:
    """The schema in the repository is the one the models give.

    When this fails: python -m recommend.visit.schema > catalogue_demo/visit.schema.json
    """
    assert PUBLISHED.read_text(encoding="utf-8") == schema_text()
