"""The whole check of a rulebook and a catalogue."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from recommend.catalogue.loading import read_catalogue
from recommend.check.finding import Finding, from_error, in_order
from recommend.check.logic import logic_findings
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


def check(rules: Path, catalogue: Path | None) -> Report:
    """Check a rulebook and, when there is one, a catalogue against it."""
    book, problems = read_rulebook(rules)
    findings = [from_error(problem) for problem in problems]
    if book is None:
        return Report(in_order(findings), (), None)
    findings += _of_rules(book)
    looked_at = [f"{len(book.rules)} rules", f"{len(book.limits)} limits"]
    if catalogue is not None:
        products, wrong = read_catalogue(catalogue, book.attributes)
        findings += [from_error(problem) for problem in wrong]
        if not wrong:
            findings += reach_findings(book, products)
            looked_at.append(f"{len(products.items)} products")
    return Report(in_order(findings), tuple(looked_at), book)


def _of_rules(book: Rulebook) -> Iterator[Finding]:
    yield from unused_findings(book)
    yield from logic_findings(book)
    yield from _engine_findings(book)


def _engine_findings(book: Rulebook) -> Iterator[Finding]:
    """What the engine for one visit cannot bear is found here, not at the counter."""
    try:
        Engine(book)
    except InputError as error:
        yield from_error(error)
