"""One foot through the rulebook by the engine for many feet, where durable-rules is not."""

from __future__ import annotations

from recommend.errors import RecommendError
from recommend.infer.chunks import bear
from recommend.infer.conclusions import (
    Conclusions,
    Truth,
    checked_facts,
    settle,
)
from recommend.infer.many import columns_of, conclude_many
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import Facts


class ArrayEngine:
    """A rulebook that concludes one foot as a column of one row.

    Parameters
    ----------
    book : the rulebook.

    Raises
    ------
    InputError
        If durable-rules could not bear a rule: a rulebook works on every machine or on none.
    """

    name = "numpy"

    def __init__(self, book: Rulebook) -> None:
        bear(book)
        self.book = book

    def conclude(self, facts: Facts) -> Conclusions:
        """Run every stratum over `facts`; errors as every engine raises them."""
        book = self.book
        known: dict[str, float | str] = dict(checked_facts(facts, book))
        many = conclude_many(book, columns_of([known], book.vocabulary), 1, fails=True)
        truth = {
            rule.id: _truth(rule.id, bool(many.holds[rule.id][0]), bool(many.fails[rule.id][0]))
            for rule in book.rules
        }
        axes: dict[str, str | None] = dict.fromkeys(book.axes)
        axes |= settle(book.rules, truth)
        known |= {f"axis_{axis}": value for axis, value in axes.items() if value is not None}
        known |= {f"decided_{a}": "no" if value is None else "yes" for a, value in axes.items()}
        return Conclusions(truth, known, axes)


def _truth(rule: str, holds: bool, fails: bool) -> Truth:
    if holds and fails:
        raise RecommendError(f"rule `{rule}` came out true and false for the same foot")
    return True if holds else False if fails else None
