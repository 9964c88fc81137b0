"""What is drawn of a trial: curves through stance on the usual band; readings before and now."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from recommend.measure.measured import borders
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.trial.change import Interval, mean_interval
from recommend.trial.judged_steps import Trial, order, sample_of
from recommend.trial.steps import ReadingKey, Step, Strides
from recommend.trial.verdict import Band, JudgedReading, band_of

DRAWN = ("touchdown", "peak", "contact", "midstance", "propulsion")  # as stance goes


@dataclass(frozen=True, slots=True)
class StepCurve:
    """One step of one foot.

    Attributes
    ----------
    step : its id.
    points : by reading, the mean in degrees with its interval.
    line : the mean at 0 to 100 % of stance, where it was captured; else empty, and the points
        are joined.
    """

    step: str
    points: Mapping[str, Interval]
    line: Strides = ()

    def drawn(self, middles: Mapping[str, float]) -> list[tuple[float, float]]:
        """Percent of stance and degrees along the line to draw."""
        if self.line:
            return [(float(percent), angle) for percent, angle in enumerate(self.line)]
        return [(middles[phase], point.value) for phase, point in self.points.items()]


@dataclass(frozen=True, slots=True)
class Picture:
    """One gait and zero reference: the curves of each foot, barefoot first, and the bands.

    Attributes
    ----------
    steps : ids of all steps of the trial, so that a step keeps its letter in every picture.
    curves, bands : by foot and by reading.
    spans : first and last percent of stance that each reading stands for.
    """

    steps: tuple[str, ...]
    gait: str
    reference: str
    curves: Mapping[Side, tuple[StepCurve, ...]]
    bands: Mapping[str, Band]
    spans: Mapping[str, tuple[float, float]]

    @property
    def middles(self) -> dict[str, float]:
        """Where each reading is drawn, in percent of stance."""
        return {name: (start + end) / 2 for name, (start, end) in self.spans.items()}

    @property
    def captured(self) -> bool:
        """Whether a line through all of stance was captured for any step."""
        return any(curve.line for curves in self.curves.values() for curve in curves)

    def edges(self) -> tuple[float, float]:
        """The least and largest angle in the picture, in degrees."""
        values = [
            v
            for curves in self.curves.values()
            for curve in curves
            for point in curve.points.values()
            for v in (point.low, point.high)
        ]
        values += [a for curves in self.curves.values() for curve in curves for a in curve.line]
        values += [e for b in self.bands.values() for e in (b.low, b.high) if abs(e) < float("inf")]
        return min(values), max(values)


def pictures(trial: Trial, book: Rulebook) -> tuple[Picture, ...]:
    """A picture for every gait and zero reference in which a worn step was read."""
    steps = (trial.bare, *(result.step for result in trial.results))
    kinds = dict.fromkeys(
        (key.gait, key.reference)
        for step in steps[1:]
        for key in step.readings
        if key.reading in DRAWN
    )
    return tuple(_picture(gait, reference, steps, book) for gait, reference in kinds)


def _picture(gait: str, reference: str, steps: tuple[Step, ...], book: Rulebook) -> Picture:
    curves: dict[Side, tuple[StepCurve, ...]] = {}
    for side in SIDES:
        made = [
            StepCurve(
                s.id,
                _points(s, side, gait, reference, book),
                s.curves.get((side, gait, reference), ()),
            )
            for s in steps
        ]
        if any(curve.points for curve in made[1:]):  # else nothing was tried on this foot
            curves[side] = tuple(curve for curve in made if curve.points)
    read = {name for drawn in curves.values() for curve in drawn for name in curve.points}
    names = tuple(name for name in DRAWN if name in read)
    bands = {
        name: band
        for name in names
        if (band := band_of(book, ReadingKey("left", gait, reference, name))) is not None
    }
    return Picture(tuple(s.id for s in steps), gait, reference, curves, bands, _spans(names, book))


def _spans(names: tuple[str, ...], book: Rulebook) -> dict[str, tuple[float, float]]:
    """The part of stance that each reading stands for; the peak stands before midstance."""
    first, second = borders(book.parameters.capture)
    known = {
        "touchdown": (0.0, first / 4),
        "peak": (first / 4, first),
        "contact": (first / 4, first),
        "midstance": (first, second),
        "propulsion": (second, 100.0),
    }
    return {name: known[name] for name in names}


def _points(
    step: Step, side: Side, gait: str, reference: str, book: Rulebook
) -> dict[str, Interval]:
    points = {}
    for name in DRAWN:
        key = ReadingKey(side, gait, reference, name)
        replaced = name == "contact" and replace(key, reading="peak") in step.readings
        if key in step.readings and not replaced:
            one = sample_of(step, key, book)
            points[name] = mean_interval(one, book.parameters)
    return points


@dataclass(frozen=True, slots=True)
class PictureRow:
    """One reading of one foot: barefoot first, then every try-on in which it was read.

    Attributes
    ----------
    key : the reading.
    band : what is usual for it, or None.
    bare : mean barefoot.
    levels : by id of the try-on, its mean with the interval.
    changes : by id of the try-on, the change with its interval.
    """

    key: ReadingKey
    band: Band | None
    bare: float
    levels: Mapping[str, Interval]
    changes: Mapping[str, Interval]


@dataclass(frozen=True, slots=True)
class ChangePicture:
    """All rows of one gait and zero in degrees; both feet have the same scale.

    `steps` are the ids of all try-ons of the trial, so that each keeps its letter.
    """

    gait: str
    reference: str
    steps: tuple[str, ...]
    rows: tuple[PictureRow, ...]

    def edges(self) -> tuple[float, float]:
        """The least and the largest angle that is drawn, in whole degrees."""
        values = [row.bare for row in self.rows]
        values += [v for row in self.rows for i in row.levels.values() for v in (i.low, i.high)]
        ends = [v for row in self.rows if row.band for v in (row.band.low, row.band.high)]
        values += [value for value in ends if math.isfinite(value)]
        return math.floor(min(values)), math.ceil(max(values))


def change_pictures(trial: Trial) -> tuple[ChangePicture, ...]:
    """A picture for every gait and zero reference; readings that are no degrees are left out."""
    judged: dict[ReadingKey, dict[str, JudgedReading]] = {}
    for result in trial.results:
        for key, one in result.whole.items():
            if key.reading != "peak-time":
                judged.setdefault(key, {})[result.step.id] = one
    kinds = dict.fromkeys((key.gait, key.reference) for key in judged)
    steps = tuple(result.step.id for result in trial.results)
    return tuple(
        ChangePicture(gait, reference, steps, tuple(_rows(judged, gait, reference)))
        for gait, reference in kinds
    )


def _rows(
    judged: Mapping[ReadingKey, Mapping[str, JudgedReading]], gait: str, reference: str
) -> list[PictureRow]:
    rows = []
    for key in sorted(judged, key=order):
        if (key.gait, key.reference) == (gait, reference):
            steps = judged[key]
            first = next(iter(steps.values()))
            rows.append(
                PictureRow(
                    key,
                    first.band,
                    first.change.before.mean,
                    {name: one.level for name, one in steps.items()},
                    {name: one.change.interval for name, one in steps.items()},
                )
            )
    return rows
