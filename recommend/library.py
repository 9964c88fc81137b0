"""The tool as a library: what ``import recommend`` gives, and what commands print as JSON.

Files go in, plain data comes out (str, float, int, None, list, dict). Every error raised on
purpose is a `RecommendError`; one about a file names its place.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from recommend.catalogue.loading import Catalogue
from recommend.catalogue.shop import open_catalogue as _open_catalogue
from recommend.catalogue.shop import open_rulebook, open_visit
from recommend.errors import InputError, RecommendError
from recommend.match.outcome import Outcome, as_document
from recommend.rulebook.book import Rulebook
from recommend.visit.models import Visit
from recommend.way import outcome_of

__all__ = [
    "InputError",
    "RecommendError",
    "coverage_of",
    "explanation_of",
    "open_catalogue",
    "open_rulebook",
    "read_visit",
    "shortlist_of",
]


def open_catalogue(book: Rulebook, *folders: Path | str) -> Catalogue:
    """Products of some folders, the later over the earlier; none named: as the settings say.

    Raises
    ------
    InputError
        If something in them does not fit, with its place.
    """
    return _open_catalogue(book, [Path(folder) for folder in folders])


def read_visit(path: Path | str, book: Rulebook) -> Visit:
    """A visit file, with the captures that it names measured.

    Raises
    ------
    InputError
        If something in it does not fit, with its place.
    """
    return open_visit(Path(path), book)


def shortlist_of(visit: Visit, book: Rulebook, catalogue: Catalogue) -> dict[str, Any]:
    """What `recommend shortlist --json` prints: notes, feet, needs, what to bring, how sure."""
    return shortlist_document(outcome_of(visit, book, catalogue))


def shortlist_document(outcome: Outcome) -> dict[str, Any]:
    """An outcome, and how sure it is; nothing is sure where a stop withholds it."""
    from recommend.match.sureness import sureness
    from recommend.show.sure import sure_data

    sure = None if outcome.shortlist is None else sure_data(sureness(outcome))
    return as_document(outcome) | {"how-sure": sure}


def coverage_of(
    book: Rulebook, catalogue: Catalogue, *, customers: int | None = None, seed: int = 1
) -> dict[str, Any]:
    """What `recommend coverage --json` prints: which modelled feet a catalogue serves.

    Parameters
    ----------
    customers : how many are drawn; as the rulebook says when not given.
    seed : the same seed draws the same customers.
    """
    from recommend.coverage.as_json import as_document as coverage_document
    from recommend.coverage.crowd import crowd_of
    from recommend.coverage.run import CoverageQuestion, answer

    count = customers or book.parameters.coverage.customers
    crowd = crowd_of(book, None, None, count, seed, items=catalogue.items)
    return coverage_document(
        answer(CoverageQuestion(book, catalogue, crowd), lambda _: lambda *_: None)
    )


def explanation_of(
    visit: Visit,
    book: Rulebook,
    catalogue: Catalogue,
    *,
    product: str | None = None,
    why_not: str | None = None,
    rule: str | None = None,
) -> dict[str, Any]:
    """Why: the tree of `recommend explain --json`, of the whole or of one thing in it.

    Parameters
    ----------
    product, why_not, rule : at most one of them: a product's place, why it is not listed or
        lower, or a rule.
    """
    from recommend.explain.explaining import Explanation

    told = Explanation(outcome_of(visit, book, catalogue)).of(product, why_not, rule)
    return told.as_data()
