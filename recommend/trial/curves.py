"""The curves of a trial: every step through the phases of stance, on the ordinary band."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.trial.bands import band_of
from recommend.trial.change import Interval, mean_interval, sample
from recommend.trial.judge import Band
from recommend.trial.report import Trial
from recommend.trial.steps import PHASES, Key, Step


@dataclass(frozen=True, slots=True)
class Curve:
    """One step of one foot: by phase, the mean in degrees with its interval."""

    step: str
    points: Mapping[str, Interval]


@dataclass(frozen=True, slots=True)
class Picture:
    """One gait and zero reference: the curves of each foot, barefoot first, and the bands.

    `steps` are the ids of all steps of the trial, so that a step keeps its letter in every
    picture.
    """

    steps: tuple[str, ...]
    gait: str
    reference: str
    curves: Mapping[Side, tuple[Curve, ...]]
    bands: Mapping[str, Band]

    def edges(self) -> tuple[float, float]:
        """The least and largest angle in the picture, in degrees."""
        values = [
            v
            for curves in self.curves.values()
            for curve in curves
            for point in curve.points.values()
            for v in (point.low, point.high)
        ]
        values += [e for b in self.bands.values() for e in (b.low, b.high) if abs(e) < float("inf")]
        return min(values), max(values)


def pictures(trial: Trial, book: Rulebook) -> tuple[Picture, ...]:
    """A picture for every gait and zero reference in which a worn step was read."""
    steps = (trial.bare, *(result.step for result in trial.results))
    kinds = dict.fromkeys(
        (key.gait, key.reference)
        for step in steps[1:]
        for key in step.readings
        if key.phase in PHASES
    )
    return tuple(_picture(gait, reference, steps, book) for gait, reference in kinds)


def _picture(gait: str, reference: str, steps: tuple[Step, ...], book: Rulebook) -> Picture:
    curves: dict[Side, tuple[Curve, ...]] = {}
    for side in SIDES:
        made = [Curve(s.id, _points(s, side, gait, reference, book)) for s in steps]
        if any(curve.points for curve in made):
            curves[side] = tuple(curve for curve in made if curve.points)
    bands = {
        phase: band
        for phase in PHASES
        if (band := band_of(book, Key("left", gait, reference, phase))) is not None
    }
    return Picture(tuple(s.id for s in steps), gait, reference, curves, bands)


def _points(
    step: Step, side: Side, gait: str, reference: str, book: Rulebook
) -> dict[str, Interval]:
    points = {}
    for phase in PHASES:
        strides = step.readings.get(Key(side, gait, reference, phase))
        if strides:
            error = book.measures[f"{phase}-angle"].error
            one = sample(strides, book.parameters, error.single if error else 0.0)
            points[phase] = mean_interval(one, book.parameters["trial.confidence"])
    return points
