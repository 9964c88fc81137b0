"""What a visit would come to if its readings were others: many what-ifs at once.

The vectorised path answers for all of them; sets of fired rules that are alike are matched with
the catalogue once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from recommend.infer.assess import Assessment
from recommend.infer.derivation import measure_of
from recommend.infer.facts import facts_of
from recommend.infer.many import Columns, ManyConclusions, columns_of, conclude_many
from recommend.match.sizes import wanted_length
from recommend.measure.definitions import DIFFERENCES
from recommend.measure.model import SIDES, Measure, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NoteThen
from recommend.rulebook.naming import DECIMALS
from recommend.rulebook.terms import Number
from recommend.rulebook.vocabulary import FOOT_TYPE
from recommend.trail.cases import CaseRanking, stopped
from recommend.trail.leaders import Leaders, Leading

Floats = NDArray[np.float64]
Key = tuple[Side, str]  # a foot and a measure
Readings = Mapping[Key, Floats]

# Measures that follow from others, and how (see `measure.observed`).
WIDTH, LENGTH, WIDTH_RATIO = "forefoot-width", "foot-length", "width-ratio"
WITHHELD: Leading = {}  # what leads when a stop withholds the shortlist
DERIVED = frozenset({*DIFFERENCES, WIDTH_RATIO})


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What n what-ifs come to.

    Attributes
    ----------
    types : by foot, (n,) position of the foot type in the rulebook's axis, -1 undetermined.
    notes : by rule id, (n,) whether the note is due for either foot.
    case : (n,) which of `cases` each what-if is.
    cases : the products that lead, by group, for each distinct set of needs and size; no group
        at all where a stop withholds the shortlist.
    """

    types: Mapping[Side, NDArray[np.int8]]
    notes: Mapping[str, NDArray[np.bool_]]
    case: NDArray[np.intp]
    cases: tuple[Leading, ...]

    def case_of(self, row: int) -> Leading:
        """The products that lead in one what-if."""
        return self.cases[int(self.case[row])]

    def part(self, rows: slice) -> Outcomes:
        """The outcomes of some of the what-ifs."""
        return Outcomes(
            {side: codes[rows] for side, codes in self.types.items()},
            {rule: due[rows] for rule, due in self.notes.items()},
            self.case[rows],
            self.cases,
        )


