"""The whole check of a rulebook and a catalogue."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from recommend.catalogue.loading import read_catalogue
from recommend.check.examples import load_examples, pin_findings, run_examples
from recommend.check.finding import Finding, from_error, in_order
from recommend.check.logic import logic_findings
from recommend.check.mutating import mutate, mutation_findings
from recommend.check.reach import reach_findings
from recommend.check.unused import unused_findings
from recommend.errors import InputError
from recommend.infer.one import Engine
from recommend.rulebook.book import Rulebook
from recommend.rulebook.loading import read_rulebook


@dataclass(frozen=True, slots=True)
class Report:
    """What a check found, and what it looked at (in words, for the last line)."""

    findings: tuple[Finding, ...]
    looked_at: tuple[str, ...]
    book: Rulebook | None


def check(rules: Path, catalogue: Path | None, *, mutating: bool = False) -> Report:
    """Check a rulebook and, when there is one, a catalogue against it.

    With `mutating`, every small change to the rules is tried on the examples too.
    """
    book, problems = read_rulebook(rules)
    findings = [from_error(problem) for problem in problems]
    if book is None:
        return Report(in_order(findings), (), None)
    findings += _of_rules(book)
    looked_at = [f"{len(book.rules)} rules", f"{len(book.limits)} limits"]
    for found, what in (_of_examples(book, mutating), _of_catalogue(book, catalogue)):
        findings += found
        looked_at += what
    return Report(in_order(findings), tuple(looked_at), book)


def _of_rules(book: Rulebook) -> Iterator[Finding]:
    yield from unused_findings(book)
    yield from logic_findings(book)
    yield from _engine_findings(book)


def _of_examples(book: Rulebook, mutating: bool) -> tuple[list[Finding], list[str]]:
    cases, problems = load_examples(book)
    found = [from_error(problem) for problem in problems]
    failing = list(run_examples(book, cases))
    found += failing
    found += pin_findings(book, cases)
    looked_at = [f"{len(cases)} examples"]
    if mutating and not failing:  # a failing example would notice everything
        mutation = mutate(book, cases)
        found += mutation_findings(book, mutation)
        looked_at.append(f"{mutation.made} mutants ({len(mutation.alive)} alive)")
    return found, looked_at


def _of_catalogue(book: Rulebook, folder: Path | None) -> tuple[list[Finding], list[str]]:
    if folder is None:
        return [], []
    products, wrong = read_catalogue(folder, book.attributes)
    found = [from_error(problem) for problem in wrong]
    if not wrong:
        found += reach_findings(book, products)
    return found, [f"{len(products.items)} products"]


def _engine_findings(book: Rulebook) -> Iterator[Finding]:
    """What the engine for one visit cannot bear is found here, not at the counter."""
    try:
        Engine(book)
    except InputError as error:
        yield from_error(error)
