"""Reading a folder of rules: every name checked, every error with file, line and column."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from recommend.errors import InputError, Place
from recommend.reading import Document, Strict, read_document, validate
from recommend.reading.document import Loc
from recommend.rulebook.book import Draft, Rulebook, Stage, compile_rules, type_as_rule
from recommend.rulebook.compiling import Compiler, leaves
from recommend.rulebook.models import (
    AttributesFile,
    AxesFile,
    AxisDef,
    Heading,
    LimitsFile,
    MeasuresFile,
    QuestionsFile,
    RuleFile,
    SourcesFile,
    TypesFile,
)
from recommend.rulebook.naming import Names, check_leaf, check_then
from recommend.rulebook.parameters import Parameters
from recommend.rulebook.vocabulary import FOOT_TYPE, vocabulary_of

STAGES: tuple[Stage, ...] = ("screen", "classify", "need")
File = TypeVar("File", bound=Strict)


def load_rulebook(folder: Path | str) -> Rulebook:
    """Read, check and compile the rulebook in `folder`.

    Raises
    ------
    InputError
        For the first thing that does not fit: a missing file, a schema error, an unknown
        name (with the nearest spelling), a duplicate id, rules in a circle.
    """
    folder = Path(folder)
    if not (folder / "rulebook.yaml").is_file():
        raise InputError(Place(str(folder)), "no rulebook is here", "a folder with a rulebook.yaml")
    return _Loader(folder).load()


def digest_of(folder: Path) -> str:
    """SHA-256 over the names and contents of all YAML files in `folder`, in order of name."""
    running = hashlib.sha256()
    for file in sorted(folder.rglob("*.yaml")):
        body = file.read_bytes()
        running.update(f"{file.relative_to(folder).as_posix()}\n{len(body)}\n".encode())
        running.update(body)
    return running.hexdigest()


@dataclass
class _Loader:
    folder: Path
    drafts: list[Draft] = field(default_factory=list)
    seen: dict[str, Place] = field(default_factory=dict)

    def load(self) -> Rulebook:
        heading, _ = self._one("rulebook.yaml", Heading)
        sources, _ = self._one("sources.yaml", SourcesFile)
        measures, _ = self._one("measures.yaml", MeasuresFile)
        limits, limits_at = self._one("limits.yaml", LimitsFile)
        system = heading.fpi_system
        in_system = {name: one.of_system(system) for name, one in limits.limits.items()}
        axes_file, _ = self._one("axes.yaml", AxesFile)
        questions, _ = self._one("questions.yaml", QuestionsFile)
        attributes, _ = self._one("attributes.yaml", AttributesFile)
        types, types_at = self._one("types.yaml", TypesFile)
        axes = self._axes(axes_file, types)
        names = Names(
            measures=measures.measures,
            axes=axes,
            questions=questions.questions,
            limits=in_system,
            attributes=attributes.by_name(),
            sources=sources.sources,
            vocabulary=vocabulary_of(measures.measures, axes, questions.questions),
        )
        names.check_limits(limits_at, limits.limits, system)
        self._types(types, types_at, names)
        for stage in STAGES:
            self._stage(stage, names)
        return Rulebook(
            folder=str(self.folder),
            digest=digest_of(self.folder),
            heading=heading,
            sources=sources.sources,
            measures=measures.measures,
            limits=in_system,
            axes=axes,
            questions=questions.questions,
            attributes=names.attributes,
            types={one.id: one for one in types.types},
            parameters=Parameters.load(self.folder / "parameters"),
            vocabulary=names.vocabulary,
            rules=compile_rules(self.drafts, Compiler(in_system, names.vocabulary)),
        )

    def _one(self, name: str, model: type[File]) -> tuple[File, Document]:
        document = read_document(self.folder / name)
        return validate(model, document), document

    def _axes(self, file: AxesFile, types: TypesFile) -> dict[str, AxisDef]:
        values = {one.id: one.title for one in types.types}
        return {**file.axes, FOOT_TYPE: AxisDef(title="foot type", values=values)}

    def _types(self, types: TypesFile, at: Document, names: Names) -> None:
        for index, one in enumerate(types.types):
            rule = type_as_rule(one)
            loc: Loc = ("types", index)
            self._claim(rule.id, at.place((*loc, "id")))
            for leaf, where in leaves(one.when, (*loc, "when")):
                check_leaf(leaf, where, at, names)
            names.check_sources(one.basis.sources, (*loc, "basis", "sources"), at)
            self.drafts.append(Draft(rule, "classify", at.place(loc)))

    def _stage(self, stage: Stage, names: Names) -> None:
        files = sorted((self.folder / stage).glob("*.yaml"))
        if not files:
            raise InputError(
                Place(str(self.folder / stage)), "no rule files are here", "at least one *.yaml"
            )
        for file in files:
            document = read_document(file)
            self._rules(validate(RuleFile, document), document, stage, names)

    def _rules(self, file: RuleFile, at: Document, stage: Stage, names: Names) -> None:
        for index, rule in enumerate(file.rules):
            loc: Loc = ("rules", index)
            self._claim(rule.id, at.place((*loc, "id")))
            for leaf, where in leaves(rule.when, (*loc, "when")):
                check_leaf(leaf, where, at, names)
            check_then(rule.then, stage, (*loc, "then"), at, names)
            names.check_sources(rule.basis.sources, (*loc, "basis", "sources"), at)
            self.drafts.append(Draft(rule, stage, at.place(loc)))

    def _claim(self, rule_id: str, place: Place) -> None:
        if rule_id in self.seen:
            raise InputError(
                place,
                f"the id `{rule_id}` stands twice (first at {self.seen[rule_id]})",
                "each id once",
                "rename one of the two",
            )
        self.seen[rule_id] = place
