"""What a check finds: a code, a place, what is wrong, what to do, and a foot that shows it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, TypeVar

from recommend.errors import InputError, Place
from recommend.reading import Document, Strict, problems_in
from recommend.rulebook.book import Rulebook

Model = TypeVar("Model", bound=Strict)

Level = Literal["error", "warning", "note"]
LEVELS: tuple[Level, ...] = ("error", "warning", "note")

# Every code a finding may carry, with what it means; readers of SARIF get this as the rule.
CODES: dict[str, str] = {
    "not-readable": "A file does not fit its schema, or a name, unit or id in it is wrong.",
    "contradiction": "Two rules conclude different values of one axis for the same foot.",
    "gap": "A foot with everything measured gets no value on an axis.",
    "never-fires": "No foot satisfies the condition of a rule.",
    "always-fires": "Every foot satisfies the condition of a rule.",
    "says-nothing-new": "Whenever a rule fires, another already concludes as much.",
    "not-exhausted": "A part of the rulebook is too large to be checked foot by foot.",
    "unused": "Something is defined and nothing reads it.",
    "missing-source": "A statement names no source, or one that is not in the bibliography.",
    "never-answered": "A rule reads a measure that no visit can carry.",
    "never-stated": "A rule asks for an attribute that no product of the catalogue states.",
    "never-met": "The musts and nevers of a rule leave nothing of the catalogue.",
    "title-contradicts": "The title of a product says something else than its attributes.",
    "unfinished": "A rule still has the words it was begun with.",
    "not-marked": "A rule asks for a product, and no wish of it must be met to count as served.",
    "suits-nobody": "No foot of the population can be offered a product.",
    "not-translated": "A text that customers read is not in a language of the translations.",
    "stale-translation": "A text has changed since it was translated.",
    "needless-translation": "A translation is of nothing that customers read.",
    "untrue-of-people": "A word claims what is not so of the modelled adults.",
    "unsteady": "A label changes too often when the feet that carry it are read again.",
    "weak-words": "A note lacks the words that its level needs, or has words that weaken it.",
    "claim-of-cure": "A sentence promises what fitting a shoe or an insole cannot do.",
    "question-turned": "A question asks the wrong way round, or a note comes by the calm answer.",
    "turned-scale": "The steps of a scale do not go from least to most.",
    "turned-side": "A sentence speaks of the other side than the one on which its rule fires.",
    "example-fails": "A worked example does not come out as written.",
    "not-pinned": "No worked example makes a rule fire.",
    "unnoticed-change": "A rule can be changed and neither an example nor a promise notices.",
    "promise-broken": "A foot exists for which a promise does not hold.",
    "not-decided": "The prover gave up on a promise within its time.",
    "weakened-stop": "A stop was removed or weakened without an `accepts` line.",
    "weakened-note": "A see-a-clinician note or caution was, likewise.",
    "released-edited": "A rulebook that was released under a version says something else now.",
    "not-released": "The notes of the version are not written down yet, and nothing guards them.",
    "stronger-note": "A note comes for more feet than when the version was released.",
    "no-change-entry": "The change log does not lead up to the version of the rulebook.",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found.

    Attributes
    ----------
    code : one of `CODES`.
    level : an error fails the check, a warning fails a strict one; a note is only said.
    found : what is wrong, as a clause.
    allowed : what is allowed, as a clause; may be empty.
    mend : what to do, as an imperative.
    foot : a concrete foot that shows it, in words; may be empty.
    visit : the same foot as the text of a visit file; empty when none can be written.
    related : further places that belong to it.
    """

    code: str
    level: Level
    place: Place
    found: str
    allowed: str = ""
    mend: str = ""
    foot: str = ""
    visit: str = ""
    related: tuple[Place, ...] = ()


def from_error(error: InputError) -> Finding:
    """The finding that a reading error amounts to."""
    return Finding("not-readable", "error", error.place, error.found, error.allowed, error.mend)


def files_of(
    book: Rulebook, folder: str, model: type[Model], problems: list[InputError]
) -> Iterator[tuple[Model, Document]]:
    """Every file of a folder of the rulebook that fits; what does not is added to `problems`."""
    for name in book.texts.under(folder):
        try:
            document = book.texts.document(name)
        except InputError as error:
            problems.append(error)
            continue
        file, wrong = problems_in(model, document)
        problems += wrong
        if file is not None:
            yield file, document


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings by gravity, then by place."""
    return tuple(
        sorted(
            findings,
            key=lambda f: (
                LEVELS.index(f.level),
                f.place.file,
                f.place.line,
                f.place.column,
                f.code,
            ),
        )
    )


def fails(findings: Iterable[Finding], *, strict: bool) -> bool:
    """Whether a check with these findings fails."""
    failing = ("error", "warning") if strict else ("error",)
    return any(finding.level in failing for finding in findings)
