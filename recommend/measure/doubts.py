"""Doubts about a capture: what each does to measures, and those that any kind of capture can raise.

Contact times and forces that no one has tell that a rate, a gait or a unit is written wrongly. One
source is held against another: force against body mass, mat against foot length and film.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from recommend.measure.measured import Measured
from recommend.measure.model import Flag, Measure
from recommend.parameters import Capture
from recommend.visit.models import Visit

if TYPE_CHECKING:
    from recommend.measure.pressure.recording import PressureRecording
    from recommend.measure.video.recording import MarksRecording

    Recording = PressureRecording | MarksRecording

EVERYTHING: tuple[str, ...] = ("",)
# Rates that cameras and mats are sold with, to name one that would fit.
_RATES: Final = (24, 25, 30, 50, 60, 90, 100, 120, 200, 240, 250, 300, 400, 500)
# How often a rate is written that is not that of the recording: slow motion, or a setting halved.
_TIMES: Final = (0.125, 0.25, 0.5, 2.0, 4.0, 8.0)
# What numbers are that are right if taken so many times, where kPa or N/cm2 was written.
_UNITS: Final = ((10.0, "N/cm2"), (0.1, "kPa"), (1000.0, "MPa"), (0.001, "Pa"))
_GRAVITY = 9.81
_OF_CONTACT = ("arch-index", "chippaux", "staheli", "cpei", "cop-", "footprint-length")
# What leans with the heel while it is tipped, and the parameter that says how much.
_TIPPED = {
    "touchdown-angle": "landing",
    "rearfoot-range": "landing",
    "propulsion-angle": "propulsion",
    "rearfoot-return": "propulsion",
}


@dataclass(frozen=True, slots=True)
class Doubt:
    """A flag, the measures it concerns and how much it widens their error.

    Attributes
    ----------
    flag : what is doubted; its effect ``removed`` withdraws the measures concerned.
    concerns : beginnings of the names of the measures concerned; ``("",)`` means all.
    widen : factor on their error when the flag's effect is ``widened``.
    """

    flag: Flag
    concerns: tuple[str, ...] = EVERYTHING
    widen: float = 1.0

    def touches(self, measure: Measure) -> bool:
        """Whether `measure` is concerned."""
        return measure.name.startswith(self.concerns)


def noted(name: str, text: str, concerns: tuple[str, ...] = EVERYTHING) -> Doubt:
    """A doubt that lets value and error stand."""
    return Doubt(Flag(name, text), concerns)


def widened(
    name: str, text: str, widen: float = 1.0, concerns: tuple[str, ...] = EVERYTHING
) -> Doubt:
    """A doubt that makes errors `widen` times as large."""
    return Doubt(Flag(name, text, "widened"), concerns, widen)


def removed(name: str, text: str, concerns: tuple[str, ...] = EVERYTHING) -> Doubt:
    """A doubt that withdraws measures."""
    return Doubt(Flag(name, text, "removed"), concerns)


def apply_doubts(measures: Iterable[Measure], doubts: Sequence[Doubt]) -> tuple[Measure, ...]:
    """The measures with their flags and widened errors; those removed are left out.

    A class has no error to widen; it keeps the flag.
    """
    kept = []
    for measure in measures:
        mine = [doubt for doubt in doubts if doubt.touches(measure)]
        if any(doubt.flag.effect == "removed" for doubt in mine):
            continue
        for doubt in mine:
            measure = measure.flagged(doubt.flag, widen=doubt.widen)
        kept.append(measure)
    return tuple(kept)


def measured_with(
    doubts: Sequence[Doubt], measures: Iterable[Measure], recording: Recording, **more: Any
) -> Measured:
    """What a recording yields with all that is doubted of it; `more` are fields of `Measured`."""
    return Measured(
        file=recording.name,
        sha256="",
        gait=recording.gait,
        condition=recording.condition,
        measures=apply_doubts(measures, doubts),
        flags=tuple(doubt.flag for doubt in doubts),
        device=recording.device,
        date=recording.date,
        **more,
    )


def too_few(what: str, used: int, wanted: float, needed: float, capture: Capture) -> list[Doubt]:
    """The doubt of fewer strides or steps than are `wanted`; fewer than `needed` widen too."""
    if used >= wanted:
        return []
    name, text = f"too-few-{what}", f"{used} {what}; {wanted:g} give a steady mean"
    few = used < needed
    return [widened(name, text, capture.few_widening) if few else noted(name, text)]


def rate_too_low(
    name: str, recording: Recording, needed_hz: float, what: str, concerns: tuple[str, ...]
) -> Doubt:
    """The doubt of a rate at which `what` cannot be read, with one that would do."""
    rate = 10 * math.ceil(needed_hz / 10)
    text = f"{recording.rate_hz:g} frames a second are too few {what}; {rate} would do"
    return removed(name, text, concerns)


def wrong_pace(
    seconds: float, recording: Recording, capture: Capture, *, sure: bool = True
) -> str | None:
    """What is wrong with a mean contact time of `seconds`, and, if it is `sure`, what would fit."""
    rate_hz, rate_said = recording.rate_hz, recording.rate_said
    word = "running" if recording.gait == "running" else "walking"
    least, most = (capture[f"contact-{end}-{word}"] for end in ("least", "most"))
    if least <= seconds <= most:
        return None
    text = f"the foot is down for {seconds:.2f} s, which is not {word}; check {rate_said}"
    if not sure:
        return f"{text} ({rate_hz:g} a second now) and `gait`"
    slowest, fastest = (seconds * rate_hz / end for end in (most, least))
    known = [rate for rate in _RATES if slowest <= rate <= fastest]
    simple = [rate for rate in known if rate / rate_hz in _TIMES] or known
    middle = (slowest * fastest) ** 0.5
    likely = min(simple, key=lambda rate: abs(math.log(rate / middle))) if simple else None
    fits = f"{slowest:.0f} to {fastest:.0f} would fit{f', likely {likely}' if likely else ''}"
    return f"{text} ({rate_hz:g} a second now, {fits}) and `gait`"


def wrong_force(force_n: float, length_mm: float | None, capture: Capture) -> str:
    """What is wrong with a force that no walker has, and the unit that would fit; else nothing.

    Parameters
    ----------
    force_n : highest force of a step in N, or on the mat where no step was found.
    length_mm : of its footprint; None where it is not known.
    """
    least, most = capture.force_least, capture.force_most
    if length_mm is not None:
        least = max(least, capture.force_per_length * length_mm)
        most = min(most, capture.load_most * length_mm**2)
    if least <= force_n <= most:
        return ""
    said = f"{force_n:.0f}" if force_n >= 10 else f"{force_n:.2g}"
    text = f"the foot bears {said} N, which no walker does; check `unit` and `pitch-mm`"
    unit = _likely_unit(force_n, least, most)
    return f"{text} (the numbers look like {unit})" if unit else text


def _likely_unit(force: float, least: float, most: float) -> str:
    """The unit in which numbers that make this force would make one from `least` to `most`."""
    return next((name for factor, name in _UNITS if least <= factor * force <= most), "")


def cross_checked(found: Sequence[Measured], visit: Visit, capture: Capture) -> list[Measured]:
    """The captures with what the visit, and the other captures, make doubtful about them."""
    out = []
    for one in found:
        doubts = list(_pressure_doubts(one, visit, capture) if one.kind == "pressure" else ())
        measures = apply_doubts(one.measures, doubts)
        flags = (*one.flags, *(doubt.flag for doubt in doubts))
        one = replace(one, measures=measures, flags=flags)
        out.append(_turned_out(one, found, capture) if one.kind == "marks" else one)
    return out


def _pressure_doubts(one: Measured, visit: Visit, capture: Capture) -> Iterator[Doubt]:
    force = one.curves.get("force")
    if visit.body_mass_kg and force is not None:
        yield from _mass_doubts(one, float(np.max(force.mean)), visit.body_mass_kg, capture)
    foot = visit.feet.left if one.side == "left" else visit.feet.right
    length = one.find("footprint-length")
    if not foot.foot_length_mm or length is None:
        return
    mm = float(length.value)
    share = mm / foot.foot_length_mm
    text = f"the footprint is {mm:.0f} mm long on a foot of {foot.foot_length_mm:g}"
    if share > capture.footprint_share_most:
        yield removed("longer-than-foot", f"{text}; check `pitch-mm`", ("footprint-", "cop-"))
    if share < capture.footprint_share_half:
        text += ", about half of it; check `pitch-mm`"
        yield removed("shorter-than-foot", text, ("footprint-", "cop-"))
    elif share < capture.footprint_share_least:
        yield removed("shorter-than-foot", f"{text}: heel or toes never touched", _OF_CONTACT)


def _mass_doubts(one: Measured, force: float, mass: float, capture: Capture) -> Iterator[Doubt]:
    gait = "running" if one.gait == "running" else "walking"
    share = force / (mass * _GRAVITY)
    least, most = (capture[f"weight-{end}-{gait}"] for end in ("least", "most"))
    if least <= share <= most:
        return
    text = f"the foot bears {force:.0f} N, {share:.2f} times the body weight; check `unit`"
    if unit := _likely_unit(share, least, most):
        yield removed("unit-doubtful", f"{text}: {unit} would fit")
    else:
        loads = ("peak-", "integral-", "arch-index")
        yield removed("force-unlike-weight", f"{text} and the mass", loads)


def _turned_out(one: Measured, found: Sequence[Measured], capture: Capture) -> Measured:
    """Errors of a film whose foot the mat shows turned out, where the film does not say it."""
    mats = (other.find("toe-out") for other in found
            if other.kind == "pressure" and other.side == one.side)  # fmt: skip
    mat = next(mats, None)
    stated = any(flag.name.startswith("foot-turned") for flag in one.flags)
    if mat is None or stated or abs(float(mat.value)) < capture.toe_out_noted:
        return one
    out = abs(float(mat.value))
    text = f"the mat shows the foot turned out by {out:.0f} degrees, the film does not say it"
    flag = Flag("turned-out-on-mat", text, "widened")
    measures = tuple(_leaning(m, out, flag, capture) for m in one.measures)
    return replace(one, measures=measures, flags=(*one.flags, flag))


def _leaning(measure: Measure, out: float, flag: Flag, capture: Capture) -> Measure:
    when = _TIPPED.get(measure.name)
    if when is None or not measure.error:
        return measure
    added = capture[f"toe-out-{when}"] * out / math.sqrt(3.0)
    return measure.flagged(flag, widen=math.hypot(measure.error, added) / measure.error)
