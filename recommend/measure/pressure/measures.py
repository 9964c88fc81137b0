"""From a pressure recording to the measures of each foot in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from recommend.errors import InputError, Place, RecommendError
from recommend.measure.cop import drift_class, drift_percent, drift_word
from recommend.measure.definitions import MeasureDefs
from recommend.measure.doubts import (
    Doubt,
    measured_with,
    noted,
    rate_too_low,
    removed,
    wrong_force,
    wrong_pace,
)
from recommend.measure.filtering import spans
from recommend.measure.measured import Curve, FootPicture, Measured, average
from recommend.measure.model import SIDES, Flag, Measure, Side
from recommend.measure.pressure.footprint import foot_map
from recommend.measure.pressure.footsteps import Footstep, find_steps
from recommend.measure.pressure.quality import (
    SIDED_MEASURES,
    Rejected,
    plausibility_doubts,
    refuse_still,
    repair_sensors,
    step_doubts,
    whole_steps,
)
from recommend.measure.pressure.recording import PressureRecording, tell_side
from recommend.measure.pressure.step_values import MeasuredStep, heading_of, measure_step
from recommend.measure.spread import Budget, scatter_error
from recommend.parameters import Capture, Parameters

# Unit by how a name begins; the first that fits counts.
_UNITS: Final = {
    "arch-index": "ratio",
    "chippaux-smirak": "percent",
    "staheli": "ratio",
    "cpei": "percent",
    "footprint-": "mm",
    "cop-": "mm",
    "toe-out": "deg",
    "contact-time": "s",
    "peak-": "kPa",
    "integral-": "kPa.s",
    "medial-lateral-": "ratio",
}
# What hangs on when a step begins and ends between two frames.
_PACED = ("cpei", "cop-", "contact-time")
_SHARES = ("peak-", "integral-", "medial-lateral-", "contact-time")


def measure_pressure(
    recording: PressureRecording, parameters: Parameters, defs: MeasureDefs
) -> tuple[Measured, ...]:
    """Measure every foot in `recording`, left before right.

    Dead sensors are replaced in the recording's frames (in place).

    Raises
    ------
    InputError
        If no step of the recording can be used; the sentence says why.
    """
    capture = parameters.capture
    refuse_still(recording, capture)
    doubts = repair_sensors(recording, capture)
    steps, rejected = whole_steps(find_steps(recording, capture), recording, capture)
    if not steps:
        raise _nothing_usable(recording, rejected, capture)
    sided, side_doubts = _sides(steps, recording, capture)
    out: list[Measured] = []
    unusable: dict[Side, InputError] = {}
    for side in SIDES:
        if sided.get(side):
            foot = _Foot(side, recording, parameters, defs)
            try:
                out.append(foot.measured(sided[side], rejected, [*doubts, *side_doubts]))
            except InputError as error:
                unusable[side] = error
    if unusable and not out:
        raise next(iter(unusable.values()))
    for side, why in unusable.items():
        flag = Flag(f"{side}-foot-unusable", f"of the {side} foot {why.found}")
        out = [replace(one, flags=(*one.flags, flag)) for one in out]
    if not out:
        raise InputError(
            Place(recording.name),
            "the footprints do not tell left from right",
            "left or right",
            "add `side: left` or `side: right` to the head",
        )
    return tuple(out)


def _nothing_usable(
    recording: PressureRecording, rejected: Sequence[Rejected], capture: Capture
) -> InputError:
    """Why no step can be used: a wrong unit, a wrong rate, or what is wrong with each step."""
    force = recording.force()
    highest = float(force.max())
    unit = wrong_force(highest, None, capture) if highest > 0 else ""
    reasons = "; ".join(f"step {r.number}: {r.why} ({r.name})" for r in rejected[:5])
    if unit:
        found, mend = unit, "correct `unit` in the head, or convert the numbers"
    elif rejected:
        found = f"none of the {len(rejected)} steps can be used ({reasons})"
        mend = "record whole steps from heel contact to toe-off in the middle of the mat"
    else:
        longest = max((b - a for a, b in spans(force > capture.step_force)), default=0)
        found = (
            f"no foot is on the mat for as long as a step takes; the longest load lasts "
            f"{longest / recording.rate_hz:.2g} s"
        )
        mend = f"check `rate-hz` ({recording.rate_hz:g} a second now), and that someone walked"
    return InputError(Place(recording.name), found, mend=mend)


def _sides(
    steps: Sequence[Footstep], recording: PressureRecording, capture: Capture
) -> tuple[dict[Side, list[Footstep]], list[Doubt]]:
    """Steps by foot: as the head says, or told from each footprint."""
    told = [
        tell_side(step.peak, recording.pitch_mm, heading_of(step, recording), capture)
        for step in steps
    ]
    if recording.side:
        return {recording.side: list(steps)}, _side_doubts(told, recording.side, capture)
    sided: dict[Side, list[Footstep]] = {"left": [], "right": []}
    for step, (side, clarity) in zip(steps, told, strict=True):
        if clarity >= capture.side_least:
            sided[side].append(step)
    doubts = [noted("side-told-from-shape", "left and right were told from the footprints")]
    unclear = len(steps) - len(sided["left"]) - len(sided["right"])
    if unclear:
        text = f"{unclear} of {len(steps)} steps left out: left or right cannot be told"
        doubts.append(noted("side-unclear", text))
    return sided, doubts


def _side_doubts(told: Sequence[tuple[Side, float]], side: Side, capture: Capture) -> list[Doubt]:
    """The doubt that footprints raise which look like those of the other foot."""
    for_it = [clarity if shape == side else -clarity for shape, clarity in told]
    if float(np.mean(for_it)) > -capture.side_doubt:
        return []
    against = sum(value < 0 for value in for_it)
    text = (
        f"the file says {side}, but {against} of {len(told)} footprints look like the other "
        "foot: what depends on medial and lateral is withdrawn"
    )
    return [removed("side-doubtful", text, SIDED_MEASURES)]


@dataclass(frozen=True, slots=True)
class _Foot:
    """A foot of a recording, and the numbers by which it is measured."""

    side: Side
    recording: PressureRecording
    parameters: Parameters
    defs: MeasureDefs

    @property
    def capture(self) -> Capture:
        return self.parameters.capture

    def measured(
        self, steps: Sequence[Footstep], rejected: Sequence[Rejected], doubts: Sequence[Doubt]
    ) -> Measured:
        """What its steps come to."""
        recording = self.recording
        results, more = self._results(steps)
        out = [*rejected, *more]
        doubts = [*doubts, *step_doubts(out, len(results), recording.load, self.capture)]
        if not results:
            raise _nothing_usable(recording, out, self.capture)
        force = float(np.median([step.force.max(initial=0.0) for step in steps]))
        sizes = {name: _mean(results, name) for name in (*_SIZES, "toe-out")}
        doubts += plausibility_doubts(force, sizes, recording, self.capture)
        if recording.load == "dynamic":
            doubts += [*self._light_doubts(force), *self._pace_doubts(results)]
        names = sorted({name for result in results for name in result.values})
        strides = {n: tuple(r.values[n] for r in results if n in r.values) for n in names}
        # A region that bears in some steps only is the flank of another: its mean cannot be told.
        told = {n: v for n, v in strides.items() if len(v) == len(results)}
        budgets = {n: self._budget(n, v, sizes["footprint-length"]) for n, v in told.items()}
        measures = [self._measure(n, v, budgets[n]) for n, v in told.items()]
        measures += self._pattern(results, sizes)
        return measured_with(
            doubts,
            measures,
            recording,
            kind="pressure",
            side=self.side,
            load=recording.load,
            n=len(results),
            strides=strides,
            curves=_curves(results),
            picture=_picture(results, sizes),
            budgets=budgets,
        )

    def _results(self, steps: Sequence[Footstep]) -> tuple[list[MeasuredStep], list[Rejected]]:
        results, rejected = [], []
        for number, step in enumerate(steps, start=1):
            try:
                results.append(measure_step(step, self.recording, self.side, self.capture))
            except InputError:
                raise
            except RecommendError as error:
                rejected.append(Rejected(number, "partial-contact", str(error)))
        return results, rejected

    def _light_doubts(self, force_n: float) -> list[Doubt]:
        """A child bears so little that the ends of its path are left out with what is trimmed."""
        trimmed = self.capture.trim_force
        if trimmed <= self.capture.trim_most * force_n:
            return []
        text = f"the foot bears {force_n:.0f} N: too little for a path that begins at {trimmed:g} N"
        return [removed("too-light-for-path", text, ("cpei", "cop-"))]

    def _pace_doubts(self, results: Sequence[MeasuredStep]) -> list[Doubt]:
        """Doubts about times and about how the foot lands."""
        seconds, recording = _mean(results, "contact-time"), self.recording
        needed = self.capture.frames_path
        doubts = []
        if wrong := wrong_pace(seconds, recording, self.capture):
            rests = ("contact-time", "integral-", "cpei", "cop-")
            doubts.append(removed("implausible-rate", wrong, rests))
        elif seconds * recording.rate_hz < needed:
            name, hz, what = "rate-too-low-for-path", needed / seconds, "for a path of load"
            doubts.append(rate_too_low(name, recording, hz, what, _PACED))
        starts = [
            r.path[0, 1] / r.values["footprint-length"] for r in results if r.path is not None
        ]
        if starts and float(np.mean(starts)) > self.capture.late_start:
            text = "the load begins in front of the heel: no heel strike, so no excursion index"
            concerns: tuple[str, ...] = ("cpei", "cop-")
            if not any(self._heel_bears(result) for result in results):
                text += "; the heel never bore, so no thirds of the foot"
                concerns += ("arch-index", "chippaux", "staheli", "footprint-length")
            doubts.append(removed("no-heel-strike", text, concerns))
        if recording.gait == "running":
            text = "a footprint of running is broader under the arch than one of walking"
            doubts.append(noted("running-footprint", text, ("arch-index", "chippaux", "staheli")))
        return doubts

    def _heel_bears(self, result: MeasuredStep) -> bool:
        """Whether the rear of a print bears as a heel does, and not as the end of a midfoot."""
        print_ = result.footprint
        rear = print_.cells[..., 1] < self.capture.heel_share * print_.frame.length_mm
        highest = float(print_.peak.max())
        return float(print_.peak[rear].max()) >= self.capture.heel_least * highest

    def _measure(self, name: str, values: Sequence[float], budget: Budget) -> Measure:
        """Mean over steps with its error."""
        unit = _UNITS[_kind(name)]
        public = name
        qualifiers: dict[str, str] = {"load": self.recording.load}
        if name.startswith("arch-index"):
            public = "arch-index"
            weighted = name.endswith("weighted")
            qualifiers["kind"] = "pressure-weighted" if weighted else "pressure-sensor"
        count, mean = len(values), float(np.mean(values))
        method = f"mean of {count} steps on the mat" if count > 1 else "one footprint on the mat"
        return Measure(public, self.side, mean, unit, budget.total, count, method, qualifiers)

    def _budget(self, name: str, values: Sequence[float], length_mm: float) -> Budget:
        """What the error of the mean of a measure over steps is made of.

        A sensor is a larger part of a child's foot: what is no length errs by so much more.
        Spreads of loads, areas and times are given as shares of the mean, others in the unit.
        """
        kind, capture, pitch = _kind(name), self.capture, max(self.recording.pitch_mm)
        short = kind.rstrip("-")
        share = abs(float(np.mean(values))) if kind in _SHARES else 1.0
        known = self.defs[kind].error if kind in self.defs else None
        usual = known.single if known else capture[f"usual-{short}"] * share
        grid = capture[f"grid-{short}"] * share * pitch
        if length_mm < capture.small_length and kind not in ("footprint-", "cop-"):
            grid *= capture.footprint_usual / length_mm
        few = self.parameters.noise.few_strides
        terms = {"scatter": scatter_error(values, single=usual, few=few), "grid": grid}
        if kind in _PACED:
            # Of a path the first and last sample matter, and they come up to one frame late.
            terms["rate"] = capture[f"rate-{short}"] / self.recording.rate_hz
        return Budget(terms)

    def _pattern(self, results: Sequence[MeasuredStep], sizes: dict[str, float]) -> list[Measure]:
        """Drift class of the mean path, and a flag when single steps fall into other classes."""
        paths = [result.path for result in results if result.path is not None]
        if not paths:
            return []
        length, width = (sizes[name] for name in _SIZES)
        word = drift_class(np.mean(paths, axis=0), length, width, self.capture)
        same = sum(drift_class(path, length, width, self.capture) == word for path in paths)
        method = f"mean path of {len(paths)} steps on the mat"
        measure = Measure("cop-pattern", self.side, word, "class", None, len(paths), method)
        apart = [drift_percent(path, length, width) for path in paths]
        others = _within_error(apart, self.recording, self.parameters) - {word}
        if others:
            text = f"within the error it could be {' or '.join(sorted(others))}"
            measure = measure.flagged(Flag("cop-pattern-near-limit", text))
        if same < len(paths):
            text = f"{same} of {len(paths)} steps show this pattern, the others another"
            measure = measure.flagged(Flag("cop-pattern-unsteady", text))
        return [measure]


def _kind(name: str) -> str:
    return next(kind for kind in _UNITS if name.startswith(kind))


_SIZES = ("footprint-length", "footprint-width")


def _mean(results: Sequence[MeasuredStep], name: str) -> float:
    return float(np.mean([result.values[name] for result in results]))


def _within_error(
    apart: Sequence[tuple[float, float]], recording: PressureRecording, parameters: Parameters
) -> set[str]:
    """Classes that the mean of some paths has within its 95 % error, drift by drift."""
    table, capture = np.array(apart), parameters.capture
    grid = capture.grid_cpei * max(recording.pitch_mm)
    few = parameters.noise.few_strides
    errors = [
        math.hypot(scatter_error(list(map(float, one)), single=0.0, few=few), grid)
        for one in table.T
    ]
    mean, reach = table.mean(axis=0), 1.96 * np.array(errors)
    moves = [np.array([0.0, 0.0]), *(sign * reach * unit for sign in (-1, 1) for unit in np.eye(2))]
    places = [mean + move for move in moves]
    return {drift_word(float(at[0]), float(at[1]), capture) for at in places}


def _curves(results: Sequence[MeasuredStep]) -> dict[str, Curve]:
    paths = [r.path for r in results if r.path is not None]
    forces = [r.force for r in results if r.force is not None]
    return {"cop": average(paths, "mm"), "force": average(forces, "N")} if paths else {}


def _picture(results: Sequence[MeasuredStep], sizes: dict[str, float]) -> FootPicture:
    """Mean of the steps' footprints on one grid along the foot axis, half a sensor apart."""
    prints = [result.footprint for result in results]
    pitch = min(prints[0].pitch_mm)
    cells = [foot_map(one.peak, one.pitch_mm, one.frame) for one in prints]
    low = min(float(c.x[0]) for c in cells)
    high = max(float(c.x[-1]) for c in cells)
    front = max(float(c.y[-1]) for c in cells)
    x = np.arange(low, high + pitch / 4, pitch / 2)
    y = np.arange(-pitch / 2, front + pitch / 4, pitch / 2)
    total = np.zeros((len(y), len(x)))
    for one in prints:
        total += foot_map(one.peak, one.pitch_mm, one.frame, (x, y)).pressure
    toeless = float(np.mean([one.toeless_mm for one in prints]))
    return FootPicture(x, y, total / len(results), sizes["footprint-length"], toeless)