@dataclass
class WhatIf:
    """Answers what-ifs about one assessed visit.

    Parameters
    ----------
    assessment : the visit as it was.
    book, leaders : the rulebook, and the catalogue made ready for ranking.
    top : how many leading products of each group are looked at.
    """

    assessment: Assessment
    book: Rulebook
    leaders: Leaders
    top: int = 3

    @cached_property
    def ranked(self) -> CaseRanking:
        """Ranks the catalogue once for each distinct set of needs and size."""
        return CaseRanking(self.leaders, self.top)

    @cached_property
    def limits(self) -> dict[str, set[tuple[str, float]]]:
        """By measure, the numeric facts and the constants that any rule compares."""
        found: dict[str, set[tuple[str, float]]] = {}
        for rule in self.book.rules:
            for terms in (*rule.holds, *rule.fails):
                for term in terms:
                    if isinstance(term, Number):
                        found.setdefault(measure_of(term.fact), set()).add((term.fact, term.value))
        return found

    @cached_property
    def _base(self) -> Mapping[Side, Columns]:
        """Facts of the visit as it was, as columns of one row."""
        visit, feet = self.assessment.visit, self.assessment.feet
        facts = {s: facts_of(visit, s, feet[s].measures, self.book) for s in SIDES}
        return {s: columns_of([facts[s]], self.book.vocabulary) for s in SIDES}

    def measure(self, key: Key) -> Measure:
        """The reading as it was taken."""
        return self.assessment.feet[key[0]].measures[key[1]]

    def readings(self) -> tuple[Key, ...]:
        """Readings that were taken, with a number, and do not follow from others.

        One reading that stands for both feet is named once, by the left one.
        """
        return tuple(
            (side, name)
            for side in SIDES
            for name, measure in sorted(self.assessment.feet[side].measures.items())
            if not isinstance(measure.value, str) and name not in DERIVED
            if side == SIDES[0] or not measure.shared
        )

    def foot_of(self, key: Key) -> Side | None:
        """The foot a reading is of; None when one reading stands for both."""
        return None if self.measure(key).shared else key[0]

    def possible(self, key: Key) -> tuple[float, float]:
        """The lowest and highest value that a reading can have, by its definition."""
        definition, was = self.book.measures[key[1]], float(self.measure(key).value)
        return min(definition.lowest, was), max(definition.highest, was)

    def outcomes(self, readings: Readings, count: int) -> Outcomes:
        """Outcomes of `count` what-ifs; a reading that is not given stays as it was.

        Parameters
        ----------
        readings : by foot and measure, (count,) values in the measure's unit.
        """
        feet = {s: self._conclude(s, readings, count) for s in SIDES}
        notes = {
            rule.id: feet["left"].holds[rule.id] | feet["right"].holds[rule.id]
            for rule in self.book.rules
            if isinstance(rule.rule.then, NoteThen)
        }
        types = {side: feet[side].axes[FOOT_TYPE] for side in SIDES}
        case, ranked = self.ranked.rank(feet, self._lengths(readings, count))
        cases = tuple(one.leading for one in ranked)
        withheld = stopped(self.book, notes, count)
        if withheld.any():
            case, cases = np.where(withheld, len(cases), case), (*cases, WITHHELD)
        return Outcomes(types, notes, case, cases)

    def together(self, blocks: Sequence[tuple[Readings, int]]) -> list[Outcomes]:
        """Outcomes of several groups of what-ifs, each as `outcomes` gives them, in one run."""
        sizes = [size for _, size in blocks]
        keys = {key for readings, _ in blocks for key in readings}
        columns = {
            key: np.concatenate([self._filled(key, readings, n) for readings, n in blocks])
            for key in keys
        }
        whole = self.outcomes(columns, sum(sizes))
        ends = np.cumsum(sizes)
        return [whole.part(slice(end - n, end)) for end, n in zip(ends, sizes, strict=True)]

    def _filled(self, key: Key, readings: Readings, count: int) -> Floats:
        return np.broadcast_to(self._value(key, readings), (count,))

    def _conclude(self, side: Side, readings: Readings, count: int) -> ManyConclusions:
        return conclude_many(self.book, self._columns(side, readings), count)

    def _columns(self, side: Side, readings: Readings) -> Columns:
        foot = self.assessment.feet[side]
        columns = dict(self._base[side])
        for (of, name), values in readings.items():
            if of == side or self.measure((of, name)).shared:
                columns |= self._number(foot.measures[name], values)
        for name, values in self._derived(side, readings):
            columns |= self._number(foot.measures[name], values)
        return columns

    def _derived(self, side: Side, readings: Readings) -> list[tuple[str, Floats]]:
        """Measures of `side` that follow from readings that are given."""
        measures, out = self.assessment.feet[side].measures, []
        for name, base in DIFFERENCES.items():
            if name in measures and any((s, base) in readings for s in SIDES):
                left, right = (self._value((s, base), readings) for s in SIDES)
                out.append((name, np.abs(left - right)))
        if WIDTH_RATIO in measures and any((side, n) in readings for n in (WIDTH, LENGTH)):
            width, length = (self._value((side, n), readings) for n in (WIDTH, LENGTH))
            out.append((WIDTH_RATIO, width / length))
        return out

    def _value(self, key: Key, readings: Readings) -> Floats:
        if key in readings:
            return readings[key]
        return np.array([float(self.measure(key).value)])

    def _number(self, measure: Measure, values: Floats) -> dict[str, Floats]:
        """The facts of a reading at `values`, as `infer.facts` makes them of one."""
        margin = self.book.parameters["noise.clearly"] * (measure.error or 0.0)
        return {
            measure.name: _quantized(values),
            f"{measure.name}_low": _quantized(values - margin),
            f"{measure.name}_high": _quantized(values + margin),
        }

    def _lengths(self, readings: Readings, count: int) -> Floats:
        """The length the pair is made for in each what-if, NaN when it is not known."""
        keys = [(s, LENGTH) for s in SIDES if LENGTH in self.assessment.feet[s].measures]
        if not keys:
            known = wanted_length(self.assessment.visit, self.book.parameters).length
            return np.full(count, np.nan if known is None else known)
        columns = [self._filled(key, readings, count) for key in keys]
        return np.asarray(np.max(columns, axis=0), np.float64)


def _quantized(values: Floats) -> Floats:
    return np.round(values, DECIMALS) + 0.0
