"""JSON Schemas of every file of a rulebook, for completion and checking in editors."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from recommend.catalogue.models import CatalogueFile
from recommend.check.changes import ChangesFile
from recommend.check.claims import ClaimsFile
from recommend.check.examples import ExamplesFile
from recommend.check.mutating import SurvivorsFile
from recommend.check.promises import PromisesFile
from recommend.check.wording import WordingFile
from recommend.coverage.population import Population
from recommend.output import SCHEMA, write_output
from recommend.rulebook.models import (
    AttributesFile,
    AxesFile,
    Heading,
    LimitsFile,
    MeasuresFile,
    QuestionsFile,
    RuleFile,
    SourcesFile,
    TypesFile,
)
from recommend.rulebook.parameters import ParametersFile
from recommend.rulebook.translations import TranslationsFile

# name of the schema: (model, the files it is meant for)
SCHEMAS: dict[str, tuple[type[BaseModel], tuple[str, ...]]] = {
    "rulebook": (Heading, ("rulebook.yaml",)),
    "rules": (RuleFile, ("screen/*.yaml", "classify/*.yaml", "need/*.yaml")),
    "types": (TypesFile, ("types.yaml",)),
    "limits": (LimitsFile, ("limits.yaml",)),
    "axes": (AxesFile, ("axes.yaml",)),
    "measures": (MeasuresFile, ("measures.yaml",)),
    "questions": (QuestionsFile, ("questions.yaml",)),
    "attributes": (AttributesFile, ("attributes.yaml",)),
    "sources": (SourcesFile, ("sources.yaml",)),
    "translations": (TranslationsFile, ("translations/*.yaml",)),
    "examples": (ExamplesFile, ("examples/*.yaml",)),
    "promises": (PromisesFile, ("promises/*.yaml",)),
    "claims": (ClaimsFile, ("claims.yaml",)),
    "changes": (ChangesFile, ("changes.yaml",)),
    "survivors": (SurvivorsFile, ("survivors.yaml",)),
    "wording": (WordingFile, ("wording.yaml",)),
    "parameters": (ParametersFile, ("parameters/*.yaml",)),
    "population": (Population, ("population.yaml",)),
    "products": (CatalogueFile, ("products/*.yaml",)),
}


def schema_of(name: str) -> dict[str, Any]:
    """The schema called `name`, by JSON Schema 2020-12, made from the model that reads the file."""
    model, _ = SCHEMAS[name]
    body = model.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **body}


def write_schemas(folder: Path) -> list[Path]:
    """Write every schema to `folder`; the paths written."""
    written = []
    folder.mkdir(parents=True, exist_ok=True)
    for name in SCHEMAS:
        path = folder / f"{name}.schema.json"
        text = json.dumps(schema_of(name), indent=2, ensure_ascii=False)
        write_output(path, text + "\n", SCHEMA)
        written.append(path)
    return written
