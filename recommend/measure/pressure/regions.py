"""The footprint in ten regions, and what each bears."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from recommend.measure.phases import Phase, borders
from recommend.measure.pressure.footprint import Footprint, share_behind
from recommend.measure.pressure.recording import Frames
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]

REGIONS: Final = (
    "medial-heel",
    "lateral-heel",
    "medial-midfoot",
    "lateral-midfoot",
    "medial-forefoot",
    "central-forefoot",
    "lateral-forefoot",
    "hallux",
    "toes",
)
# Toes are a sensor or two wide; of the inner midfoot the flank of the outer is read in most feet.
UNTOLD: Final = ("toes", "medial-midfoot")


@dataclass(frozen=True, slots=True)
class RegionLoad:
    """What one region bears in one step.

    Attributes
    ----------
    peak_kpa : highest pressure of the region at any time, between sensors too.
    integral_kpa_s : highest pressure in the region at each instant, integrated over the step
        (the usual pressure-time integral).
    area_mm2 : contact area.
    """

    peak_kpa: float
    integral_kpa_s: float
    area_mm2: float


def region_labels(print_: Footprint, parameters: Parameters) -> NDArray[np.intp]:
    """(rows, columns) index into `REGIONS` of each loaded sensor, -1 without contact.

    Heel, midfoot and forefoot are the thirds of the toeless footprint. Heel and midfoot are
    halved by the foot axis, the forefoot is cut into three equal widths. Of the toes, those
    within ``capture.hallux-share`` of the forefoot's width from its medial border are the hallux.
    """
    x, y = print_.cells[..., 0], print_.cells[..., 1]
    contact = print_.weight > 0
    sole = contact & ~print_.toes
    third = np.clip((3.0 * y / print_.toeless_mm).astype(np.intp), 0, 2)
    fore = sole & (third == 2)
    across = x[fore] if fore.any() else x[contact]
    medial, width = float(across.min()), max(float(np.ptp(across)), 1.0)
    lateral = (x > 0).astype(np.intp)
    band = np.clip((3.0 * (x - medial) / width).astype(np.intp), 0, 2)
    labels = np.full(x.shape, -1, dtype=np.intp)
    labels[sole] = np.where(third < 2, 2 * third + lateral, 4 + band)[sole]
    hallux = x < medial + parameters.capture.hallux_share * width
    labels[print_.toes] = np.where(hallux, 7, 8)[print_.toes]
    return labels


def region_loads(
    frames: Frames, print_: Footprint, labels: NDArray[np.intp], rate_hz: float
) -> dict[str, RegionLoad]:
    """Load of each region over the frames of one step; regions without contact are left out."""
    loads = {}
    top = _between_sensors(print_.peak)
    for index, name in enumerate(REGIONS):
        inside = labels == index
        if inside.any():
            seen = frames[:, inside].astype(np.float64)
            peak = float(seen.max())
            more = float(top[inside][seen.max(axis=0) == peak].max())
            integral = float(_highest(seen).sum()) / rate_hz
            loads[name] = RegionLoad(
                peak_kpa=peak * more,
                integral_kpa_s=integral * more,
                area_mm2=float(print_.weight[inside].sum()) * print_.cell_mm2,
            )
    return loads


def _highest(seen: FloatArray) -> FloatArray:
    """(time,) reading of the sensor that bears most, of (time, sensors).

    The highest of many noisy readings is too high, so that which sensor it is comes from the
    frames before and after; where some are equal there, it is their mean.
    """
    highest = seen.max(axis=1)
    if len(seen) > 2:
        around = seen[:-2] + seen[2:]
        which = around == around.max(axis=1, keepdims=True)
        highest[1:-1] = (seen[1:-1] * which).sum(axis=1) / which.sum(axis=1)
    return np.asarray(highest, dtype=np.float64)


def _between_sensors(peak: Frames) -> FloatArray:
    """(rows, columns) how much higher pressure tops between sensors than at each, as a factor.

    From the parabola through the sensor and its two neighbours, along rows and along columns; 1
    where a neighbour reads more, and at the border of the contact.
    """
    middle = peak.astype(np.float64)
    padded = np.pad(middle, 1)
    added = np.zeros_like(middle)
    for before, after in (
        (padded[:-2, 1:-1], padded[2:, 1:-1]),
        (padded[1:-1, :-2], padded[1:-1, 2:]),
    ):
        bend = 2.0 * middle - before - after
        tops = (middle >= before) & (middle >= after) & (bend > 0) & (before > 0) & (after > 0)
        added += np.where(tops, (before - after) ** 2 / np.where(tops, 8.0 * bend, 1.0), 0.0)
    return 1.0 + added / np.where(middle > 0, middle, 1.0)


def medial_lateral_ratio(
    frames: Frames, print_: Footprint, parameters: Parameters
) -> dict[Phase, float]:
    """Impulse medial of the foot axis over impulse lateral of it, in each phase of stance.

    Sensors on the axis are shared exactly. NaN where nothing bears laterally.
    """
    lateral_side = share_behind(
        -print_.cells[..., 0], -print_.frame.lateral, print_.pitch_mm, limit=0.0
    )
    total = frames.sum(axis=(1, 2), dtype=np.float64)
    lateral = np.tensordot(frames, lateral_side.astype(np.float32), 2).astype(np.float64)
    first, second = (round(len(frames) * border / 100.0) for border in borders(parameters))
    cuts: dict[Phase, slice] = {
        "contact": slice(0, first),
        "midstance": slice(first, second),
        "propulsion": slice(second, None),
    }
    ratios: dict[Phase, float] = {}
    for phase, cut in cuts.items():
        outer = float(lateral[cut].sum())
        ratios[phase] = float(total[cut].sum() - outer) / outer if outer > 0 else float("nan")
    return ratios
