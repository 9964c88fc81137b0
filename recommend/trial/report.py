"""A whole trial judged: every step against barefoot, and the part each step added."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from statistics import fmean

from recommend.measure.model import SIDES, Side
from recommend.reading import Document
from recommend.rulebook.book import Rulebook
from recommend.trial.bands import band_of, load_band
from recommend.trial.change import Sample, sample
from recommend.trial.judge import Judged, LoadShift, Verdict, judge, judge_load
from recommend.trial.steps import STANDING, Key, Step, Strides, parent_of, steps_of
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
    hurts : regions rated at or below the limit of comfort.
    comfort : mean rating of all regions; None when none was asked.
    """

    step: Step
    parent: Step
    whole: Mapping[Key, Judged]
    part: Mapping[Key, Judged]
    load: Mapping[Side, LoadShift]
    alone: tuple[Key, ...]
    hurts: tuple[Rating, ...]
    comfort: float | None

    @property
    def over(self) -> tuple[Key | Side, ...]:
        """Readings that are over-corrected, and feet whose load went outwards."""
        judged = {**self.part, **self.whole}
        readings = [k for k in judged if self._has(k, Verdict.OVER_CORRECTED)]
        return (*readings, *(side for side, shift in self.load.items() if shift.over))

    @property
    def away(self) -> tuple[Key, ...]:
        """Readings that moved away from the band beyond noise, against barefoot."""
        return tuple(k for k, j in self.whole.items() if j.verdict is Verdict.AWAY)

    @property
    def doubtful(self) -> tuple[Key, ...]:
        """Readings that changed by more than footwear is known to bring about."""
        return tuple(k for k, j in self.whole.items() if j.doubtful)

    @property
    def open(self) -> tuple[Key, ...]:
        """Readings that were outside the band barefoot: what there was to gain."""
        return tuple(
            k for k, j in self.whole.items() if j.band and j.band.outside(j.change.before.mean)
        )

    @property
    def gained(self) -> tuple[Key, ...]:
        """Readings that were outside the band and came to or into it beyond noise."""
        good = (Verdict.TOWARDS, Verdict.WITHIN)
        return tuple(k for k in self.open if self.whole[k].verdict in good)

    def residual(self, keys: Collection[Key]) -> float | None:
        """Mean of the degrees outside the band over these readings; None when none has one."""
        found = [j.residual for k, j in self.whole.items() if j.band and k in keys]
        return fmean(found) if found else None

    def _has(self, key: Key, verdict: Verdict) -> bool:
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
    judges = _Judges(book)
    results = [judges.result(step, parent_of(step, (bare, *worn)), bare) for step in worn]
    return Trial(bare, tuple(results))


@dataclass(frozen=True, slots=True)
class _Judges:
    book: Rulebook

    def result(self, step: Step, parent: Step, bare: Step) -> StepResult:
        whole = dict(self._changes(bare, step))
        part = whole if parent is bare else dict(self._changes(parent, step))
        limit = self.book.parameters["trial.comfort-poor"]
        ratings = list(_ratings(step))
        return StepResult(
            step=step,
            parent=parent,
            whole=whole,
            part=part,
            load=dict(self._loads(bare, parent, step)),
            alone=tuple(key for key in step.readings if key not in whole),
            hurts=tuple(r for r in ratings if r.value <= limit),
            comfort=fmean(r.value for r in ratings) if ratings else None,
        )

    def _changes(self, before: Step, after: Step) -> Iterator[tuple[Key, Judged]]:
        for key, strides in after.readings.items():
            if key in before.readings:
                one, two = (self._sample(key, s) for s in (before.readings[key], strides))
                yield key, judge(one, two, band_of(self.book, key), self.book.parameters)

    def _sample(self, key: Key, strides: Strides) -> Sample:
        error = self.book.measures[f"{key.phase}-angle"].error
        return sample(strides, self.book.parameters, error.single if error else 0.0)

    def _loads(self, bare: Step, parent: Step, step: Step) -> Iterator[tuple[Side, LoadShift]]:
        parameters = self.book.parameters
        single = parameters["trial.load-stride-sd"]
        to_sample: Callable[[Strides], Sample] = lambda s: sample(s, parameters, single)  # noqa: E731
        for side in SIDES:
            before = bare.load.get(side) or parent.load.get(side)
            if before and side in step.load:
                one, two = to_sample(before), to_sample(step.load[side])
                yield side, judge_load(one, two, load_band(self.book), parameters)


def _ratings(step: Step) -> Iterator[Rating]:
    for side, regions in step.comfort.items():
        for region, value in regions.items():
            yield Rating(side, region, value)


def order(key: Key) -> tuple[int, int, str]:
    """Readings in the order of the table: foot, then standing, then the phases."""
    phases = (STANDING, "contact", "midstance", "propulsion")
    return (SIDES.index(key.side), phases.index(key.phase), f"{key.gait} {key.reference}")
