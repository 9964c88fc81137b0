"""Worked examples beside the rules: a foot in plain facts, and what must come of it.

``rules/examples/*.yaml``. They are documentation, tests, and the pins that hold every limit
and condition in place.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from pydantic import model_validator

from recommend.check.cells import Space, axes_by_stratum, below, truths
from recommend.check.example_tables import Example, Expect, Given, Reading, Row, Table, rows_of
from recommend.check.finding import Finding, files_of
from recommend.errors import InputError, Place
from recommend.infer.conclusions import ContradictionError, checked_facts
from recommend.infer.facts import facts_of, measure_facts
from recommend.infer.many import Bools, ManyConclusions, columns_of, conclude_many
from recommend.measure.model import Measure
from recommend.measure.observed import observe
from recommend.reading import Document, Strict
from recommend.reading.document import Loc
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.conditions import UNDETERMINED
from recommend.rulebook.naming import all_known, known
from recommend.rulebook.terms import Facts
from recommend.rulebook.vocabulary import FOOT_TYPE, Fact, about

_SAID = 2  # differences said of one example; the rest are counted


class ExamplesFile(Strict):
    """A file of worked examples: told one by one, or as rows of tables, or both."""

    title: str
    sources: list[str] = []
    parts: dict[str, Given] = {}
    tables: list[Table] = []
    examples: list[Example] = []

    @model_validator(mode="after")
    def _holds_something(self) -> ExamplesFile:
        if not (self.tables or self.examples):
            raise ValueError("give `tables` or `examples`, at least one")
        return self


@dataclass(frozen=True, slots=True)
class Case:
    """An example ready to run: its place, the facts of its foot, what must come out.

    `speaks_of` are the rules that examples of the same file name, or the columns of its table.
    """

    example: Example
    place: Place
    facts: Facts
    speaks_of: frozenset[str]


def load_examples(book: Rulebook) -> tuple[tuple[Case, ...], tuple[InputError, ...]]:
    """All examples of a rulebook, and everything in them that does not fit."""
    cases: list[Case] = []
    problems: list[InputError] = []
    names: dict[str, Place] = {}
    for file, document in files_of(book, "examples", ExamplesFile, problems):
        for one in _of_file(file, document, names, book):
            (cases if isinstance(one, Case) else problems).append(one)  # type: ignore[arg-type]
    return tuple(cases), tuple(problems)


def _of_file(
    file: ExamplesFile, at: Document, names: dict[str, Place], book: Rulebook
) -> Iterator[Case | InputError]:
    """Each example and row of a file as a case, or what is wrong with it."""
    rows: list[Row] = []
    for index, table in enumerate(file.tables):
        for row in rows_of(table, at, ("tables", index), book):
            if isinstance(row, InputError):
                yield row
            else:
                rows.append(row)
    rows += [Row(one, ("examples", n), frozenset()) for n, one in enumerate(file.examples)]
    said = _rules_named(row.example for row in rows if not row.rules)
    for row in rows:
        example, loc = row.example, row.loc
        try:
            _claim(example.name, at.place((*loc, "name")), names)
            facts = _facts(example, file.parts, at, loc, book)
            _check_expect(example.expect, at, (*loc, "expect"), book)
            yield Case(example, at.place(loc), facts, row.rules or said)
        except InputError as error:
            yield error


def _rules_named(examples: Iterable[Example]) -> frozenset[str]:
    named: set[str] = set()
    for example in examples:
        named |= {*(example.expect.notes or ()), *(example.expect.asks or ())}
    return frozenset(named)


def _claim(name: str, place: Place, names: dict[str, Place]) -> None:
    if name in names:
        raise InputError(
            place, f"the name `{name}` stands twice (first at {names[name]})", "each name once"
        )
    names[name] = place


def _facts(
    example: Example, parts: dict[str, Given], at: Document, loc: Loc, book: Rulebook
) -> Facts:
    if example.visit is not None:
        used = observe(example.visit, book.measures, book.parameters).used[example.side]
        return facts_of(example.visit, example.side, used, book)
    facts: dict[str, float | str] = {"side": example.side}
    facts |= {Fact("known", name).name: "no" for name in book.measures}
    for name, value in _given(example, parts, at, loc).items():
        known("measure", name, book.measures, at.place((*loc, "given", name), key=True))
        facts |= _reading(name, value, book)
    return _checked({**facts, **_asked(example, at, loc, book)}, at.place(loc), book)


def _given(example: Example, parts: dict[str, Given], at: Document, loc: Loc) -> Given:
    given: Given = {}
    all_known("part", example.of, parts, at, (*loc, "of"))
    for part in example.of:
        given |= parts[part]
    return given | example.given


def _asked(example: Example, at: Document, loc: Loc, book: Rulebook) -> Facts:
    facts: dict[str, float | str] = {}
    told = {"age-band": example.age_band, "purpose": example.purpose, "socks": example.socks}
    for name, word in told.items():
        if word is not None:
            facts[Fact("visit", name).name] = word
    for question, answer in example.answers.items():
        place = at.place((*loc, "answers", question), key=True)
        known("question", question, book.questions, place)
        if answer != "not-asked":
            facts[Fact("answer", question).name] = answer
    facts |= book.asked_facts([q for q, a in example.answers.items() if a != "not-asked"])
    if example.pain is not None:
        for fact in book.vocabulary.words:
            if about(fact).kind == "pain":
                facts[fact] = "yes" if about(fact).of in example.pain else "no"
    return facts


def _checked(facts: Facts, place: Place, book: Rulebook) -> Facts:
    for name, value in facts.items():
        words = book.vocabulary.words.get(name)
        if words is not None and value not in words:
            raise InputError(place, f"`{name}` is `{value}`", ", ".join(words))
    return checked_facts(facts, book)


def _reading(name: str, value: float | str | Reading, book: Rulebook) -> Facts:
    """Facts of one reading; its error is that of one reading where none is given."""
    definition = book.measures[name]
    usual = {q: words[0] for q, words in definition.qualifiers.items()}
    single = definition.error
    error = math.hypot(single.single, single.floor) if single else 0.0
    if isinstance(value, Reading):
        error = error if value.error is None else value.error
        usual |= value.where
        value = value.value
    number = value if isinstance(value, str) else float(value)
    measure = Measure(name, "left", number, definition.unit, error, qualifiers=usual)
    taken = {Fact("known", name).name: "yes"}
    return {**measure_facts(measure, book.parameters), **taken}


def _check_expect(expect: Expect, at: Document, loc: Loc, book: Rulebook) -> None:
    for axis, value in expect.axes.items():
        known("axis", axis, book.axes, at.place((*loc, "axes", axis), key=True))
        values = [*book.axes[axis].values, UNDETERMINED]
        known(f"value of axis `{axis}`", value, values, at.place((*loc, "axes", axis)))
    if expect.type is not None:
        known("foot type", expect.type, [*book.types, UNDETERMINED], at.place((*loc, "type")))
    for key, listed in (("notes", expect.notes), ("asks", expect.asks)):
        all_known("rule", listed or (), book.by_id, at, (*loc, key))
    for index, need in enumerate(expect.needs):
        place = at.place((*loc, "needs", index, "attribute"))
        known("attribute", need.attribute, book.attributes, place)
        known("rule", need.by, book.by_id, at.place((*loc, "needs", index, "by")))


def run_examples(book: Rulebook, cases: tuple[Case, ...]) -> Iterator[Finding]:
    """A finding for every example that does not come out as written.

    Those on whose foot rules contradict each other are left to `fallen`.
    """
    for case, said in zip(cases, outcomes(book, cases), strict=True):
        if said and said[0] != CONTRADICTED:
            more = f"; and {len(said) - _SAID} more" if len(said) > _SAID else ""
            yield Finding(
                "example-fails", "error", case.place,
                f"example `{case.example.name}`: {'; '.join(said[:_SAID])}{more}",
                mend="mend the rule, or the example if it is the one that is wrong",
            )  # fmt: skip


CONTRADICTED = "rules contradict each other on this foot"


def outcomes(book: Rulebook, cases: tuple[Case, ...]) -> list[list[str]]:
    """For every case what differs from what is written, in words; nothing when it agrees."""
    said: list[list[str]] = [[CONTRADICTED] for _ in cases]
    sound = [row for row, axis in enumerate(fallen(book, cases)) if axis is None]
    some = tuple(cases[row] for row in sound)
    done = concluded(book, some) if some else None
    for at, row in enumerate(sound):
        if done is not None:
            said[row] = list(differences(book, cases[row], at, done))
    return said


def fallen(book: Rulebook, cases: tuple[Case, ...]) -> list[str | None]:
    """For every case the first axis on which rules contradict each other; None where none do."""
    axes: list[str | None] = [None] * len(cases)
    try:
        concluded(book, cases)
    except ContradictionError:
        for axis in axes_by_stratum(book):
            rows = [row for row, found in enumerate(axes) if found is None]
            for row in _contradicted(book, axis, [cases[row] for row in rows]):
                axes[rows[row]] = axis
    return axes


def _contradicted(book: Rulebook, axis: str, cases: list[Case]) -> list[int]:
    """Places of the cases for which rules conclude two values of `axis`; none below contradict."""
    rules = book.concluding(axis)
    columns = columns_of([case.facts for case in cases], book.vocabulary)
    done = truths(book, rules, Space(book, columns, len(cases), exhausted=True))
    values: dict[str, Bools] = {}
    for rule in rules:
        assert rule.concludes is not None
        holds = done.holds[rule.id]
        values[rule.concludes.value] = (
            values.get(rule.concludes.value, np.zeros_like(holds)) | holds
        )
    return [int(row) for row in np.flatnonzero(np.sum(list(values.values()), axis=0) > 1)]


def concluded(book: Rulebook, cases: tuple[Case, ...]) -> ManyConclusions:
    """What the rulebook says of the feet of all examples at once.

    Raises
    ------
    ContradictionError
        If it contradicts itself on one of them.
    """
    columns = columns_of([case.facts for case in cases], book.vocabulary)
    return conclude_many(book, columns, len(cases))


def differences(book: Rulebook, case: Case, row: int, done: ManyConclusions) -> Iterator[str]:
    """What differs, in words, between what is written and row `row` of what came out."""
    expect = case.example.expect
    axes = dict(expect.axes)
    if expect.type is not None:
        axes[FOOT_TYPE] = expect.type
    for axis, wanted in axes.items():
        code = int(done.axes[axis][row])
        came = UNDETERMINED if code < 0 else list(book.axes[axis].values)[code]
        if came != wanted:
            yield f"axis `{axis}` is `{came}`, not `{wanted}`"
    fired = [rule for rule in book.rules if done.holds[rule.id][row]]
    named = [rule for rule in fired if rule.id in case.speaks_of]
    yield from _notes_differ(expect, named)
    yield from _asks_differ(expect, named)
    yield from _needs_differ(expect, fired, book)


def _notes_differ(expect: Expect, fired: list[CompiledRule]) -> Iterator[str]:
    if expect.notes is None:
        return
    notes = {rule.id: rule.level for rule in fired if rule.level}
    for rule in sorted(set(notes) | set(expect.notes)):
        came, wanted = notes.get(rule, "not due"), expect.notes.get(rule, "not due")
        if came != wanted:
            yield f"note `{rule}` is {came}, not {wanted}"


def _asks_differ(expect: Expect, fired: list[CompiledRule]) -> Iterator[str]:
    if expect.asks is not None:
        asks = {rule.id for rule in fired if rule.asks}
        for rule in sorted(asks ^ set(expect.asks)):
            yield f"rule `{rule}` {'holds' if rule in asks else 'does not hold'}"


def _needs_differ(expect: Expect, fired: list[CompiledRule], book: Rulebook) -> Iterator[str]:
    given = {(rule.id, *key) for rule in fired for key in need_keys(rule, book)}
    for need in expect.needs:
        key = (need.by, need.attribute, need.is_, need.value, need.strength, need.weight)
        if key not in given:
            value = need.value if isinstance(need.value, str) else f"{need.value:g}"
            yield (
                f"`{need.by}` does not ask for {need.attribute} {need.is_} {value} "
                f"({need.strength} {need.weight if need.strength == 'prefer' else ''}".rstrip()
                + ")"
            )


NeedKey = tuple[str, str, float | str, str, str]


def need_keys(rule: CompiledRule, book: Rulebook) -> Iterator[NeedKey]:
    """Needs of a rule in figures, as examples write them."""
    for need in rule.asks:
        value: float | str | None = need.level
        if value is None:
            value = book.limits[str(need.limit)].values[0].value
        yield need.attribute, need.is_, value, need.strength, need.weight


def pin_findings(book: Rulebook, cases: tuple[Case, ...]) -> Iterator[Finding]:
    """Rules that no example makes fire."""
    axes = fallen(book, cases)
    sound = tuple(case for case, axis in zip(cases, axes, strict=True) if axis is None)
    done = concluded(book, sound)
    reached = _stand_on(book, {axis for axis in axes if axis is not None})
    for rule in book.rules:
        if rule.id not in reached and not done.holds[rule.id].any():
            yield Finding(
                "not-pinned", "error", rule.place, f"no example makes rule `{rule.id}` fire",
                mend="write one in examples/; `recommend rule new` shows the form",
            )  # fmt: skip


def _stand_on(book: Rulebook, axes: set[str]) -> set[str]:
    """Rules that conclude one of `axes`, or stand on it: no example speaks for them just now."""
    return {
        rule.id
        for rule in book.rules
        if any((one.concludes and one.concludes.axis in axes) for one in below(book, [rule]))
    }
