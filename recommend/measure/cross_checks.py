"""One source held against another: force against body mass, mat against foot length and film."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from recommend.measure.doubts import Doubt, apply_doubts
from recommend.measure.measured import Measured
from recommend.measure.model import Flag, Measure
from recommend.measure.plausible import likely_unit
from recommend.parameters import Parameters
from recommend.visit.models import Visit

_GRAVITY = 9.81
_OF_CONTACT = ("arch-index", "chippaux", "staheli", "cpei", "cop-", "footprint-length")
# What leans with the heel while it is tipped, and the parameter that says how much.
_TIPPED = {
    "touchdown-angle": "landing",
    "rearfoot-range": "landing",
    "propulsion-angle": "propulsion",
    "rearfoot-return": "propulsion",
}


def cross_checked(
    found: Sequence[Measured], visit: Visit, parameters: Parameters
) -> list[Measured]:
    """The captures with what the visit, and the other captures, make doubtful about them."""
    out = []
    for one in found:
        doubts = list(_pressure_doubts(one, visit, parameters) if one.kind == "pressure" else ())
        measures = apply_doubts(one.measures, doubts)
        flags = (*one.flags, *(doubt.flag for doubt in doubts))
        one = replace(one, measures=measures, flags=flags)
        out.append(_turned_out(one, found, parameters) if one.kind == "marks" else one)
    return out


def _pressure_doubts(one: Measured, visit: Visit, parameters: Parameters) -> Iterator[Doubt]:
    force = one.curves.get("force")
    if visit.body_mass_kg and force is not None:
        yield from _mass_doubts(one, float(np.max(force.mean)), visit.body_mass_kg, parameters)
    foot = visit.feet.left if one.side == "left" else visit.feet.right
    length = one.find("footprint-length")
    if foot.foot_length_mm and length is not None:
        share = float(length.value) / foot.foot_length_mm
        least, most = (parameters.capture[f"footprint-share-{end}"] for end in ("least", "most"))
        text = (
            f"the footprint is {float(length.value):.0f} mm long on a foot of "
            f"{foot.foot_length_mm:g}"
        )
        if share > most:
            flag = Flag("longer-than-foot", f"{text}; check `pitch-mm`", "removed")
            yield Doubt(flag, ("footprint-", "cop-"))
        if share < parameters.capture.footprint_share_half:
            text += ", about half of it; check `pitch-mm`"
            yield Doubt(Flag("shorter-than-foot", text, "removed"), ("footprint-", "cop-"))
        elif share < least:
            flag = Flag("shorter-than-foot", f"{text}: heel or toes never touched", "removed")
            yield Doubt(flag, _OF_CONTACT)


def _mass_doubts(
    one: Measured, force: float, mass: float, parameters: Parameters
) -> Iterator[Doubt]:
    gait = "running" if one.gait == "running" else "walking"
    share = force / (mass * _GRAVITY)
    least, most = (parameters.capture[f"weight-{end}-{gait}"] for end in ("least", "most"))
    if least <= share <= most:
        return
    text = f"the foot bears {force:.0f} N, {share:.2f} times the body weight; check `unit`"
    if unit := likely_unit(share, least, most):
        yield Doubt(Flag("unit-doubtful", f"{text}: {unit} would fit", "removed"))
        return
    loads = ("peak-", "integral-", "arch-index")
    yield Doubt(Flag("force-unlike-weight", f"{text} and the mass", "removed"), loads)


def _turned_out(one: Measured, found: Sequence[Measured], parameters: Parameters) -> Measured:
    """Errors of a film whose foot the mat shows turned out, where the film does not say it."""
    mat = next((m.find("toe-out") for m in found if m.kind == "pressure" and m.side == one.side),
               None)  # fmt: skip
    stated = any(flag.name.startswith("foot-turned") for flag in one.flags)
    if mat is None or stated or abs(float(mat.value)) < parameters.capture.toe_out_noted:
        return one
    out = abs(float(mat.value))
    text = f"the mat shows the foot turned out by {out:.0f} degrees, the film does not say it"
    flag = Flag("turned-out-on-mat", text, "widened")
    measures = tuple(_widened(m, out, flag, parameters) for m in one.measures)
    return replace(one, measures=measures, flags=(*one.flags, flag))


def _widened(measure: Measure, out: float, flag: Flag, parameters: Parameters) -> Measure:
    when = _TIPPED.get(measure.name)
    if when is None or not measure.error:
        return measure
    added = parameters.capture[f"toe-out-{when}"] * out / math.sqrt(3.0)
    return measure.flagged(flag, widen=math.hypot(measure.error, added) / measure.error)
