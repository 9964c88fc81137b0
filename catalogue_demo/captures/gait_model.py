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
    peak_at: float = 0.35
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
    """True measures: angle at touchdown, peak of contact, means of midstance and propulsion."""
    share = np.linspace(0, 1, 10001)
    angle = angle_over_stance(gait, share)
    first, second = PHASE_ENDS
    contact = float(angle[share <= first].max())
    return {
        "touchdown-angle": gait.touchdown,
        "contact-angle": contact,
        "midstance-angle": float(angle[(share > first) & (share <= second)].mean()),
        "propulsion-angle": float(angle[share > second].mean()),
        "rearfoot-range": contact - gait.touchdown,
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

    Strides differ by `spread_deg`; each click is off by `click_px`; the camera leans `roll_deg`.
    """
    pieces, contact = [], []
    for number in range(strides + 1):
        swing = round(gait.swing_s * gait.rate * (1 + 0.02 * rng.standard_normal()))
        pieces.append(_swing(gait, swing, gait.late, gait.touchdown))
        contact.append(np.zeros(swing, dtype=bool))
        if number < strides:
            stance = round(gait.stance_s * gait.rate * (1 + 0.02 * rng.standard_normal()))
            share = np.linspace(0, 1, stance)
            angle = angle_over_stance(gait, share) + spread_deg * rng.standard_normal()
            rise = _heel_height((share - _RISE_FROM) / _RISE_TAKES)
            pieces.append(np.column_stack([angle, rise]))
            contact.append(np.ones(stance, dtype=bool))
    motion = np.concatenate(pieces)
    marks = _project(gait, motion[:, 0], motion[:, 1]) * px_per_mm
    turn = np.radians(roll_deg)
    rolled = marks @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    clicked = rolled + click_px * rng.standard_normal(rolled.shape)
    return clicked, np.concatenate(contact)


def _heel_height(share: np.ndarray) -> np.ndarray:
    """Height of the heel in mm while it rises, `share` of the rise from 0 to 1."""
    u = np.clip(share, 0, 1)
    return HEEL_RISE_MM * u**2 * (3 - 2 * u)


def _swing(gait: Gait, frames: int, start: float, end: float) -> np.ndarray:
    """The heel goes on to its highest point, a little after the toe has left, and comes down."""
    share = (np.arange(frames) + 1) / (frames + 1)
    angle = start + (end - start) * share
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
