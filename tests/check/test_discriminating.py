"""The shipped order tells drawn customers apart as far as its goals ask."""

from __future__ import annotations

from dataclasses import replace

from recommend.check.discriminating import discrimination_of
from recommend.rulebook import Rulebook
from recommend.show.findings import discrimination_lines
from tests import shipped


def _of(customers: float) -> Rulebook:
    """The shipped rulebook, with fewer customers to draw."""
    book = shipped.book()
    fewer = book.parameters.changed({"discrimination.customers": customers})
    return replace(book, parameters=fewer)


def test_the_shipped_order_meets_its_goals() -> None:
    """First groups are small, and those of types with other needs hardly overlap."""
    found = discrimination_of(_of(120), shipped.shop())
    assert all(goal.met for goal in found.goals), list(discrimination_lines(found))
    assert len(found.first["shoe"]) > 10, "nearly the same shoes come first for everybody"
