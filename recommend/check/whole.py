"""The whole check of a rulebook and a catalogue."""

from __future__ import annotations

import importlib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType

from recommend.catalogue.loading import read_catalogue
from recommend.check.changes import change_findings
from recommend.check.claims import claim_findings, unsteady_findings
from recommend.check.examples import Case, fallen, load_examples, pin_findings, run_examples
from recommend.check.finding import Finding, from_error, in_order
from recommend.check.logic import logic_findings
from recommend.check.mutants import Mutant, mutate, mutation_findings
from recommend.check.people import People
from recommend.check.promises import Given, PromiseResult, load_promises
from recommend.check.reach import reach_findings
from recommend.check.released import gone_findings, released_findings
from recommend.check.unanswered import shelf_findings, unanswered_findings, unused_findings
from recommend.check.wording import translation_findings, wording_findings
from recommend.errors import InputError, counted
from recommend.extras import need
from recommend.infer.conclusions import ContradictionError, bear
from recommend.rulebook.book import Rulebook
from recommend.rulebook.loading import read_rulebook


@dataclass(frozen=True, slots=True)
class Report:
    """What a check found, and what it looked at (in words, for the last line)."""

    findings: tuple[Finding, ...]
    looked_at: tuple[str, ...] = ()
    verdicts: tuple[PromiseResult, ...] = ()


def check(
    rules: Path, catalogues: Sequence[Path], *, proving: bool = False, mutating: bool = False
) -> Report:
    """Check a rulebook, and catalogues against it.

    With `proving`, promises are proved for every possible foot. With `mutating`, every small
    change to the rules is tried on the examples too (and on the promises, with both).

    Raises
    ------
    RecommendError
        If `proving` is asked for and the prover is not installed.
    """
    book, problems = read_rulebook(rules)
    findings = [from_error(problem) for problem in problems]
    if book is None:
        return Report(in_order(_under_causes([*findings, *gone_findings(rules)])))
    findings += _of_rules(book)
    limits = f"{counted(len(book.limits), 'limit')} with {counted(len(book.limit_values), 'value')}"
    looked_at = [f"{book.heading.name} {book.stamp}: {counted(len(book.rules), 'rule')}", limits]
    promises, wrong = load_promises(book)
    findings += [from_error(problem) for problem in wrong]
    prover = _prover() if proving else None
    verdicts = tuple(prover.prove(book, promises)) if prover else ()
    if prover:
        findings += prover.promise_findings(verdicts)
    notices = _broken_by(prover, promises) if prover else None
    products = [_of_catalogue(book, folder) for folder in catalogues]
    loaded = load_examples(book)
    examples = _of_examples(book, loaded, findings, mutating, notices)
    for found, what in (examples, *products):
        findings += found
        looked_at += what
    findings = list(dict.fromkeys(findings))  # what several looked at is told once
    findings = _under_causes(_with_fallen(findings, book, loaded[0]))
    proved = "" if proving else " (read, not proved)"
    looked_at.append(f"{counted(len(promises), 'promise')}{proved}")
    return Report(in_order(findings), tuple(looked_at), verdicts)


def _with_fallen(findings: list[Finding], book: Rulebook, cases: tuple[Case, ...]) -> list[Finding]:
    """Contradictions with the number of examples that fall with them, each under its cause."""
    counts = Counter(axis for axis in fallen(book, cases) if axis is not None)
    out = []
    for one in findings:
        axis = next(
            (a for a in counts if one.code == "contradiction" and f"`{a}`" in one.found), ""
        )
        fall = counts.pop(axis, 0)
        more = f"; {counted(fall, 'example')} {'falls' if fall == 1 else 'fall'} with it"
        out.append(replace(one, found=one.found + more) if fall else one)
    for axis, fall in counts.items():
        place = next(r.place for r in book.rules if r.concludes and r.concludes.axis == axis)
        words = f"rules contradict each other on axis `{axis}` in {counted(fall, 'example')}"
        out.append(Finding("contradiction", "error", place, words))
    return out


