"""What was observed at one visit: the models and the reading of a visit file."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

from recommend.errors import InputError, nearest
from recommend.reading import Document, read_document, validate
from recommend.visit.models import Feet, Foot, Visit

__all__ = ["Feet", "Foot", "Visit", "read_visit"]


def read_visit(
    path: Path | str,
    questions: Collection[str] | None = None,
    purposes: Collection[str] | None = None,
) -> Visit:
    """Read and check a visit file (YAML or JSON).

    Parameters
    ----------
    path : the file.
    questions : ids of the screening questions; an answer to any other is refused, since a
        misspelt id would lose a warning sign.
    purposes : what shoes can be for; any other is refused.

    Raises
    ------
    InputError
        With file, line and column of the first thing that does not fit.
    """
    document = read_document(path)
    _check_purpose(document, purposes)
    visit = validate(Visit, document)
    for answer in visit.answers if questions is not None else ():
        if answer not in (questions or ()):
            raise InputError(
                document.place(("answers", answer), key=True),
                f"`{answer}` is not a screening question",
                f"one of {len(questions or ())} ids in rules/questions.yaml",
                nearest(answer, questions or ()) or "remove it; remarks may hold it",
            )
    return visit


def _check_purpose(document: Document, purposes: Collection[str] | None) -> None:
    """Refuse a purpose that is none, before its letters are refused, with the nearest."""
    purpose = document.data.get("purpose") if isinstance(document.data, dict) else None
    if purposes is not None and isinstance(purpose, str) and purpose not in purposes:
        raise InputError(
            document.place(("purpose",)),
            f"`{purpose}` is nothing that shoes are for here",
            ", ".join(purposes),
            nearest(purpose, purposes) or "leave it out, or add it to rules/purposes.yaml",
        )
