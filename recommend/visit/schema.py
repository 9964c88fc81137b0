"""The JSON Schema of a visit file; ``python -m recommend.visit.schema`` prints it."""

from __future__ import annotations

import json

from recommend.visit import visit_schema


def schema_text() -> str:
    """The schema as it is published in ``catalogue_demo/visit.schema.json``."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **visit_schema()}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    print(schema_text(), end="")
