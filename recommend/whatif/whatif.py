"""What a visit would come to if its readings were others: many what-ifs at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from recommend.dataclass import dataclass
from recommend.infer.variations import Floats, Key, Readings, Variations
from recommend.match.cases import Cases, cases_of, lengths_of
from recommend.match.needs import Bools
from recommend.match.outcome import Outcome
from recommend.match.ranking import Ranking
from recommend.match.shortlist import GROUPS, Group, ranking_of
from recommend.match.wishes import out_for
from recommend.measure.model import SIDES, Side
from recommend.rulebook.vocabulary import FOOT_TYPE

Firsts = Mapping[Group, tuple[str, ...]]  # ids of the equals that come first, by group
WITHHELD: Firsts = {}  # what comes first when a stop withholds the shortlist


@dataclass(frozen=True)
class Outcomes:
    """What n what-ifs come to.

    Attributes
    ----------
    types : by foot, (n,) position of the foot type in the rulebook's axis, -1 undetermined.
    notes : by rule id, (n,) whether the note is due for either foot.
    cases : the distinct cases of needs and size.
    case : (n,) which of them each what-if is.
    stopped : (n,) whether a stop withholds the shortlist.
    """

    types: Mapping[Side, NDArray[np.int8]]
    notes: Mapping[str, Bools]
    cases: Cases
    case: NDArray[np.intp]
    stopped: Bools

    @cached_property
    def _firsts(self) -> list[Firsts]:
        found = {group: self.cases.first_groups(group) for group in GROUPS}
        return [
            {g: found[g][n] for g in GROUPS if found[g][n]} for n in range(len(self.cases.sizes))
        ]

    def firsts_of(self, row: int) -> Firsts:
        """The equals that come first in one what-if; none at all where a stop withholds them."""
        return WITHHELD if self.stopped[row] else self._firsts[int(self.case[row])]

    def differ_from(self, firsts: Firsts) -> Bools:
        """(n,) whether other candidates come first."""
        differs = np.array([one != firsts for one in self._firsts], np.bool_)
        return np.where(self.stopped, bool(firsts), differs[self.case])

    def part(self, rows: slice) -> Outcomes:
        """The outcomes of some of the what-ifs."""
        return Outcomes(
            {side: codes[rows] for side, codes in self.types.items()},
            {rule: due[rows] for rule, due in self.notes.items()},
            self.cases,
            self.case[rows],
            self.stopped[rows],
        )


@dataclass
class WhatIf:
    """Answers what-ifs about one visit that was taken through the whole way."""

    outcome: Outcome
    variations: Variations = field(init=False)
    ranking: Ranking = field(init=False)

    def __post_init__(self) -> None:
        book, assessment = self.outcome.book, self.outcome.assessment
        self.variations = self.outcome.variations or Variations(assessment, book)
        visit = assessment.visit
        self.ranking = ranking_of(book, self.outcome.catalogue, visit)

    @cached_property
    def length_edges(self) -> list[float]:
        """Lengths of foot (mm) at which another size is taken."""
        return self.ranking.length_edges(self.outcome.assessment.visit)

    def breakpoints(self, key: Key) -> list[float]:
        """Every value of a reading at which a comparison of the rules, or a size, changes."""
        edges = self.variations.length_edges(key, self.length_edges)
        return [*self.variations.breakpoints(key), *edges]

    def outcomes(self, readings: Readings, count: int) -> Outcomes:
        """Outcomes of `count` what-ifs; a reading that is not given stays as it was.

        Parameters
        ----------
        readings : by foot and measure, (count,) values in the measure's unit.
        """
        feet = self.variations.conclude(readings, count)
        notes = {
            rule.id: np.logical_or.reduce([feet[side].holds[rule.id] for side in SIDES])
            for rule in self.outcome.book.rules
            if rule.note is not None
        }
        types = {side: feet[side].axes[FOOT_TYPE] for side in SIDES}
        lengths = lengths_of(self.variations, readings, count)
        one = self.outcome
        out = out_for(one.assessment.visit, one.catalogue.items, one.book)
        cases = cases_of(self.ranking, feet, lengths, out)
        return Outcomes(types, notes, cases, cases.case, cases.stopped)

    def together(self, blocks: Sequence[tuple[Readings, int]]) -> list[Outcomes]:
        """Outcomes of several groups of what-ifs, each as `outcomes` gives them, in one run."""
        sizes = [size for _, size in blocks]
        keys = {key for readings, _ in blocks for key in readings}
        columns: dict[Key, Floats] = {
            key: np.concatenate([self.variations.filled(key, one, n) for one, n in blocks])
            for key in keys
        }
        whole = self.outcomes(columns, sum(sizes))
        ends = np.cumsum(sizes)
        return [whole.part(slice(end - n, end)) for end, n in zip(ends, sizes, strict=True)]
