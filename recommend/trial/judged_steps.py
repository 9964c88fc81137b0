"""A whole trial judged: every step against barefoot, and the part each step added."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from statistics import fmean

from recommend.measure.model import SIDES, Side
from recommend.reading import Document
from recommend.rulebook.book import Rulebook
from recommend.trial.change import Sample, sample
from recommend.trial.steps import READINGS, ReadingKey, Step, parent_of, steps_of
from recommend.trial.verdict import (
    JudgedReading,
    LoadShift,
    Verdict,
    band_of,
    judge,
    judge_load,
    load_band,
)
from recommend.visit.models import Visit


@dataclass(frozen=True, slots=True)
class Rating:
    """Comfort of one region of one foot, 0 to 10."""

    side: Side
    region: str
    value: float


@dataclass(frozen=True, slots=True)
class StepResult:
    """One step of a trial, judged.

    Attributes
    ----------
    step, parent : what was worn, and the step it adds to (barefoot, or the shoe alone).
    whole : by reading, the change against barefoot.
    part : by reading, the change against `parent`: what this step contributed.
    load : by foot, the shift of load, against barefoot where measured, else against `parent`.
    alone : readings with no barefoot reading to compare with.
    load_alone : feet whose load was read with no barefoot step to compare it with.
    missing : readings that the bare foot has, in a gait that was tried, and this step has not.
    hurts : regions rated at or below the limit of comfort.
    comfort : the customer's overall rating of both feet where given, else the mean of all
        regions; None when none was asked.
    """

    step: Step
    parent: Step
    whole: Mapping[ReadingKey, JudgedReading]
    part: Mapping[ReadingKey, JudgedReading]
    load: Mapping[Side, LoadShift]
    alone: tuple[ReadingKey, ...]
    load_alone: tuple[Side, ...]
    missing: tuple[ReadingKey, ...]
    hurts: tuple[Rating, ...]
    comfort: float | None

    @property
    def over(self) -> tuple[ReadingKey | Side, ...]:
        """Readings that are over-corrected, and feet whose load went outwards."""
        judged = {**self.part, **self.whole}
        readings = [k for k in judged if self._has(k, Verdict.OVER_CORRECTED)]
        return (*readings, *(side for side, shift in self.load.items() if shift.over))

    @property
    def near(self) -> tuple[ReadingKey, ...]:
        """Readings that came down to the lower edge of their band, within noise of it."""
        return tuple(k for k, j in self.whole.items() if j.verdict is Verdict.NEAR_LOWER)

    @property
    def away(self) -> tuple[ReadingKey, ...]:
        """Readings that moved away from the band beyond noise, against barefoot."""
        return tuple(k for k, j in self.whole.items() if j.verdict is Verdict.AWAY)

    @property
    def doubtful(self) -> tuple[ReadingKey, ...]:
        """Readings that changed by more than footwear is known to bring about."""
        return tuple(k for k, j in self.whole.items() if j.doubtful)

    @property
    def open(self) -> tuple[ReadingKey, ...]:
        """Readings that were outside the band barefoot: what there was to gain."""
        return tuple(
            k for k, j in self.whole.items() if j.band and j.band.outside(j.change.before.mean)
        )

    @property
    def gained(self) -> tuple[ReadingKey, ...]:
        """Readings that were outside the band and came to or into it beyond noise."""
        good = (Verdict.TOWARDS, Verdict.WITHIN, Verdict.NEAR_LOWER)
        return tuple(k for k in self.open if self.whole[k].verdict in good)

    def residual(self, keys: Collection[ReadingKey]) -> float | None:
        """Mean of the degrees outside the band over these readings; None when none has one.

        The time of the peak is no degrees: it is judged, and not added to them.
        """
        found = [self.whole[key].residual for key in keys if self.counts(key)]
        return fmean(found) if found else None

    def counts(self, key: ReadingKey) -> bool:
        """Whether a reading adds to the degrees outside the band."""
        judged = self.whole.get(key)
        return judged is not None and judged.band is not None and key.reading != "peak-time"

    def _has(self, key: ReadingKey, verdict: Verdict) -> bool:
        return any(m[key].verdict is verdict for m in (self.whole, self.part) if key in m)


@dataclass(frozen=True, slots=True)
class Trial:
    """All steps of one visit; `results` leaves out barefoot, which all are compared with."""

    bare: Step
    results: tuple[StepResult, ...]


def judge_trial(visit: Visit, book: Rulebook, document: Document | None = None) -> Trial:
    """Judge every step of the trial of a visit.

    Parameters
    ----------
    visit : the visit with its ``trials``.
    book : bands, errors of one reading, and the parameters ``trial``.
    document : the file, to say where something stands that cannot be used.

    Raises
    ------
    InputError
        If a step was measured against another zero reference than the bare foot.
    """
    bare, *worn = steps_of(visit, document)
    tried = {(key.side, key.gait) for step in worn for key in step.readings}
    wanted = tuple(key for key in bare.readings if (key.side, key.gait) in tried)
    judges = _Judges(book, wanted)
    results = [judges.result(step, parent_of(step, (bare, *worn)), bare) for step in worn]
    return Trial(bare, tuple(results))


def sample_of(step: Step, key: ReadingKey, book: Rulebook) -> Sample:
    """Strides of one reading of a step, with what rulebook and lab know of its errors."""
    strides, means = step.readings[key], step.means.get(key, 1)
    definition = book.measures.get(READINGS[key.reading].measure)
    error = definition.error if definition else None
    if error is None:
        return sample(strides, book.parameters, 0.0, mean_of=means)
    floor = error.floor if error.of_lab else 0.0
    return sample(strides, book.parameters, error.single, error.resemblance, floor, means)


@dataclass(frozen=True, slots=True)
class _Judges:
    book: Rulebook
    wanted: tuple[ReadingKey, ...]

    def result(self, step: Step, parent: Step, bare: Step) -> StepResult:
        whole = dict(self._changes(bare, step))
        part = whole if parent is bare else dict(self._changes(parent, step))
        limit = self.book.parameters.trial.comfort_poor
        ratings = list(_ratings(step))
        load = dict(self._loads(bare, parent, step))
        return StepResult(
            step=step,
            parent=parent,
            whole=whole,
            part=part,
            load=load,
            alone=tuple(key for key in step.readings if key not in bare.readings),
            load_alone=tuple(side for side in step.load if side not in load),
            missing=tuple(
                key for key in self.wanted
                if key not in step.readings and not _replaced(key, bare, step)
            ),
            hurts=tuple(r for r in ratings if r.value <= limit),
            comfort=_comfort(step),
        )  # fmt: skip

    def _changes(self, before: Step, after: Step) -> Iterator[tuple[ReadingKey, JudgedReading]]:
        for key in after.readings:
            if key in before.readings and not _replaced(key, before, after):
                one, two = (sample_of(step, key, self.book) for step in (before, after))
                angle = READINGS[key.reading].angle
                band = band_of(self.book, key)
                yield key, judge(one, two, band, self.book.parameters, angle=angle)

    def _loads(self, bare: Step, parent: Step, step: Step) -> Iterator[tuple[Side, LoadShift]]:
        parameters = self.book.parameters
        single = parameters.trial.load_stride_sd
        for side in SIDES:
            before = bare.load.get(side) or parent.load.get(side)
            if before and side in step.load:
                one, two = (sample(s, parameters, single) for s in (before, step.load[side]))
                yield side, judge_load(one, two, load_band(self.book), parameters)


def _replaced(key: ReadingKey, before: Step, after: Step) -> bool:
    """Whether a reading of older visits is replaced: the peak decides where both steps have it."""
    peak = replace(key, reading="peak")
    return key.reading == "contact" and all(peak in step.readings for step in (before, after))


def _comfort(step: Step) -> float | None:
    """What the customer says of the whole foot, where asked: regions are a part of it."""
    found = [
        regions["overall"] if "overall" in regions else fmean(regions.values())
        for regions in step.comfort.values()
    ]
    return fmean(found) if found else None


def _ratings(step: Step) -> Iterator[Rating]:
    for side, regions in step.comfort.items():
        for region, value in regions.items():
            yield Rating(side, region, value)


def order(key: ReadingKey) -> tuple[int, int, str]:
    """Readings in the order of the table: foot, then standing, then as stance goes."""
    place = tuple(READINGS).index(key.reading)
    return (SIDES.index(key.side), place, f"{key.gait} {key.reference}")
