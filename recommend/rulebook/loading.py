"""Reading a folder of rules: every name checked, every error with file, line and column."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import field, replace
from pathlib import Path
from typing import Any, TypeAlias, TypeVar, get_args

from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, nearest
from recommend.measure.definitions import (
    COMPUTED,
    OPTIONAL,
    MeasureDef,
    MeasureDefs,
    known_as,
)
from recommend.parameters import Parameters
from recommend.reading import Document, Strict, problems_in
from recommend.reading.document import Loc
from recommend.reading.texts import Texts, digest_of
from recommend.rulebook.book import (
    CompiledRule,
    Rulebook,
    Stage,
    compile_rules,
    type_as_rule,
)
from recommend.rulebook.compiling import Compiler, leaves, with_notes
from recommend.rulebook.conditions import Condition, OfNote
from recommend.rulebook.files import (
    FIRST_PURPOSES,
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
from recommend.rulebook.models import AxisDef, Heading, NoteThen, Purpose, Rule
from recommend.rulebook.naming import (
    all_known,
    check_leaf,
    check_sums,
    known,
    limit_problems,
    then_checks,
)
from recommend.rulebook.translations import TranslationsFile
from recommend.rulebook.vocabulary import FOOT_TYPE, vocabulary_of
from recommend.visit.models import CopPattern, Gait, Reference

STAGES: tuple[Stage, ...] = ("screen", "classify", "need")
File = TypeVar("File", bound=Strict)
Numbered: TypeAlias = dict[int, Rule]
# What every other file refers to, by name of the file.
_FILES: dict[str, type[Strict]] = {
    "rulebook": Heading,
    "sources": SourcesFile,
    "measures": MeasuresFile,
    "limits": LimitsFile,
    "axes": AxesFile,
    "questions": QuestionsFile,
    "attributes": AttributesFile,
    "types": TypesFile,
}


# Words that a visit can bring; standing readings carry no gait.
_WORDS_OF_VISITS: dict[str, tuple[str, ...]] = {
    "gait": tuple(gait for gait in get_args(Gait) if gait != "standing"),
    "reference": get_args(Reference),
    "kind": ("ink", "pressure-sensor", "pressure-weighted"),
    "load": ("static", "dynamic"),
}


def read_rulebook(
    source: Path | str | Texts, *, whole: bool = True, kept: bool = False
) -> tuple[Rulebook | None, tuple[InputError, ...]]:
    """The rulebook in a folder or in texts, or everything that keeps it from being read.

    Without `whole` the translations are left to be read when they are needed.
    """
    texts = source if isinstance(source, Texts) else Texts.of_folder(source)
    if "rulebook.yaml" not in (*texts, *texts.unread):
        none = InputError(texts.place(), "no rulebook is here", "a folder with a rulebook.yaml")
        return None, (none,)
    loader = _Loader(texts, whole, kept)
    book = loader.load()
    # What cannot be read is told even where nothing reads it: the digest would not hold it.
    told = {str(one) for one in loader.problems}
    problems = [*loader.problems, *(e for e in texts.unread.values() if str(e) not in told)]
    return (None if problems else book), tuple(problems)


@dataclass
class _Loader:
    texts: Texts
    whole: bool
    kept: bool
    rules: list[CompiledRule] = field(default_factory=list)  # as read, not compiled yet
    seen: dict[str, Place] = field(default_factory=dict)
    problems: list[InputError] = field(default_factory=list)

    def load(self) -> Rulebook | None:
        """Read everything; problems are noted in `problems` and reading goes on."""
        read: dict[str, tuple[Any, Document]] = {}
        for name, model in _FILES.items():
            with self._noting():
                document = self.texts.document(f"{name}.yaml")
                checked = self._checked(model, document)
                if checked is not None:
                    read[name] = (checked, document)
        stages = {stage: list(self._files_of(stage)) for stage in STAGES}
        parameters = None
        with self._noting():
            parameters = Parameters.of(self.texts, kept=self.kept)
        purposes = self._purposes()
        if len(read) < len(_FILES):  # names cannot be told known from unknown
            return None
        return self._whole(read, stages, parameters, purposes)

    def _whole(
        self,
        read: Mapping[str, tuple[Any, Document]],
        stages: Mapping[Stage, list[tuple[Numbered, Document]]],
        parameters: Parameters | None,
        purposes: Mapping[str, Purpose],
    ) -> Rulebook | None:
        files = {name: file for name, (file, _) in read.items()}
        book = _without_rules(self.texts, files, parameters or Parameters({}), purposes)
        limits, limits_at = read["limits"]
        self.problems += limit_problems(book, limits_at, limits.limits)
        self._try(check_computed, book.measures, read["measures"][1])
        self._try(check_sums, book, read["attributes"][1])
        self._try(_check_axes, *read["axes"])
        self._types(*read["types"], book)
        screened = [rule for rules, _ in stages["screen"] for rule in rules.values()]
        notes = {rule.id: rule.when for rule in screened if isinstance(rule.then, NoteThen)}
        for stage, of_stage in stages.items():
            for rules_of_file, document in of_stage:
                whole = self._with_notes(rules_of_file, document, notes, stage)
                self._rules(whole, document, stage, book)
        self._check_translations()
        if self.problems or parameters is None:
            return None
        with self._noting():
            compiler = Compiler(book.limits, book.vocabulary)
            return replace(book, rules=compile_rules(self.rules, compiler))
        return None

    def _purposes(self) -> Mapping[str, Purpose]:
        """What shoes can be for, as the rulebook says, or as all said before they could say."""
        if "purposes.yaml" in self.texts:
            with self._noting():
                document = self.texts.document("purposes.yaml")
                file = self._checked(PurposesFile, document)
                if file is not None:
                    return file.purposes
        return FIRST_PURPOSES

    @contextmanager
    def _noting(self) -> Iterator[None]:
        """Note what is raised and go on."""
        try:
            yield
        except InputError as error:
            self.problems.append(error)

    def _try(self, check: Callable[..., None], *about: Any) -> None:
        """Note what a check raises and go on."""
        with self._noting():
            check(*about)

    def _checked(self, model: type[File], document: Document) -> File | None:
        checked, problems = problems_in(model, document)
        self.problems += problems
        return checked

    def _files_of(self, stage: Stage) -> Iterator[tuple[Numbered, Document]]:
        """Rules that fit, by their number in the file; a rule that does not is noted."""
        files = self.texts.under(stage)
        if not files:
            place = self.texts.place(stage)
            self.problems.append(InputError(place, "no rule files are here", "at least one *.yaml"))
        for file in files:
            with self._noting():
                document = self.texts.document(file)
                file_ = self._checked(RuleFile, document)
                if file_ is not None:
                    yield dict(enumerate(file_.rules)), document
                elif isinstance(document.data, dict):
                    yield dict(_that_fit(document)), document

    def _check_translations(self) -> None:
        """Note what does not fit of the translations, where everything is to be noted."""
        if self.whole:
            for file in self.texts.under("translations"):
                with self._noting():
                    self._checked(TranslationsFile, self.texts.document(file))

    def _types(self, types: TypesFile, at: Document, book: Rulebook) -> None:
        for index, one in enumerate(types.types):
            self._rule(type_as_rule(one), ("types", index), at, "classify", book)

    def _rules(self, rules: Numbered, at: Document, stage: Stage, book: Rulebook) -> None:
        for index, rule in rules.items():
            loc: Loc = ("rules", index)
            for check in then_checks(rule.then, stage, (*loc, "then"), at, book):
                self._try(check)
            self._rule(rule, loc, at, stage, book)

    def _rule(self, rule: Rule, loc: Loc, at: Document, stage: Stage, book: Rulebook) -> None:
        self._try(self._claim, rule.id, at.place((*loc, "id")))
        for leaf, where in leaves(rule.when, (*loc, "when")):
            self._try(check_leaf, leaf, where, at, book)
        basis: Loc = (*loc, "basis", "sources")
        self._try(all_known, "source", rule.basis.sources, book.sources, at, basis)
        self.rules.append(CompiledRule(rule, stage, at.place(loc)))

    def _with_notes(
        self, rules: Numbered, at: Document, notes: Mapping[str, Condition], stage: Stage
    ) -> Numbered:
        """The rules of a file with the notes that they ask about written out."""
        readable = notes if stage == "need" else {}
        whole: dict[int, Rule] = {}
        for index, rule in rules.items():
            with self._noting():
                for leaf, where in leaves(rule.when, ("rules", index, "when")):
                    if isinstance(leaf, OfNote):
                        known("note", leaf.note, readable, at.place((*where, "note")))
                when = with_notes(rule.when, readable)
                whole[index] = rule.model_copy(update={"when": when})
        return whole

    def _claim(self, rule_id: str, place: Place) -> None:
        if rule_id in self.seen:
            raise InputError(
                place,
                f"the id `{rule_id}` stands twice (first at {self.seen[rule_id]})",
                "each id once",
                "rename one of the two",
            )
        self.seen[rule_id] = place


def _check_axes(file: AxesFile, at: Document) -> None:
    if FOOT_TYPE in file.axes:
        raise InputError(
            at.place(("axes", FOOT_TYPE), key=True),
            f"an axis is called `{FOOT_TYPE}`, which types.yaml already makes",
            "any other name",
            "rename it",
        )


def _that_fit(document: Document) -> Iterator[tuple[int, Rule]]:
    """The rules of a file that fit by themselves, so that their names are checked too."""
    listed = document.data.get("rules")
    for index in range(len(listed) if isinstance(listed, list) else 0):
        rule, _ = problems_in(Rule, document, ("rules", index))
        if rule is not None:
            yield index, rule


def _without_rules(
    texts: Texts,
    files: Mapping[str, Any],
    parameters: Parameters,
    purposes: Mapping[str, Purpose],
) -> Rulebook:
    """All that rules may name, before they are read themselves."""
    types, limits = files["types"].types, files["limits"].limits
    values = {one.id: one.title for one in types}
    axes = {**files["axes"].axes, FOOT_TYPE: AxisDef(title="foot type", values=values)}
    measures, questions = files["measures"].measures, files["questions"].questions
    systems = files["rulebook"].systems
    return Rulebook(
        texts=texts,
        digest=digest_of(texts),
        heading=files["rulebook"],
        sources=files["sources"].sources,
        measures=measures,
        limits={name: one.of_systems(systems) for name, one in limits.items()},
        limit_values=tuple(value for one in limits.values() for value in one.values),
        axes=axes,
        questions=questions,
        purposes=purposes,
        attributes=files["attributes"].by_name(),
        types={one.id: one for one in types},
        parameters=parameters,
        vocabulary=vocabulary_of(measures, axes, questions, purposes),
        rules=(),
    )


def check_computed(measures: MeasureDefs, at: Document) -> None:
    """Raise InputError for a computed measure that is missing or defined as something else."""
    for current, (unit, qualifiers) in COMPUTED.items():
        name = known_as(current, measures)
        if name not in measures:
            if name in OPTIONAL:
                continue
            raise InputError(
                at.place(("measures",)),
                f"the measure `{name}` is computed from every visit and not defined here",
                mend=nearest(name, set(measures) - set(COMPUTED)) or f"add `{name}` with its unit",
            )
        one, loc = measures[name], ("measures", name)
        if one.unit != unit:
            raise InputError(
                at.place((*loc, "unit")),
                f"`{name}` is defined in {one.unit}, and it is computed in {unit}",
                unit,
                f"write `unit: {unit}`",
            )
        _check_words(name, one, qualifiers, at, loc)


def _check_words(
    name: str, one: MeasureDef, qualifiers: tuple[str, ...], at: Document, loc: Loc
) -> None:
    wanted = {qualifier: _WORDS_OF_VISITS[qualifier] for qualifier in qualifiers}
    written = dict(one.qualifiers)
    if one.unit == "class":
        wanted, written = {"values": get_args(CopPattern)}, {"values": one.values}
    for key, words in wanted.items():
        lost = [word for word in words if word not in written.get(key, ())]
        if lost:
            raise InputError(
                at.place(loc, key=True),
                f"the `{key}` of `{name}` lack {', '.join(lost)}, which a visit can bring",
                ", ".join(words),
                "add what is missing",
            )
