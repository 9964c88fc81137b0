"""For who writes rules: one to start from, valid as it is, and JSON Schemas of every file."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from recommend.atomic import write_atomically
from recommend.catalogue.models import CatalogueFile
from recommend.check.changes import ChangesFile
from recommend.check.claims import ClaimsFile
from recommend.check.example_tables import HOLDS, LEFT_OUT
from recommend.check.examples import ExamplesFile
from recommend.check.mutants import SurvivorsFile
from recommend.check.promises import PromisesFile
from recommend.check.released import ReleasedFile
from recommend.check.wording import WordingFile
from recommend.coverage.population import Population
from recommend.errors import InputError, Place
from recommend.measure.definitions import MeasureDef
from recommend.output import SCHEMA, write_output
from recommend.parameters import ParametersFile
from recommend.reading import Id, read_document
from recommend.rulebook.book import Rulebook, Stage
from recommend.rulebook.compiling import leaves
from recommend.rulebook.conditions import OfMeasure
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

_BEYOND, _WITHIN = "beyond", "within"  # values of an axis that was just begun
_ANOTHER = "name another id"

# What a rule that was just begun says; `check` tells where it still does.
SAY, TITLE = "What the fitter should say here.", "What this rule is, in one line"
BECAUSE, NOTE = "a reason that the customer understands", "say what it stands on"
UNFINISHED = frozenset({SAY, TITLE, BECAUSE, NOTE})

_THEN = {
    "screen": '    then: {{note: caution, say: "' + SAY + '"}}\n',
    "need": "    then:\n      needs:\n"
    "        - {{attribute: {attribute}, is: at-least, level: {level}, strength: prefer, "
    "weight: slight}}\n",
}


@dataclass(frozen=True, slots=True)
class Scaffold:
    """Two new files and their texts; of `classify` also axes.yaml, with an axis more."""

    rule_file: Path
    rule_text: str
    example_file: Path
    example_text: str
    axes_file: Path | None = None
    axes_text: str = ""

    def write(self) -> None:
        """Write the files.

        Raises
        ------
        InputError
            If one of the new ones is there already.
        """
        new = {self.rule_file: self.rule_text, self.example_file: self.example_text}
        for file in new:
            if file.exists():
                raise InputError(Place(str(file)), "the file is there already", mend=_ANOTHER)
        for file, text in new.items():
            write_atomically(file, text)
        if self.axes_file is not None:
            write_atomically(self.axes_file, self.axes_text)


def scaffold(book: Rulebook, stage: Stage, rule_id: str) -> Scaffold:
    """A rule called `rule_id` that fires on the first limit that others use, and its example.

    Of `classify` it is an axis of that name with two rules, beyond the limit and within it.

    Raises
    ------
    InputError
        If a rule is called so already, or the id is not words joined by hyphens.
    """
    try:
        TypeAdapter(Id).validate_python(rule_id)
    except ValidationError:
        raise InputError(
            Place(book.folder),
            f"`{rule_id}` is no id",
            "small words joined by hyphens",
        ) from None
    if stage == "classify":
        return _axis(book, rule_id)
    if rule_id in book.by_id:
        raise InputError(
            book.by_id[rule_id].place,
            f"a rule is called `{rule_id}` already",
            mend=_ANOTHER,
        )
    leaf, readings = _start(book)
    holds = "caution" if stage == "screen" else HOLDS
    folder = Path(book.folder)
    return Scaffold(
        rule_file=folder / stage / f"{rule_id}.yaml",
        rule_text=_rule_text(book, stage, rule_id, leaf),
        example_file=folder / "examples" / f"{rule_id}.yaml",
        example_text=f"title: Examples of {rule_id}\ntables:\n"
        f"  - title: {rule_id}, just beyond its limit and at it\n"
        f"    given: [{leaf.measure}]\n"
        f"    expect: [{rule_id}]\n"
        "    rows:\n"
        f"      - [{readings[_BEYOND]}, {holds}]\n"
        f"      - [{readings[_WITHIN]}, {LEFT_OUT}]\n",
    )


def _axis(book: Rulebook, name: str) -> Scaffold:
    """A new axis, its two rules, and an example of each."""
    folder = Path(book.folder)
    axes = folder / "axes.yaml"
    if name in book.axes:
        place = read_document(axes).place(("axes", name), key=True)
        raise InputError(place, f"an axis is called `{name}` already", mend=_ANOTHER)
    leaf, readings = _start(book)
    ways = {_BEYOND: "above", _WITHIN: "at-most"}
    rules = "".join(
        f"  - id: {name}-{value}\n    title: {TITLE}\n"
        f"    when: {{measure: {leaf.measure}, is: {way}, limit: {leaf.limit}}}\n"
        f"    then: {{axis: {name}, value: {value}}}\n"
        f"    because: {BECAUSE}\n"
        f"    basis: {{kind: assumption, note: {NOTE}}}\n"
        for value, way in ways.items()
    )
    examples = "".join(
        f'  - name: "{name}, {value}"\n'
        f"    given: {{{leaf.measure}: {reading}}}\n"
        f"    expect: {{axes: {{{name}: {value}}}}}\n"
        for value, reading in readings.items()
    )
    added = f"  {name}:\n    title: {TITLE}\n    values:\n" + "".join(
        f"      {value}: {value}\n" for value in readings
    )
    return Scaffold(
        rule_file=folder / "classify" / f"{name}.yaml",
        rule_text=f"title: {name}\nrules:\n{rules}",
        example_file=folder / "examples" / f"{name}.yaml",
        example_text=f"title: Examples of {name}\nexamples:\n{examples}",
        axes_file=axes,
        axes_text=_with_axis(axes, added),
    )


def _with_axis(file: Path, added: str) -> str:
    """The text of axes.yaml with an axis more, all else as it stands."""
    text = file.read_text(encoding="utf-8").rstrip() + "\n"
    lines = text.splitlines(keepends=True)
    start = next(n for n, line in enumerate(lines) if line.startswith("axes:"))
    after = (n for n in range(start + 1, len(lines)) if lines[n][:1] not in (" ", "#", "\n"))
    end = next(after, len(lines))
    return "".join([*lines[:end], added, *lines[end:]])


def _start(book: Rulebook) -> tuple[OfMeasure, dict[str, str]]:
    """The first comparison of an `above`, and a reading beyond its limit and one within it."""
    found = (leaf for rule in book.rules for leaf, _ in leaves(rule.rule.when, ()))
    above = (one for one in found if isinstance(one, OfMeasure) and one.is_ == ["above"])
    leaf = next(above, None)
    if leaf is None:
        words = "no rule compares a measure with `above` to start from"
        raise InputError(Place(book.folder), words)
    limit = book.limits[str(leaf.limit)].values[0]
    step = 10.0 ** -book.measures[leaf.measure].decimals
    readings = {_BEYOND: round(limit.value + step, 4), _WITHIN: limit.value}
    where = ", ".join(f"{q}: {w}" for q, w in limit.where.items())
    text = f"{{value: %g, where: {{{where}}}}}" if where else "%g"
    return leaf, {name: text % value for name, value in readings.items()}


def _rule_text(book: Rulebook, stage: Stage, rule_id: str, leaf: OfMeasure) -> str:
    attribute, definition = next((n, a) for n, a in book.attributes.items() if a.scale)
    level = list(definition.scale)[-1]
    then = _THEN[stage].format(attribute=attribute, level=level)
    return (
        f"title: {rule_id}\nrules:\n"
        f"  - id: {rule_id}\n"
        f"    title: {TITLE}\n"
        "    # A comparison, or `all`, `any` or `none` of a list of comparisons.\n"
        f"    when: {{measure: {leaf.measure}, is: above, limit: {leaf.limit}}}\n"
        f"{then}"
        f"    because: {BECAUSE}\n"
        "    # published or derived (name `sources`), common-practice, from-memory or assumption\n"
        f"    basis: {{kind: assumption, note: {NOTE}}}\n"
    )


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
        body = _walked(body, _as_taken)
    if name == "visit" and questions is not None:
        answers = body["properties"]["answers"]
        one = answers.pop("additionalProperties")
        answers |= {"properties": dict.fromkeys(questions, one), "additionalProperties": False}
    if name == "visit" and measures is not None:
        typed = body["$defs"]["Foot"]["properties"]["measures"]
        _, of_any = typed.pop("patternProperties").popitem()  # by the form of an id
        numbers = {
            n: _walked(of_any, partial(_bounded, one)) for n, one in measures.items() if one.typed
        }
        typed |= {"properties": numbers, "additionalProperties": False}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **body}


def _walked(part: Any, changed: Callable[[dict[str, Any]], Any]) -> Any:
    """A schema with every mapping in it changed, the inner ones first."""
    if isinstance(part, list):
        return [_walked(each, changed) for each in part]
    if not isinstance(part, dict):
        return part
    return changed({key: _walked(each, changed) for key, each in part.items()})


def _bounded(one: MeasureDef, part: dict[str, Any]) -> dict[str, Any]:
    """The schema of any number, with the title, unit and bounds of a measure."""
    if part.get("type") != "number":
        return part
    title = f"{one.title} ({one.unit})"
    return {**part, "minimum": one.lowest, "maximum": one.highest, "description": title}


def _as_taken(part: dict[str, Any]) -> dict[str, Any]:
    """A schema of what is taken: true and false for yes and no, one number for a list of one."""
    words, items = part.get("enum"), part.get("items", {})
    if isinstance(words, list) and {"yes", "no"} <= set(words):
        rest = {key: one for key, one in part.items() if key not in ("enum", "type")}
        return {**rest, "enum": [*words, True, False]}
    if part.get("type") == "array" and items.get("type") in ("number", "integer"):
        return {"anyOf": [part, items]}
    return part


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
