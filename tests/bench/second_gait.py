"""A second invented leg on film, beside the one of the demo: other curves, three dimensions.

Written from the description of the task alone, before and apart from the code that measures.
The rearfoot angle of a stride runs through knots by a monotone cubic and meets the ground with a
kink; leg and heel are lines in space that also tip forward and back, the foot may point outwards
from the line of the camera, and each mark sits a little off the line it stands for, the same way
all through a film. The truth is what a camera in the foot's own line would see without any of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

LEG_MM, HEEL_MM = 150.0, 46.0
PX_PER_MM = 1.5
_TRUE_STRIDES = 150  # the truth is the person's mean, not that of the strides that were filmed


@dataclass(frozen=True)
class Person:
    """How one invented leg moves: means over strides; angles in degrees, eversion positive."""

    side: str
    gait: str
    touchdown: float
    range_: float
    peak_at: float
    back: float  # how far it has come back at the end of stance
    stance_s: float
    swing_s: float
    leg_lean: float
    toe_out: float = 0.0

    @classmethod
    def walker(cls, rng: np.random.Generator, toe_out: float = 0.0) -> Person:
        """A walking adult: ranges and times about those that are published."""
        return cls(
            ("left", "right")[int(rng.integers(2))], "walking", rng.normal(0, 2.5),
            max(rng.normal(6, 2), 1.5), float(np.clip(rng.normal(0.38, 0.12), 0.15, 0.75)),
            max(rng.normal(6, 2.5), 1.5), rng.normal(0.68, 0.05), rng.normal(0.42, 0.03),
            rng.normal(3, 2), toe_out,
        )  # fmt: skip

    @classmethod
    def runner(cls, rng: np.random.Generator, toe_out: float = 0.0) -> Person:
        """A running adult: more range, in a third of the time."""
        return cls(
            ("left", "right")[int(rng.integers(2))], "running", rng.normal(-4, 2.5),
            max(rng.normal(12.5, 3), 5), float(np.clip(rng.normal(0.42, 0.06), 0.28, 0.60)),
            rng.normal(12, 3), rng.normal(0.25, 0.025), rng.normal(0.46, 0.03), rng.normal(7, 2),
            toe_out,
        )  # fmt: skip


@dataclass(frozen=True)
class Film:
    """What a camera saw: marks (frames, 4, 2) in px, contact (frames,), the truth by measure."""

    points: np.ndarray
    contact: np.ndarray
    truth: dict[str, float]


def curve_of(person: Person, rng: np.random.Generator, spread: float) -> PchipInterpolator:
    """The angle of one stride over its stance, 0 to 1."""
    shift, stretch = spread * rng.standard_normal(2)
    begin = person.touchdown + shift
    peak = begin + person.range_ * (1 + 0.06 * stretch)
    end = peak - person.back
    at = float(np.clip(person.peak_at + 0.03 * spread * rng.standard_normal(), 0.12, 0.8))
    knots = [0.0, 0.45 * at, at, at + 0.55 * (1 - at), 1.0]
    fall = 0.45 if person.gait == "walking" else 0.55
    angles = [begin, begin + 0.66 * (peak - begin), peak, peak - fall * person.back, end]
    return PchipInterpolator(knots, angles)


def film(
    person: Person,
    strides: int,
    rate: float,
    rng: np.random.Generator,
    *,
    spread: float = 0.8,
    click_px: float = 0.5,
    placing_mm: float = 0.7,
    sight_deg: float = 0.0,
) -> Film:
    """Film some strides at `rate` frames a second; `sight_deg` is the camera's own misaiming."""
    curves = [curve_of(person, rng, spread) for _ in range(strides)]
    stances = person.stance_s * (1 + 0.02 * rng.standard_normal(strides))
    swings = person.swing_s * (1 + 0.02 * rng.standard_normal(strides + 1))
    begins = np.concatenate([[0.0], np.cumsum(swings[:-1] + stances)])
    end = begins[-1] + swings[-1]
    times = rng.uniform(0, 1 / rate) + np.arange(int(end * rate) - 1) / rate
    states = _states(person, curves, begins, swings, stances, times)
    down = states[:, 5] > 0
    placing = placing_mm * rng.standard_normal((4, 2)) * [1.0, 0.3]
    yaw = person.toe_out + sight_deg
    marks = _seen(person, states, yaw) + placing
    points = marks * PX_PER_MM + click_px * rng.standard_normal(marks.shape)
    many = [curve_of(person, rng, spread) for _ in range(_TRUE_STRIDES)]
    return Film(points, down, _truth(many) | {"contact-time": person.stance_s})


