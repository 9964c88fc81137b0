"""The curves of a trial: every step through the phases of stance, on the ordinary band."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from recommend.measure.model import SIDES, Side
from recommend.measure.phases import borders
from recommend.rulebook.book import Rulebook
from recommend.trial.bands import band_of
from recommend.trial.change import Interval, mean_interval, sample
from recommend.trial.judge import Band
from recommend.trial.report import Trial
from recommend.trial.steps import PHASES, Key, Step, Strides


@dataclass(frozen=True, slots=True)
class Curve:
    """One step of one foot.

    Attributes
    ----------
    step : its id.
    points : by phase, the mean in degrees with its interval.
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
    curves, bands : by foot and by phase.
    spans : first and last percent of stance of each phase.
    """

    steps: tuple[str, ...]
    gait: str
    reference: str
    curves: Mapping[Side, tuple[Curve, ...]]
    bands: Mapping[str, Band]
    spans: Mapping[str, tuple[float, float]]

    @property
    def middles(self) -> dict[str, float]:
        """The middle of each phase in percent of stance, where its mean is drawn."""
        return {phase: (start + end) / 2 for phase, (start, end) in self.spans.items()}

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
        if key.phase in PHASES
    )
    return tuple(_picture(gait, reference, steps, book) for gait, reference in kinds)


def _picture(gait: str, reference: str, steps: tuple[Step, ...], book: Rulebook) -> Picture:
    curves: dict[Side, tuple[Curve, ...]] = {}
    for side in SIDES:
        made = [
            Curve(
                s.id,
                _points(s, side, gait, reference, book),
                s.curves.get((side, gait, reference), ()),
            )
            for s in steps
        ]
        if any(curve.points for curve in made[1:]):  # else nothing was tried on this foot
            curves[side] = tuple(curve for curve in made if curve.points)
    bands = {
        phase: band
        for phase in PHASES
        if (band := band_of(book, Key("left", gait, reference, phase))) is not None
    }
    first, second = borders(book.parameters)
    spans = dict(zip(PHASES, ((0.0, first), (first, second), (second, 100.0)), strict=True))
    return Picture(tuple(s.id for s in steps), gait, reference, curves, bands, spans)


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
