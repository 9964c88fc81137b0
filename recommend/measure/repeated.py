"""Measures of several visits: a customer's, line by line, and how well a lab repeats its own.

The latter is standard error, minimal detectable change and intraclass correlation.

Sources: intraclass correlations and their mean squares, Shrout and Fleiss 1979, Psychol Bull
86:420-428; standard error of measurement as the root of the within-target mean square and the
minimal detectable change as 1.96 times the root of 2 times that, Weir 2005, J Strength Cond Res
19:231-240.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, variance

from recommend.measure.definitions import MeasureDefs
from recommend.measure.model import SIDES, Measure, Side
from recommend.measure.observed import PHASES, observe
from recommend.parameters import Parameters
from recommend.visit.models import Foot, Visit
from recommend.visit.pain import sites_of

_Z = NormalDist().inv_cdf(0.975)

# Told by the customer: no measuring to repeat.
_NOT_REPEATED = ("body-mass", "pain-score", "pain-weeks")


@dataclass(frozen=True, slots=True)
class Repeated:
    """Repeatability of one measure.

    Attributes
    ----------
    measure, qualifiers, unit : what was repeated.
    targets, readings : feet measured more than once, and their readings.
    freedom : degrees of freedom of the standard error.
    sem, sem_low, sem_high : standard error of one visit's value, with its 95 % interval.
    mdc : smallest change between two visits that is beyond error, 95 %.
    icc_1, icc_2, icc_3 : ICC(1,1), ICC(2,1), ICC(3,1) of Shrout and Fleiss; the last two need
        the same number of repeats of every foot, else None.
    single, floor : the error as a rulebook states it: of one reading, and what repeating at
        one visit does not remove.
    """

    measure: str
    qualifiers: Mapping[str, str]
    unit: str
    targets: int
    readings: int
    freedom: int
    sem: float
    sem_low: float
    sem_high: float
    mdc: float
    icc_1: float
    icc_2: float | None
    icc_3: float | None
    single: float
    floor: float


def repeatability(
    visits: Iterable[Visit], defs: MeasureDefs, parameters: Parameters
) -> list[Repeated]:
    """Repeatability of every measure that some foot has at least twice.

    A target is one foot of one reference code; its repeats are taken in the order of `visits`.
    Readings with different qualifiers (another gait, another zero) are never put together.
    """
    groups: dict[tuple[str, tuple[tuple[str, str], ...]], dict[tuple[str, Side], list[_One]]] = {}
    for visit in visits:
        observed = observe(visit, defs, parameters)
        feet: dict[Side, Foot] = {"left": visit.feet.left, "right": visit.feet.right}
        for side in SIDES:
            for measure in (*observed.used[side].values(), *_too_unsure(observed.further[side])):
                told = measure.name in _NOT_REPEATED or isinstance(measure.value, str)
                if told or _of_both(measure, defs):
                    continue
                key = (measure.name, tuple(sorted(measure.qualifiers.items())))
                one = _One(float(measure.value), _readings(measure, feet[side]))
                groups.setdefault(key, {}).setdefault((visit.reference, side), []).append(one)
    order = list(defs)
    found = []
    for (name, qualifiers), targets in groups.items():
        repeated = [ones for ones in targets.values() if len(ones) > 1]
        if len(repeated) > 1:
            found.append(_repeated(name, dict(qualifiers), defs[name].unit, repeated))
    return sorted(found, key=lambda one: order.index(one.measure))


def _too_unsure(further: Iterable[Measure]) -> Iterator[Measure]:
    """Readings that no rule reads because they err too much: repeats tell by how much."""
    return (one for one in further if any(flag.name == "too-unsure" for flag in one.flags))


@dataclass(frozen=True, slots=True)
class _One:
    """The value of one visit, and the readings it is the mean of (empty when it is one)."""

    value: float
    readings: Sequence[float]


def _readings(measure: Measure, foot: Foot) -> Sequence[float]:
    """The strides, or standing readings, that an angle is the mean of."""
    phase = measure.name.removesuffix("-angle")
    if phase not in (*PHASES, "standing"):
        return ()
    for entry in foot.rearfoot:
        gait = "standing" if phase == "standing" else measure.qualifiers.get("gait")
        if entry.gait == gait and entry.reference == measure.qualifiers["reference"]:
            strides: list[float] | None = getattr(entry, "angle" if phase == "standing" else phase)
            return strides or ()
    return ()


def _of_both(measure: Measure, defs: MeasureDefs) -> bool:
    """Whether it is the same for both feet by construction: a difference of the two."""
    how = defs[measure.name].derived
    return measure.follows and how is not None and how.between_feet is not None


def _repeated(
    name: str, qualifiers: dict[str, str], unit: str, targets: Sequence[Sequence[_One]]
) -> Repeated:
    table = [[one.value for one in ones] for ones in targets]
    squares = mean_squares(table)
    sem = math.sqrt(squares.within)
    low, high = _interval(squares.freedom)
    single, floor = _split(sem, [one for ones in targets for one in ones])
    icc_2, icc_3 = icc_two_way(table)
    return Repeated(
        measure=name,
        qualifiers=qualifiers,
        unit=unit,
        targets=len(table),
        readings=sum(map(len, table)),
        freedom=squares.freedom,
        sem=sem,
        sem_low=sem * low,
        sem_high=sem * high,
        mdc=_Z * math.sqrt(2) * sem,
        icc_1=icc_one_way(table),
        icc_2=icc_2,
        icc_3=icc_3,
        single=single,
        floor=floor,
    )


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """Between and within targets; `size` is the mean number of repeats, for unequal ones too."""

    between: float
    within: float
    freedom: int
    size: float


def mean_squares(table: Sequence[Sequence[float]]) -> MeanSquares:
    """One-way analysis of variance of `table`: a row of repeats for each target."""
    counts = [len(row) for row in table]
    total = sum(counts)
    grand = sum(map(sum, table)) / total
    between = sum(n * (fmean(row) - grand) ** 2 for n, row in zip(counts, table, strict=True))
    within = sum((value - fmean(row)) ** 2 for row in table for value in row)
    targets, freedom = len(table), total - len(table)
    size = (total - sum(n * n for n in counts) / total) / (targets - 1)
    return MeanSquares(between / (targets - 1), within / freedom, freedom, size)


def icc_one_way(table: Sequence[Sequence[float]]) -> float:
    """ICC(1,1): each target repeated by whoever was there. NaN when nothing varies at all."""
    squares = mean_squares(table)
    return _ratio(
        squares.between - squares.within, squares.between + (squares.size - 1) * squares.within
    )


def icc_two_way(table: Sequence[Sequence[float]]) -> tuple[float | None, float | None]:
    """ICC(2,1) and ICC(3,1): the same repeats (raters, sessions) for every target."""
    n, k = len(table), len(table[0])
    if any(len(row) != k for row in table):
        return None, None
    grand = fmean(fmean(row) for row in table)
    rows = k * sum((fmean(row) - grand) ** 2 for row in table) / (n - 1)
    columns = [fmean(row[j] for row in table) for j in range(k)]
    column = n * sum((mean - grand) ** 2 for mean in columns) / (k - 1)
    residual = sum(
        (value - fmean(row) - columns[j] + grand) ** 2
        for row in table
        for j, value in enumerate(row)
    ) / ((n - 1) * (k - 1))
    agreement = _ratio(rows - residual, rows + (k - 1) * residual + k * (column - residual) / n)
    return agreement, _ratio(rows - residual, rows + (k - 1) * residual)


def _ratio(top: float, bottom: float) -> float:
    return top / bottom if bottom else math.nan


def _split(sem: float, ones: Sequence[_One]) -> tuple[float, float]:
    """The error of one reading, and what repeating at one visit does not remove.

    Where each visit's value is a mean of readings, their scatter is the first, and the second
    is what is left of the standard error between visits. Else all of it is the first.
    """
    spreads = [variance(one.readings) for one in ones if len(one.readings) > 1]
    if len(spreads) < len(ones):
        return sem, 0.0
    of_means = fmean(variance(one.readings) / len(one.readings) for one in ones)
    return math.sqrt(fmean(spreads)), math.sqrt(max(0.0, sem**2 - of_means))


def _interval(freedom: int) -> tuple[float, float]:
    """Factors of the 95 % interval of a standard deviation on `freedom` degrees of freedom."""
    low, high = _chi_square(0.975, freedom), _chi_square(0.025, freedom)
    return math.sqrt(freedom / low), math.sqrt(freedom / high)


def _chi_square(share: float, freedom: int) -> float:
    """The quantile of chi-square, by halving."""
    low, high = 0.0, freedom + 20 * math.sqrt(2 * freedom) + 20
    while high - low > 1e-9 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if _below(middle, freedom) < share else (low, middle)
    return (low + high) / 2


def _below(value: float, freedom: int) -> float:
    """The share of chi-square below `value`: the series of the incomplete gamma function."""
    half, x = freedom / 2, value / 2
    term = math.exp(half * math.log(x) - x - math.lgamma(half + 1))
    total, step = term, 0
    while term > 1e-15 * total:
        step += 1
        term *= x / (half + step)
        total += term
    return total


@dataclass(frozen=True, slots=True)
class RepeatedMeasure:
    """One measure of one foot over all visits; None where it was not taken.

    Readings with other qualifiers (another gait, another zero) are another line. `change` is
    the last reading less the first, and `beyond` whether that is more than the 95 % error of a
    difference of the two; both None with fewer than two readings.
    """

    measure: str
    qualifiers: Mapping[str, str]
    side: Side
    values: tuple[Measure | None, ...]

    @property
    def taken(self) -> tuple[Measure, ...]:
        """The readings there are, oldest first."""
        return tuple(one for one in self.values if one is not None)

    @property
    def change(self) -> float | None:
        """The last reading less the first."""
        if len(self.taken) < 2:
            return None
        return float(self.taken[-1].value) - float(self.taken[0].value)

    @property
    def beyond(self) -> bool | None:
        """Whether the change is beyond the error of measuring twice, at 95 %."""
        if self.change is None:
            return None
        first, last = self.taken[0], self.taken[-1]
        return beyond_error(self.change, math.hypot(first.error or 0.0, last.error or 0.0))


def beyond_error(change: float, error: float) -> bool:
    """Whether a change is more than its 95 % error; `error` is the standard error of it."""
    return abs(change) > _Z * error


def history(
    visits: Sequence[Visit], defs: MeasureDefs, parameters: Parameters
) -> tuple[RepeatedMeasure, ...]:
    """Numeric measures of `visits` (oldest first), in the order of the definitions.

    Pain stands site by site, so that a new pain is never taken for an old one of the same side.
    """
    found: dict[_Key, list[Measure | None]] = {}
    for number, visit in enumerate(visits):
        observed = observe(visit, defs, parameters)
        for side in SIDES:
            for measure in (*observed.used[side].values(), *observed.further[side]):
                if isinstance(measure.value, str) or measure.name in _PAIN:
                    continue
                key = (measure.name, tuple(sorted(measure.qualifiers.items())), side)
                row = found.setdefault(key, [None] * len(visits))
                row[number] = measure
    found |= _pain_by_site(visits, defs)
    order = list(defs)
    keys = sorted(found, key=lambda key: (order.index(key[0]), key[1], SIDES.index(key[2])))
    return tuple(RepeatedMeasure(k[0], dict(k[1]), k[2], tuple(found[k])) for k in keys)


_Key = tuple[str, tuple[tuple[str, str], ...], Side]
_SCORE = "pain-score"
# What follows from the sites, side by side; the sites say it better.
_PAIN = frozenset({_SCORE, "pain-weeks", "pain-before", "pain-again", "pain-change",
                   "new-pain-sites"})  # fmt: skip


def _pain_by_site(visits: Sequence[Visit], defs: MeasureDefs) -> dict[_Key, list[Measure | None]]:
    """Pain of every site that ever hurt; 0 where pain was asked and the site was not named."""
    rows: dict[_Key, list[Measure | None]] = {}
    error = defs[_SCORE].error
    asked = [(n, visit.pain) for n, visit in enumerate(visits) if visit.pain is not None]
    for side in SIDES:
        hurt = {n: sites_of(pain, side) for n, pain in asked}
        for site in dict.fromkeys(site for scores in hurt.values() for site in scores):
            row: list[Measure | None] = [None] * len(visits)
            for n, scores in hurt.items():
                score = scores.get(site, 0)
                if score is not None:
                    sure = error.single if error and score else 0.0
                    row[n] = Measure(_SCORE, side, float(score), "score", sure, 1, "asked")
            rows[_SCORE, (("site", site),), side] = row
    return rows