def _under_causes(findings: list[Finding]) -> list[Finding]:
    """Findings about a note that is gone, told once: what names it still is told beneath it."""
    out = list(findings)
    for cause in [one for one in findings if one.code in _GONE and "gone" in one.found]:
        name = cause.found.split("`")[1]
        same = [one for one in out if one.code in _NAMING and f"`{name}`" in one.found]
        if same:
            named = counted(len(same), "other place")
            told = f"{cause.found}; {named} still {'names' if len(same) == 1 else 'name'} it"
            places = tuple(one.place for one in same)
            out = [one for one in out if one not in same]
            out[out.index(cause)] = replace(cause, found=told, related=places)
    return out


_GONE = ("weakened-stop", "weakened-note")
_NAMING = ("not-readable", "needless-translation")  # what follows from a rule that is not there


def _prover() -> ModuleType:
    """The proving module; the solver behind it is an optional extra."""
    need("`--prove`", "prove", "z3")
    return importlib.import_module("recommend.check.proving")


def _broken_by(
    prover: ModuleType, promises: tuple[Given, ...]
) -> Callable[[Mutant, Rulebook], bool]:
    """Whether a mutant breaks a promise."""

    def notices(mutant: Mutant, book: Rulebook) -> bool:
        changed = mutant.applied(book)
        return any(verdict.outcome == "broken" for verdict in prover.prove(changed, promises))

    return notices


def _of_rules(book: Rulebook) -> Iterator[Finding]:
    for part in (
        unused_findings, logic_findings, change_findings, released_findings, translation_findings,
        wording_findings, unanswered_findings, _engine_findings, _of_people,
    ):  # fmt: skip
        yield from _where_sound(part(book))


def _where_sound(findings: Iterator[Finding]) -> Iterator[Finding]:
    """Findings as far as they go: a contradiction, told already, or a population may end them."""
    try:
        yield from findings
    except ContradictionError:
        return
    except InputError as error:
        yield from_error(error)


def _of_people(book: Rulebook) -> Iterator[Finding]:
    """What the rules say of people, held against the modelled population."""
    people = People.of(book)
    if people is not None:
        yield from claim_findings(book, people)
        yield from unsteady_findings(people)


def _of_examples(
    book: Rulebook,
    loaded: tuple[tuple[Case, ...], tuple[InputError, ...]],
    told: list[Finding],
    mutating: bool,
    notices: Callable[[Mutant, Rulebook], bool] | None,
) -> tuple[list[Finding], list[str]]:
    cases, problems = loaded
    found = [from_error(problem) for problem in problems]
    failing = list(run_examples(book, cases))
    found += failing
    if not problems:  # one that cannot be read may be the one that holds a rule in place
        found += pin_findings(book, cases)
    looked_at = [counted(len(cases), "example")]
    failing += [one for one in told if one.code == "contradiction"]
    if mutating and not (failing or problems):  # a failing example would notice everything
        mutation = mutate(book, cases)
        if notices is not None:
            alive = tuple(one for one in mutation.alive if not notices(one, book))
            mutation = replace(mutation, alive=alive)
        found += mutation_findings(book, mutation)
        looked_at.append(
            f"{counted(mutation.made, 'small change')} tried ({len(mutation.alive)} unnoticed)"
        )
    return found, looked_at


def _of_catalogue(book: Rulebook, folder: Path) -> tuple[list[Finding], list[str]]:
    products, wrong = read_catalogue(folder, book.attributes)
    found = [from_error(problem) for problem in wrong]
    if not wrong:
        found += _where_sound(reach_findings(book, products))
        found += _where_sound(shelf_findings(book, products))
    return found, [counted(len(products.items), "product")]


def _engine_findings(book: Rulebook) -> Iterator[Finding]:
    """What the engine for one visit cannot bear is found here, not at the counter."""
    try:
        bear(book)
    except InputError as error:
        yield from_error(error)
