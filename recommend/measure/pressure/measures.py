"""From a pressure recording to the measures of each foot in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from recommend.errors import InputError, Place, RecommendError
from recommend.measure.budget import Budget
from recommend.measure.cop import drift_class, drift_percent, drift_word
from recommend.measure.definitions import MeasureDefs
from recommend.measure.doubts import Doubt, apply_doubts
from recommend.measure.measured import FootPicture, Measured
from recommend.measure.model import SIDES, Flag, Measure, Side
from recommend.measure.phases import Curve, average
from recommend.measure.plausible import time_doubts, wrong_force
from recommend.measure.pressure.footsteps import Step, find_steps
from recommend.measure.pressure.frame import tell_side
from recommend.measure.pressure.quality import (
    SIDED_MEASURES,
    Rejected,
    plausibility_doubts,
    refuse_still,
    repair_sensors,
    step_doubts,
    whole_steps,
)
from recommend.measure.pressure.recording import PressureRecording
from recommend.measure.pressure.step_values import StepResult, heading_of, measure_step
from recommend.measure.pressure.toes import foot_map
from recommend.measure.spans import spans
from recommend.measure.spread import scatter_error
from recommend.parameters import Parameters

# Unit, and parameters of spread and floor, by how a name begins; the first that fits counts.
_KINDS: tuple[tuple[str, str], ...] = (
    ("arch-index", "ratio"),
    ("chippaux-smirak", "percent"),
    ("staheli", "ratio"),
    ("cpei", "percent"),
    ("footprint-", "mm"),
    ("cop-", "mm"),
    ("toe-out", "deg"),
    ("contact-time", "s"),
    ("peak-", "kPa"),
    ("integral-", "kPa.s"),
    ("medial-lateral-", "ratio"),
)

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
    refuse_still(recording, parameters)
    doubts = repair_sensors(recording, parameters)
    found = find_steps(recording, parameters)
    steps, rejected = whole_steps(found, recording, parameters)
    if not steps:
        raise _nothing_usable(recording, rejected, parameters)
    sided, side_doubts = _sides(steps, recording, parameters)
    out, unusable = [], []
    for side in SIDES:
        if sided.get(side):
            more = [*doubts, *side_doubts]
            try:
                out.append(
                    _one_foot(side, sided[side], recording, rejected, more, parameters, defs)
                )
            except InputError as error:
                unusable.append((side, error))
    if unusable and not out:
        raise unusable[0][1]
    for side, why in unusable:
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
    recording: PressureRecording, rejected: Sequence[Rejected], parameters: Parameters
) -> InputError:
    """Why no step can be used: a wrong unit, a wrong rate, or what is wrong with each step."""
    force = recording.force()
    highest = float(force.max())
    unit = wrong_force(highest, None, parameters) if highest > 0 else ""
    reasons = "; ".join(f"step {r.number}: {r.why} ({r.name})" for r in rejected[:5])
    if unit:
        found, mend = unit, "correct `unit` in the head, or convert the numbers"
    elif rejected:
        found = f"none of the {len(rejected)} steps can be used ({reasons})"
        mend = "record whole steps from heel contact to toe-off in the middle of the mat"
    else:
        longest = max((b - a for a, b in spans(force > parameters.capture.step_force)), default=0)
        found = (
            f"no foot is on the mat for as long as a step takes; the longest load lasts "
            f"{longest / recording.rate_hz:.2g} s"
        )
        mend = f"check `rate-hz` ({recording.rate_hz:g} a second now), and that someone walked"
    return InputError(Place(recording.name), found, mend=mend)


def _sides(
    steps: Sequence[Step], recording: PressureRecording, parameters: Parameters
) -> tuple[dict[Side, list[Step]], list[Doubt]]:
    """Steps by foot: as the head says, or told from each footprint."""
    told = [_told_side(step, recording, parameters) for step in steps]
    if recording.side:
        return {recording.side: list(steps)}, _side_doubts(told, recording.side, parameters)
    sided: dict[Side, list[Step]] = {"left": [], "right": []}
    unclear = 0
    for step, (side, clarity) in zip(steps, told, strict=True):
        if clarity < parameters.capture.side_least:
            unclear += 1
        else:
            sided[side].append(step)
    doubts = [Doubt(Flag("side-told-from-shape", "left and right were told from the footprints"))]
    if unclear:
        text = f"{unclear} of {len(steps)} steps left out: left or right cannot be told"
        doubts.append(Doubt(Flag("side-unclear", text)))
    return sided, doubts


def _told_side(
    step: Step, recording: PressureRecording, parameters: Parameters
) -> tuple[Side, float]:
    heading = heading_of(step, recording)
    return tell_side(step.peak, recording.pitch_mm, heading, parameters)


def _side_doubts(
    told: Sequence[tuple[Side, float]], side: Side, parameters: Parameters
) -> list[Doubt]:
    """The doubt that footprints raise which look like those of the other foot."""
    for_it = [clarity if shape == side else -clarity for shape, clarity in told]
    if float(np.mean(for_it)) > -parameters.capture.side_doubt:
        return []
    against = sum(value < 0 for value in for_it)
    text = (
        f"the file says {side}, but {against} of {len(told)} footprints look like the other "
        "foot: what depends on medial and lateral is withdrawn"
    )
    return [Doubt(Flag("side-doubtful", text, "removed"), SIDED_MEASURES)]


def _one_foot(
    side: Side,
    steps: Sequence[Step],
    recording: PressureRecording,
    rejected: Sequence[Rejected],
    doubts: Sequence[Doubt],
    parameters: Parameters,
    defs: MeasureDefs,
) -> Measured:
    results, more = _results(steps, recording, side, parameters)
    out = [*rejected, *more]
    doubts = [*doubts, *step_doubts(out, len(results), recording.load, parameters)]
    if not results:
        raise _nothing_usable(recording, out, parameters)
    force = float(np.median([step.force.max(initial=0.0) for step in steps]))
    sizes = {
        name: float(np.mean([result.values[name] for result in results]))
        for name in ("footprint-length", "footprint-width", "toe-out")
    }
    doubts += plausibility_doubts(force, sizes, recording, parameters)
    doubts += _light_doubts(force, recording, parameters)
    doubts += _pace_doubts(results, recording, parameters)
    names = sorted({name for result in results for name in result.values})
    strides = {n: tuple(r.values[n] for r in results if n in r.values) for n in names}
    # A region that bears in some steps only is the flank of another: its mean cannot be told.
    told = {n: v for n, v in strides.items() if len(v) == len(results)}
    length = sizes["footprint-length"]
    budgets = {n: _budget(n, v, length, recording, parameters, defs) for n, v in told.items()}
    measures = [_measure(n, side, v, recording, budgets[n]) for n, v in told.items()]
    measures += _pattern(results, side, recording, parameters)
    return Measured(
        kind="pressure",
        file=recording.name,
        sha256="",
        side=side,
        gait=recording.gait,
        condition=recording.condition,
        load=recording.load,
        n=len(results),
        measures=apply_doubts(measures, doubts),
        flags=tuple(doubt.flag for doubt in doubts),
        strides=strides,
        curves=_curves(results),
        picture=_picture(results),
        budgets=budgets,
        device=recording.device,
        date=recording.date,
    )


def _pace_doubts(
    results: Sequence[StepResult], recording: PressureRecording, parameters: Parameters
) -> list[Doubt]:
    """Doubts about times and about how the foot lands."""
    if recording.load == "static":
        return []
    seconds = float(np.mean([result.values["contact-time"] for result in results]))
    rests = ("contact-time", "integral-", "cpei", "cop-")
    doubts = time_doubts(seconds, recording.rate_hz, recording.gait, rests, parameters)
    doubts = doubts or _too_slow(seconds, recording.rate_hz, parameters)
    paths = [r.path[:, 1] / r.values["footprint-length"] for r in results if r.path is not None]
    if paths and float(np.mean([path[0] for path in paths])) > parameters.capture.late_start:
        text = "the load begins in front of the heel: no heel strike, so no excursion index"
        concerns: tuple[str, ...] = ("cpei", "cop-")
        if not any(_heel_bears(result, parameters) for result in results):
            text += "; the heel never bore, so no thirds of the foot"
            concerns += ("arch-index", "chippaux", "staheli", "footprint-length")
        doubts.append(Doubt(Flag("no-heel-strike", text, "removed"), concerns))
    if recording.gait == "running":
        text = "a footprint of running is broader under the arch than one of walking"
        concerns = ("arch-index", "chippaux", "staheli")
        doubts.append(Doubt(Flag("running-footprint", text), concerns))
    return doubts


def _light_doubts(
    force_n: float, recording: PressureRecording, parameters: Parameters
) -> list[Doubt]:
    """A child bears so little that the ends of its path are left out with what is trimmed."""
    trimmed = parameters.capture.trim_force
    if recording.load == "static" or trimmed <= parameters.capture.trim_most * force_n:
        return []
    text = f"the foot bears {force_n:.0f} N: too little for a path that begins at {trimmed:g} N"
    return [Doubt(Flag("too-light-for-path", text, "removed"), ("cpei", "cop-"))]


def _heel_bears(result: StepResult, parameters: Parameters) -> bool:
    """Whether the rear of a print bears as a heel does, and not as the end of a midfoot."""
    print_ = result.footprint
    rear = print_.cells[..., 1] < parameters.capture.heel_share * print_.frame.length_mm
    highest = float(print_.peak.max())
    return float(print_.peak[rear].max()) >= parameters.capture.heel_least * highest


def _too_slow(seconds: float, rate_hz: float, parameters: Parameters) -> list[Doubt]:
    """What so few frames in a step cannot tell, with the rate that could."""
    needed = parameters.capture.frames_path
    if seconds * rate_hz >= needed:
        return []
    rate = 10 * math.ceil(needed / seconds / 10)
    text = f"{rate_hz:g} frames a second are too few for a path of load; {rate} would do"
    return [Doubt(Flag("rate-too-low-for-path", text, "removed"), _PACED)]


def _results(
    steps: Sequence[Step],
    recording: PressureRecording,
    side: Side,
    parameters: Parameters,
) -> tuple[list[StepResult], list[Rejected]]:
    results, rejected = [], []
    for number, step in enumerate(steps, start=1):
        try:
            results.append(measure_step(step, recording, side, parameters))
        except InputError:
            raise
        except RecommendError as error:
            rejected.append(Rejected(number, "partial-contact", str(error)))
    return results, rejected


def _measure(
    name: str, side: Side, values: Sequence[float], recording: PressureRecording, budget: Budget
) -> Measure:
    """Mean over steps with its error."""
    _, unit = _kind(name)
    public = name
    qualifiers: dict[str, str] = {"load": recording.load}
    if name.startswith("arch-index"):
        weighted = name.endswith("weighted")
        public = "arch-index"
        qualifiers["kind"] = "pressure-weighted" if weighted else "pressure-sensor"
    steps = f"mean of {len(values)} steps on the mat"
    method = steps if len(values) > 1 else "one footprint on the mat"
    mean = float(np.mean(values))
    return Measure(public, side, mean, unit, budget.total, len(values), method, qualifiers)


def _kind(name: str) -> tuple[str, str]:
    return next(entry for entry in _KINDS if name.startswith(entry[0]))


def _budget(
    name: str,
    values: Sequence[float],
    length_mm: float,
    recording: PressureRecording,
    parameters: Parameters,
    defs: MeasureDefs,
) -> Budget:
    """What the error of the mean of a measure over steps is made of.

    A sensor is a larger part of a child's foot: what is no length errs by so much more.
    """
    kind, _ = _kind(name)
    mean = float(np.mean(values))
    usual = _usual_spread(kind, mean, parameters, defs)
    scatter = scatter_error(values, single=usual, few=parameters.noise.few_strides)
    grid = _grid_error(kind, mean, parameters) * max(recording.pitch_mm)
    if length_mm < parameters.capture.small_length and kind not in ("footprint-", "cop-"):
        grid *= parameters.capture.footprint_usual / length_mm
    terms = {"scatter": scatter, "grid": grid}
    if kind in _PACED:
        # Of a path the first and last sample matter, and they come up to one frame late.
        terms["rate"] = parameters.capture[f"rate-{kind.rstrip('-')}"] / recording.rate_hz
    return Budget(terms)


def _usual_spread(kind: str, mean: float, parameters: Parameters, defs: MeasureDefs) -> float:
    """Usual error of one step: from the measure's definition when it has one."""
    known = defs.get(kind)
    if known is not None and known.error is not None:
        return known.error.single
    return parameters.capture[f"usual-{kind.rstrip('-')}"] * _unit_of_share(kind, mean)


