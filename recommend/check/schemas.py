"""JSON Schemas of every file of a rulebook, for completion and checking in editors."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from recommend.catalogue.models import CatalogueFile
from recommend.check.changes import ChangesFile
from recommend.check.claims import ClaimsFile
from recommend.check.examples import ExamplesFile
from recommend.check.mutating import SurvivorsFile
from recommend.check.promises import PromisesFile
from recommend.check.released import ReleasedFile
from recommend.check.wording import WordingFile
from recommend.coverage.population import Population
from recommend.errors import InputError, Place
from recommend.measure.definitions import MeasureDef
from recommend.output import SCHEMA, write_output
from recommend.parameters import ParametersFile
from recommend.rulebook.files import (
    AttributesFile,
    AxesFile,
    LimitsFile,
    MeasuresFile,
    PurposesFile,
    QuestionsFile,
    RuleFile,
    SourcesFile,
    TypesFile,
)
from recommend.rulebook.models import Heading
from recommend.rulebook.translations import TranslationsFile
from recommend.visit.models import Visit

# name of the schema: (model, the files it is meant for)
SCHEMAS: dict[str, tuple[type[BaseModel], tuple[str, ...]]] = {
    "rulebook": (Heading, ("rulebook.yaml",)),
    "rules": (RuleFile, ("screen/*.yaml", "classify/*.yaml", "need/*.yaml")),
    "types": (TypesFile, ("types.yaml",)),
    "limits": (LimitsFile, ("limits.yaml",)),
    "axes": (AxesFile, ("axes.yaml",)),
    "measures": (MeasuresFile, ("measures.yaml",)),
    "questions": (QuestionsFile, ("questions.yaml",)),
    "purposes": (PurposesFile, ("purposes.yaml",)),
    "attributes": (AttributesFile, ("attributes.yaml",)),
    "sources": (SourcesFile, ("sources.yaml",)),
    "translations": (TranslationsFile, ("translations/*.yaml",)),
    "examples": (ExamplesFile, ("examples/*.yaml",)),
    "promises": (PromisesFile, ("promises/*.yaml",)),
    "claims": (ClaimsFile, ("claims.yaml",)),
    "changes": (ChangesFile, ("changes.yaml",)),
    "released": (ReleasedFile, ("released/*.yaml",)),
    "survivors": (SurvivorsFile, ("survivors.yaml",)),
    "wording": (WordingFile, ("wording.yaml",)),
    "parameters": (ParametersFile, ("parameters/*.yaml",)),
    "population": (Population, ("population.yaml",)),
    "visit": (Visit, ("visits/*.yaml",)),
    "products": (CatalogueFile, ("products/*.yaml",)),
}


def schema_of(
    name: str,
    questions: Collection[str] | None = None,
    measures: Mapping[str, MeasureDef] | None = None,
) -> dict[str, Any]:
    """The schema called `name`, by JSON Schema 2020-12, made from the model that reads the file.

    A visit's answers are to these `questions` alone, when they are given, and its further numbers
    of a foot are of the typed ones of these `measures`; true and false stand for yes and no there,
    as where a visit is read.
    """
    model, _ = SCHEMAS[name]
    body = model.model_json_schema(by_alias=True)
    if name == "visit":
        body = _as_taken(body)
    if name == "visit" and questions is not None:
        answers = body["properties"]["answers"]
        one = answers.pop("additionalProperties")
        answers |= {"properties": dict.fromkeys(questions, one), "additionalProperties": False}
    if name == "visit" and measures is not None:
        typed = body["$defs"]["Foot"]["properties"]["measures"]
        _, of_any = typed.pop("patternProperties").popitem()  # by the form of an id
        numbers = {n: _bounded(of_any, one) for n, one in measures.items() if one.typed}
        typed |= {"properties": numbers, "additionalProperties": False}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **body}


def _bounded(part: Any, one: MeasureDef) -> Any:
    """The schema of any number, with the title, unit and bounds of a measure."""
    if isinstance(part, list):
        return [_bounded(each, one) for each in part]
    if not isinstance(part, dict):
        return part
    made = {key: _bounded(each, one) for key, each in part.items()}
    if part.get("type") == "number":
        title = f"{one.title} ({one.unit})"
        made |= {"minimum": one.lowest, "maximum": one.highest, "description": title}
    return made


def _as_taken(part: Any) -> Any:
    """A schema of what is taken: true and false for yes and no, one number for a list of one."""
    if isinstance(part, list):
        return [_as_taken(one) for one in part]
    if not isinstance(part, dict):
        return part
    words = part.get("enum")
    if isinstance(words, list) and {"yes", "no"} <= set(words):
        rest = {key: one for key, one in part.items() if key not in ("enum", "type")}
        return {**rest, "enum": [*words, True, False]}
    taken = {key: _as_taken(one) for key, one in part.items()}
    items = part.get("items", {})
    if part.get("type") == "array" and items.get("type") in ("number", "integer"):
        return {"anyOf": [taken, items]}
    return taken


def write_schemas(
    folder: Path,
    questions: Collection[str] | None = None,
    measures: Mapping[str, MeasureDef] | None = None,
    *,
    force: bool = False,
) -> list[Path]:
    """Write every schema to `folder`; the paths written. See `schema_of` for the others."""
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(Place(str(folder)), f"cannot be made ({error.strerror})") from error
    for name in SCHEMAS:
        path = folder / f"{name}.schema.json"
        text = json.dumps(schema_of(name, questions, measures), indent=2, ensure_ascii=False)
        write_output(path, text + "\n", SCHEMA, force=force)
        written.append(path)
    return written
