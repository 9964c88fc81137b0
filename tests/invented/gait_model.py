"""Invented marks on leg and heel over some strides, with the true angles known beforehand.

A leg and a heel are two lines that lean as simple functions of stance say; marks are set on them,
projected as a camera behind the person sees them, and disturbed as clicking disturbs them. The
true per-phase angles come from the functions. Invented: the curves look like walking, not data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

HEEL_RISE_MM = 205.0
_RISE_FROM, _RISE_TAKES = 0.70, 0.36  # shares of stance: the heel is highest after toe-off
PHASE_ENDS = (0.27, 0.67)  # textbook ends of contact and midstance as shares of stance


@dataclass(frozen=True)
class Gait:
    """An invented walking leg seen from behind.

    `touchdown`, `peak`, `late`: leg-heel angle in degrees (eversion positive) at first contact,
    at its peak and at the end of stance; `peak_at`: share of stance of the peak.
    """

    side: str = "left"
    touchdown: float = -1.0
    peak: float = 5.0
    peak_at: float = 0.38  # mean time of maximum pronation, McPoil TG, Cornwall MW 1994
    late: float = -2.0
    leg_lean: float = 4.0
    stance_s: float = 0.68
    swing_s: float = 0.42
    rate: float = 100.0


def angle_over_stance(gait: Gait, share: np.ndarray) -> np.ndarray:
    """Leg-heel angle in degrees at `share` of stance, 0 to 1."""
    up = np.clip(share / gait.peak_at, 0, 1)
    down = np.clip((share - gait.peak_at) / (1 - gait.peak_at), 0, 1)
    rise = gait.touchdown + (gait.peak - gait.touchdown) * (1 - np.cos(np.pi * up)) / 2
    return rise + (gait.late - gait.peak) * (1 - np.cos(np.pi * down)) / 2


def truth(gait: Gait) -> dict[str, float]:
    """True measures over the whole stance; `contact-angle` is the largest of its first part."""
    share = np.linspace(0, 1, 10001)
    angle = angle_over_stance(gait, share)
    first, second = PHASE_ENDS
    late = float(angle[share > second].mean())
    return {
        "touchdown-angle": gait.touchdown,
        "peak-angle": float(angle.max()),
        "peak-time": 100.0 * float(share[np.argmax(angle)]),
        "rearfoot-range": float(angle.max()) - gait.touchdown,
        "contact-angle": float(angle[share <= first].max()),
        "midstance-angle": float(angle[(share > first) & (share <= second)].mean()),
        "propulsion-angle": late,
        "rearfoot-return": float(angle.max()) - late,
    }


def film(
    gait: Gait,
    strides: int,
    rng: np.random.Generator,
    *,
    spread_deg: float = 0.8,
    click_px: float = 0.4,
    px_per_mm: float = 1.5,
    roll_deg: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Marks (frames, 4, 2) in px, x right and y up, and contact (frames,) of some strides.

    Contacts begin and end between frames, as they do. Strides differ by `spread_deg`; each click
    is off by `click_px`; the camera leans `roll_deg`.
    """
    swings = gait.swing_s * (1 + 0.02 * rng.standard_normal(strides + 1))
    stances = gait.stance_s * (1 + 0.02 * rng.standard_normal(strides))
    offsets = spread_deg * rng.standard_normal(strides)
    begins = np.concatenate([[0.0], np.cumsum(swings[:-1] + stances)])  # of each swing
    times = np.arange(1, int((begins[-1] + swings[-1]) * gait.rate)) / gait.rate
    stride = np.searchsorted(begins, times, side="right") - 1
    into = times - begins[stride]
    down = into >= swings[stride]
    motion = _swing(gait, np.clip(into / swings[stride], 0.0, 1.0))
    share = (into - swings[stride])[down] / stances[stride[down]]
    motion[down, 0] = angle_over_stance(gait, share) + offsets[stride[down]]
    motion[down, 1] = _heel_height((share - _RISE_FROM) / _RISE_TAKES)
    marks = _project(gait, motion[:, 0], motion[:, 1]) * px_per_mm
    turn = np.radians(roll_deg)
    rolled = marks @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    clicked = rolled + click_px * rng.standard_normal(rolled.shape)
    return clicked, down


def _heel_height(share: np.ndarray) -> np.ndarray:
    """Height of the heel in mm while it rises, `share` of the rise from 0 to 1."""
    u = np.clip(share, 0, 1)
    return HEEL_RISE_MM * u**2 * (3 - 2 * u)


def _swing(gait: Gait, share: np.ndarray) -> np.ndarray:
    """The heel goes on to its highest point, a little after the toe has left, and comes down."""
    angle = gait.late + (gait.touchdown - gait.late) * share
    at_toe_off = (1 - _RISE_FROM) / _RISE_TAKES
    up = _heel_height(at_toe_off + share * gait.swing_s / (_RISE_TAKES * gait.stance_s))
    down = np.clip((1 - share) / 0.75, 0, 1)
    return np.column_stack([angle, np.minimum(up, HEEL_RISE_MM * down**2 * (3 - 2 * down))])


def _project(gait: Gait, angle: np.ndarray, height: np.ndarray) -> np.ndarray:
    """(frames, 4, 2) of upper leg, lower leg, upper heel, lower heel in mm from behind."""
    medial = 1.0 if gait.side == "left" else -1.0
    leg = np.radians(np.full_like(angle, gait.leg_lean))
    heel = leg + np.radians(angle)
    joint = np.column_stack([np.zeros_like(height), height + 75.0])

    def along(origin: np.ndarray, lean: np.ndarray, length: float) -> np.ndarray:
        return origin + length * np.column_stack([medial * np.sin(lean), np.cos(lean)])

    return np.stack(
        [
            along(joint, leg, 190.0),
            along(joint, leg, 50.0),
            along(joint, heel, -10.0),
            along(joint, heel, -55.0),
        ],
        axis=1,
    )