def _grid_error(kind: str, mean: float, parameters: Parameters) -> float:
    """Error per mm of sensor pitch."""
    return parameters.capture[f"grid-{kind.rstrip('-')}"] * _unit_of_share(kind, mean)


def _unit_of_share(kind: str, mean: float) -> float:
    """Spreads of loads, areas and times are given as shares of the mean, others in the unit."""
    return abs(mean) if kind in _SHARES else 1.0


def _pattern(
    results: Sequence[StepResult],
    side: Side,
    recording: PressureRecording,
    parameters: Parameters,
) -> list[Measure]:
    """Drift class of the mean path, and a flag when single steps fall into other classes."""
    paths = [result.path for result in results if result.path is not None]
    if not paths:
        return []
    length = float(np.mean([r.values["footprint-length"] for r in results]))
    width = float(np.mean([r.values["footprint-width"] for r in results]))
    word = drift_class(np.mean(paths, axis=0), length, width, parameters)
    same = sum(drift_class(path, length, width, parameters) == word for path in paths)
    measure = Measure(
        "cop-pattern",
        side,
        word,
        "class",
        None,
        len(paths),
        f"mean path of {len(paths)} steps on the mat",
    )
    apart = [drift_percent(path, length, width) for path in paths]
    others = _within_error(apart, recording, parameters) - {word}
    if others:
        text = f"within the error it could be {' or '.join(sorted(others))}"
        measure = measure.flagged(Flag("cop-pattern-near-limit", text))
    if same < len(paths):
        text = f"{same} of {len(paths)} steps show this pattern, the others another"
        measure = measure.flagged(Flag("cop-pattern-unsteady", text))
    return [measure]


