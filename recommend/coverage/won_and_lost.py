"""What is won and lost between two catalogues, or two rulebooks, by foot type."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recommend.catalogue.loading import Catalogue
from recommend.coverage.crowd import Crowd, tally_of
from recommend.coverage.numbers import Array
from recommend.coverage.report import Assessor
from recommend.coverage.split import UNDETERMINED
from recommend.coverage.tally import Tally
from recommend.rulebook.vocabulary import FOOT_TYPE


@dataclass(frozen=True, slots=True)
class Change:
    """Feet of one type, or of all: shares of all customers.

    Attributes
    ----------
    foot_type : the type here (not there); ``all`` for the sum.
    share : share of all feet.
    here, there : share of all feet whose owner is served here, and there.
    won, lost : served here and not there, and the reverse.
    """

    foot_type: str
    share: float
    here: float
    there: float
    won: float
    lost: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two ways of serving the same customers."""

    other: str
    changes: tuple[Change, ...]

    @property
    def overall(self) -> Change:
        """The change over all feet."""
        return self.changes[0]


def compare_catalogues(
    assessor: Assessor, here: Catalogue, there: Catalogue, tally: Tally
) -> Comparison:
    """The same customers under the same rules, from two catalogues."""
    first, second = (_served(assessor, one, tally) for one in (here, there))
    return _comparison(assessor, tally, first, second, there.folder)


def compare_rules(
    here: Assessor, there: Assessor, catalogue: Catalogue, crowd: Crowd
) -> Comparison:
    """The same customers and catalogue under two rulebooks."""
    pairs = zip(*(crowd.cases(one.book, one.classes) for one in (here, there)), strict=True)
    both = tally_of((np.column_stack(pair) for pair in pairs), crowd.count)
    width = here.layout.stop + 1
    mine = Tally(both.cases[:, :width], both.counts)
    theirs = Tally(both.cases[:, width:], both.counts)
    first, second = _served(here, catalogue, mine), _served(there, catalogue, theirs)
    return _comparison(here, mine, first, second, there.book.folder)


def _served(assessor: Assessor, catalogue: Catalogue, tally: Tally) -> Array:
    """Whether the customers of each row of the tally are served."""
    kinds = assessor.kinds(tally)
    served = assessor.evaluator(catalogue, kinds).evaluate().well[kinds.group]
    return np.asarray(served & (tally.cases[:, assessor.layout.stop] == 0))


def _comparison(
    assessor: Assessor, tally: Tally, here: Array, there: Array, other: str
) -> Comparison:
    names = (UNDETERMINED, *assessor.book.axes[FOOT_TYPE].values)
    columns = list(assessor.layout.columns("foot-type"))
    types = tally.cases[:, columns].T.ravel() + 1
    weight = np.tile(tally.counts, 2) / (2 * tally.customers)
    flags = (np.ones_like(here), here, there, here & ~there, there & ~here)
    sums = [np.bincount(types, weight * np.tile(flag, 2), len(names)) for flag in flags]
    overall = Change("all", *(float(one.sum()) for one in sums))
    rows = [Change(name, *(float(one[k]) for one in sums)) for k, name in enumerate(names)]
    rows = [row for row in rows if row.share > 0]
    rows.sort(key=lambda row: (-row.won - row.lost, -row.share))
    return Comparison(other, (overall, *rows))