def _states(person, curves, begins, swings, stances, times: np.ndarray) -> np.ndarray:
    """(frames, 6) angle, heel height, pitch of heel, sagittal lean of leg, leg lean, contact."""
    out = np.empty((len(times), 6))
    stride = np.searchsorted(begins, times, side="right") - 1
    into = times - begins[stride]
    for i in range(len(swings)):
        mine = stride == i
        ground = mine & (into >= swings[i]) & (i < len(curves))
        air = mine & ~ground
        before = float(curves[i - 1](1.0)) if i else person.touchdown
        after = float(curves[i](0.0)) if i < len(curves) else person.touchdown
        s = np.clip(into[air] / swings[i], 0.0, 1.0)
        knots = [before, (before + after) / 2 - 2.0, after]
        angle = PchipInterpolator([0, 0.6, 1.0], knots)(s)
        out[air] = np.column_stack([angle, *_air(person, s), np.zeros_like(s)])
        if ground.any():
            s = (into[ground] - swings[i]) / stances[i]
            out[ground] = np.column_stack([curves[i](s), *_ground(person, s), np.ones_like(s)])
    return out


def _ground(person: Person, s: np.ndarray) -> list[np.ndarray]:
    """Heel height, pitch, sagittal lean of the leg, leg lean, on the ground."""
    walking = person.gait == "walking"
    strike, off = (18.0, 0.58) if walking else (8.0, 0.50)
    u = np.clip((s - off) / (1 - off), 0, None)
    # walking: the heel rises fastest a little before the toe leaves, as an open recording shows
    rise = 52.0 * (u**1.6 * (1.55 - 0.55 * u) if walking else u**1.5)
    pitch = np.where(s < 0.12, -strike * (1 - s / 0.12), rise)
    height = 170.0 * np.sin(np.radians(np.maximum(pitch, 0.0)))
    return [height, pitch, -15 + 45 * s, np.full_like(s, person.leg_lean)]


def _air(person: Person, s: np.ndarray) -> list[np.ndarray]:
    """The same in the air; the heel comes down at a speed that the ground stops."""
    top = 170.0 * np.sin(np.radians(52.0))
    strike, more, high_at = (18.0, 14.0, 0.11) if person.gait == "walking" else (8.0, 180.0, 0.25)
    rise = top + more * np.sin(np.pi / 2 * np.minimum(s / high_at, 1.0))
    fall = (top + more) * np.clip((1 - s) / (0.95 - high_at), 0, 1) ** 1.25
    height = np.where(s < high_at, rise, np.minimum(rise, fall))
    pitch = 52.0 + (-strike - 52.0) * (0.5 - 0.5 * np.cos(np.pi * s))
    return [height, pitch, 30.0 - 45.0 * s, np.full_like(s, person.leg_lean)]


def _seen(person: Person, states: np.ndarray, yaw: float) -> np.ndarray:
    """(frames, 4, 2) in mm seen from behind: upper leg, lower leg, upper heel, lower heel."""
    sign = 1.0 if person.side == "left" else -1.0  # medial is to the right of a left foot
    angle, height, pitch, sagittal, lean = (states[:, k] for k in range(5))
    ankle = np.column_stack([np.zeros_like(height), height + 82.0])
    leg = _seen_line(lean, sagittal, 0.0)
    heel = _seen_line(lean + angle, pitch, yaw)
    leg[:, 0] *= sign
    heel[:, 0] *= sign
    return np.stack(
        [
            ankle + (LEG_MM + 40) * leg,
            ankle + 40 * leg,
            ankle - 14 * heel,
            ankle - (14 + HEEL_MM) * heel,
        ],
        axis=1,
    )


def _line(frontal: np.ndarray, forward: np.ndarray, yaw: float) -> np.ndarray:
    """(n, 2) medial and up of a unit line that leans medially, then tips forward, then turns."""
    e, p, w = np.radians(frontal), np.radians(forward), np.radians(yaw)
    across, along, up = np.sin(e), np.cos(e) * np.sin(p), np.cos(e) * np.cos(p)
    return np.column_stack([np.cos(w) * across - np.sin(w) * along, up])


def _seen_line(lean: np.ndarray, pitch: np.ndarray, yaw: float) -> np.ndarray:
    """A line that leans by exactly `lean` for a camera in its own line, whatever its pitch."""
    frontal = np.arctan(np.tan(np.radians(lean)) * np.cos(np.radians(pitch)))
    return _line(np.degrees(frontal), pitch, yaw)


def _truth(curves: list[PchipInterpolator]) -> dict[str, float]:
    s = np.linspace(0, 1, 2001)
    all_ = np.array([c(s) for c in curves])
    peak = all_.max(axis=1)
    late = all_[:, s > 0.67].mean(axis=1)
    middle = all_[:, (s > 0.27) & (s <= 0.67)].mean(axis=1)
    means = {
        "touchdown-angle": all_[:, 0],
        "peak-angle": peak,
        "peak-time": 100 * s[all_.argmax(axis=1)],
        "rearfoot-range": peak - all_[:, 0],
        "midstance-angle": middle,
        "propulsion-angle": late,
        "rearfoot-return": peak - late,
    }
    return {name: float(values.mean()) for name, values in means.items()}