def _within_error(
    apart: Sequence[tuple[float, float]],
    recording: PressureRecording,
    parameters: Parameters,
) -> set[str]:
    """Classes that the mean of some paths has within its 95 % error, drift by drift."""
    table = np.array(apart)
    grid = parameters.capture.grid_cpei * max(recording.pitch_mm)
    few = parameters.noise.few_strides
    errors = [
        math.hypot(scatter_error(list(map(float, one)), single=0.0, few=few), grid)
        for one in table.T
    ]
    mean, reach = table.mean(axis=0), 1.96 * np.array(errors)
    moves = [np.array([0.0, 0.0]), *(sign * reach * unit for sign in (-1, 1) for unit in np.eye(2))]
    places = [mean + move for move in moves]
    return {drift_word(float(at[0]), float(at[1]), parameters) for at in places}


def _curves(results: Sequence[StepResult]) -> dict[str, Curve]:
    paths = [r.path for r in results if r.path is not None]
    forces = [r.force for r in results if r.force is not None]
    if not paths:
        return {}
    return {"cop": average(paths, "mm"), "force": average(forces, "N")}


def _picture(results: Sequence[StepResult]) -> FootPicture:
    """Mean of the steps' footprints on one grid along the foot axis, half a sensor apart."""
    pitch = min(results[0].footprint.pitch_mm)
    cells = [foot_map(r.footprint.peak, r.footprint.pitch_mm, r.footprint.frame) for r in results]
    low = min(float(c.x[0]) for c in cells)
    high = max(float(c.x[-1]) for c in cells)
    front = max(float(c.y[-1]) for c in cells)
    x = np.arange(low, high + pitch / 4, pitch / 2)
    y = np.arange(-pitch / 2, front + pitch / 4, pitch / 2)
    total = np.zeros((len(y), len(x)))
    for result in results:
        print_ = result.footprint
        total += foot_map(print_.peak, print_.pitch_mm, print_.frame, (x, y)).pressure
    mean = {
        name: float(np.mean([r.values[name] for r in results]))
        for name in ("footprint-length", "footprint-width")
    }
    toeless = float(np.mean([r.footprint.toeless_mm for r in results]))
    return FootPicture(
        x, y, total / len(results), mean["footprint-length"], toeless, mean["footprint-width"]
    )
