"""A second invented foot on a mat, beside the one of the demo: other outlines, other timing.

Written from the definitions of the measures alone, before and apart from the code that measures.
Pressures are bells with flat tops that fade out, loads rise and fall as powers of time, and the
truth is summed over a grid of 1 mm and 2000 instants, without sensors, noise or steps. All feet
are invented. Coordinates: x in mm lateral of the axis heel centre to second ray, y from the heel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter

CONTACT_KPA = 10.0
TRIM_N = 20.0
REGIONS = (
    "medial-heel", "lateral-heel", "medial-midfoot", "lateral-midfoot", "medial-forefoot",
    "central-forefoot", "lateral-forefoot", "hallux", "toes",
)  # fmt: skip
PHASES = (("contact", 0.0, 0.27), ("midstance", 0.27, 0.67), ("propulsion", 0.67, 1.001))

# A foot meets the ground and leaves it within a hundredth of stance: instants are close together.
_INSTANTS = 2001
_ENDS = np.r_[0:60, _INSTANTS - 60 : _INSTANTS]


@dataclass(frozen=True)
class Bump:
    """A bell: centre, half widths and turn; pressure; when it bears (shares of stance); a toe?"""

    x: float
    y: float
    a: float
    b: float
    turn: float
    kpa: float
    start: float
    top: float
    end: float
    toe: str = ""

    def at(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Pressure in kPa at full load."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        u, v = (x - self.x) * c + (y - self.y) * s, (y - self.y) * c - (x - self.x) * s
        return self.kpa * np.exp(-(((u / self.a) ** 2 + (v / self.b) ** 2) ** 2))

    def load(self, t: np.ndarray) -> np.ndarray:
        """Share of full load at `t`, 0 to 1: a power up, a power down."""
        up = np.clip((t - self.start) / (self.top - self.start), 0, 1)
        down = np.clip((self.end - t) / (self.end - self.top), 0, 1)
        return np.minimum(up**0.8, 1) * down**0.7


@dataclass(frozen=True)
class Invented:
    """A foot and how it walks."""

    side: str
    bumps: tuple[Bump, ...]
    stance_s: float
    toe_out: float

    def grid(self) -> tuple[np.ndarray, np.ndarray]:
        """Middles of squares of 1 mm that hold it; none lies on the axis."""
        x, y = np.arange(-74.5, 90.0), np.arange(-11.5, 300.0)
        return tuple(np.meshgrid(x, y))


def invent(rng: np.random.Generator, *, gait: str = "walking") -> Invented:
    """Any adult foot: size, arch, load and timing at random."""
    n = rng.standard_normal
    length, width = 238 + 13 * n(), 88 + 5 * n()
    arch = float(np.clip(0.45 + 0.18 * n(), 0.02, 0.95))  # breadth of the midfoot's contact
    inner, late = 0.12 * n(), float(np.clip(0.2 * n(), -0.4, 0.6))
    med = -0.40 * width
    run = gait == "running"
    out = [Bump(0.5 * n(), 0.115 * length, 0.245 * width, 0.098 * length, 0.03 * n(),
                230 + 30 * n(), 0.0, 0.14, 0.52)]  # fmt: skip
    lateral = med + 0.80 * width
    breadth = arch * 0.34 * width
    out.append(Bump(lateral - breadth, 0.42 * length, breadth, 0.21 * length, -0.10,
                    (45 + 70 * arch) * (1 + inner), 0.05, 0.34, 0.72))  # fmt: skip
    for i, (u, v, kpa) in enumerate(
        ((0.15, 0.735, 205), (0.37, 0.755, 240), (0.55, 0.74, 215), (0.72, 0.715, 165),
         (0.87, 0.675, 125))
    ):  # fmt: skip
        lean = 1 + late * (0.5 - 0.25 * i) + inner * (i - 2) * 0.3
        out.append(Bump(med + u * width, v * length, 0.118 * width, 0.060 * length, 0.0,
                        kpa * max(lean, 0.2), 0.16 - 0.02 * i, 0.74, 0.94))  # fmt: skip
    out.append(Bump(med + 0.15 * width, 0.925 * length, 0.102 * width, 0.050 * length, 0.1,
                    190 * max(1 + late, 0.3), 0.40, 0.84, 1.0, "hallux"))  # fmt: skip
    for u, v, kpa in ((0.42, 0.935, 120), (0.57, 0.91, 95), (0.72, 0.872, 80), (0.86, 0.83, 65)):
        out.append(Bump(med + u * width, v * length, 0.055 * width, 0.024 * length, 0.0, kpa,
                        0.48, 0.83, 1.0, "toe"))  # fmt: skip
    mass = float(np.clip(72 + 12 * n(), 45, 110))
    stance = (0.25 + 0.02 * n()) if run else (0.70 + 0.05 * n())
    foot = Invented(("left", "right")[int(rng.integers(2))], tuple(out), float(stance), 7 + 4 * n())
    x, y = foot.grid()
    t = np.linspace(0, 1, 101)
    force = sum(b.at(x, y).sum() * b.load(t) for b in out) * 1e-3
    scale = (2.4 if run else 1.08) * 9.81 * mass / float(force.max())
    scaled = tuple(Bump(**{**_fields(b), "kpa": b.kpa * scale}) for b in out)
    return Invented(foot.side, scaled, foot.stance_s, foot.toe_out)


def _fields(bump: Bump) -> dict:
    return {name: getattr(bump, name) for name in Bump.__dataclass_fields__}


def walk(
    foot: Invented, steps: int, rng: np.random.Generator, *, pitch: float = 5.0,
    rate: float = 100.0, noise: float = 1.0, vary: float = 1.0, zero_kpa: float = 3.0,
) -> np.ndarray:  # fmt: skip
    """(time, rows, columns) kPa of some steps; contact begins between frames."""
    rows, columns = round(330 / pitch), round(190 / pitch)
    gap = np.zeros((max(round(0.12 * rate), 3), rows, columns), dtype=np.float32)
    gain = 1 + 0.03 * rng.standard_normal((rows, columns))
    out = [gap]
    for _ in range(steps):
        stance = foot.stance_s * (1 + 0.02 * vary * rng.standard_normal())
        times = np.arange(rng.uniform(), stance * rate) / (stance * rate)
        angle = np.radians(foot.toe_out + 1.5 * vary * rng.standard_normal())
        maps, loads = _maps(foot, angle, pitch, rows, columns, rng, vary), []
        for bump in foot.bumps:
            loads.append(bump.load(times) * (1 + 0.04 * vary * rng.standard_normal()))
        clean = np.tensordot(np.array(loads).T, maps, 1) * gain
        seen = np.round(clean + noise * rng.standard_normal(clean.shape) * (clean > 0))
        seen[seen < zero_kpa] = 0
        out += [seen.astype(np.float32), gap]
    return np.concatenate(out)


def _maps(foot, angle, pitch, rows, columns, rng, vary) -> np.ndarray:
    """(bumps, rows, columns) mean pressure of each sensor, from 5 x 5 points in it."""
    fine = 5
    part = (np.arange(fine) + 0.5) / fine
    right, forward = np.meshgrid((np.arange(columns)[:, None] + part).ravel() * pitch,
                                 (np.arange(rows)[:, None] + part).ravel() * pitch)  # fmt: skip
    sign = 1.0 if foot.side == "right" else -1.0
    heading = np.array([sign * np.sin(angle), np.cos(angle)])
    heel = np.array([columns, rows]) * pitch / 2 + rng.uniform(-5, 5, 2) - heading * 120
    along = (right - heel[0]) * heading[0] + (forward - heel[1]) * heading[1]
    across = sign * ((right - heel[0]) * heading[1] - (forward - heel[1]) * heading[0])
    wobble = 1.2 * vary * rng.standard_normal(len(foot.bumps))
    maps = [b.at(across + w, along) for b, w in zip(foot.bumps, wobble, strict=True)]
    return np.array(maps).reshape(len(maps), rows, fine, columns, fine).mean(axis=(2, 4))


def truth(foot: Invented, pitch: float) -> dict[str, float]:
    """True measures by name, as the definitions say them.

    Peaks and integrals of regions are what a sensor `pitch` mm wide feels, its mean pressure.
    """
    x, y = foot.grid()
    t = np.linspace(0, 1, _INSTANTS)
    maps = np.array([b.at(x, y) for b in foot.bumps])
    loads = np.array([b.load(t) for b in foot.bumps])
    peak = np.zeros(x.shape)
    for now in loads.T[:: (_INSTANTS - 1) // 100]:
        np.maximum(peak, np.tensordot(now, maps, 1), out=peak)
    contact = peak >= CONTACT_KPA
    toes = np.array([bool(b.toe) for b in foot.bumps])
    toe_part = (maps[toes] * loads[toes].max(axis=1)[:, None, None]).max(axis=0)
    sole_part = (maps[~toes] * loads[~toes].max(axis=1)[:, None, None]).max(axis=0)
    sole = contact & (sole_part >= toe_part)
    back = y[contact].min() - 0.5
    out = _shape(x, y - back, sole, contact, peak)
    out |= _path(foot, maps, loads, t, x, y - back, contact, out)
    out |= _regions(foot, maps, loads, t, x, y - back, sole, contact, pitch)
    return out


def _shape(x, y, sole, contact, peak) -> dict[str, float]:
    length = y[sole].max() + 0.5
    third = np.clip((y / length * 3).astype(int), 0, 2)
    area = np.bincount(third[sole], minlength=3)
    load = np.bincount(third[sole], weights=peak[sole], minlength=3)
    spans = np.array([np.ptp(x[i, sole[i]]) + 1 if sole[i].any() else 0.0 for i in range(len(x))])
    wide = sole.sum(axis=1)
    row = np.clip((y[:, 0] / length * 3).astype(int), 0, 3) * (y[:, 0] >= 0) - (y[:, 0] < 0)
    inside = (y[:, 0] >= 0) & (y[:, 0] < length)
    fore, heel = spans[inside & (row == 2)].max(), spans[inside & (row == 0)].max()
    middle = wide[inside & (row == 1)].min()
    return {
        "arch-index": area[1] / area.sum(), "arch-index-weighted": load[1] / load.sum(),
        "chippaux-smirak": 100 * middle / fore, "staheli": middle / heel,
        "footprint-width": fore, "footprint-length": float(np.ptp(y[contact]) + 1),
        "_toeless": length,
    }  # fmt: skip


def _path(foot, maps, loads, t, x, y, contact, shape) -> dict[str, float]:
    inside = np.where(contact, 1.0, 0.0)
    force = (maps * inside).sum(axis=(1, 2)) * 1e-3
    mx, my = ((maps * inside * k).sum(axis=(1, 2)) * 1e-3 for k in (x, y))
    total = loads.T @ force
    on = total > TRIM_N
    path = np.column_stack([loads.T @ mx, loads.T @ my])[on] / total[on, None]
    share = np.linspace(0, 1, len(path))
    line = shape["footprint-length"] * 2 / 3
    first = int(np.argmax(path[:, 1] > line))
    k = (line - path[first - 1, 1]) / (path[first, 1] - path[first - 1, 1])
    at = path[first - 1, 0] + k * (path[first, 0] - path[first - 1, 0])
    (x0, y0), (x1, y1) = path[0], path[-1]
    chord = x0 + (x1 - x0) * (line - y0) / (y1 - y0)
    out = {"cpei": 100 * (at - chord) / shape["footprint-width"],
           "cop-path-length": float(np.hypot(*np.diff(path, axis=0).T).sum())}  # fmt: skip
    for name, low, high in PHASES:
        piece = path[(share >= low) & (share < high), 0]
        out[f"cop-excursion-{name}"] = float(np.ptp(piece))
        out[f"cop-shift-{name}"] = float(piece[-1] - piece[0])
    ends = np.array([np.tensordot(now, maps, 1).max() >= CONTACT_KPA for now in loads.T[_ENDS]])
    out["contact-time"] = foot.stance_s * (1 - float(np.sum(~ends)) / (_INSTANTS - 1))
    return out


def _regions(foot, maps, loads, t, x, y, sole, contact, pitch) -> dict[str, float]:
    third = np.clip((3 * y / (y[sole].max() + 0.5)).astype(int), 0, 2)
    fore = sole & (third == 2)
    low, width = x[fore].min() - 0.5, np.ptp(x[fore]) + 1.0
    labels = np.full(x.shape, -1)
    labels[sole] = np.where(third < 2, 2 * third + (x > 0), 4 + np.clip(
        (3 * (x - low) / width).astype(int), 0, 2))[sole]  # fmt: skip
    toe = contact & ~sole
    labels[toe] = np.where(x < low + 0.3 * width, 7, 8)[toe]
    felt = np.array([uniform_filter(m, size=round(pitch)) for m in maps])
    out = {}
    for k, name in enumerate(REGIONS):
        if (labels == k).any():
            top = (loads.T @ felt[:, labels == k]).max(axis=1)
            out[f"peak-{name}"] = float(top.max())
            out[f"integral-{name}"] = float(top.mean()) * foot.stance_s
            out[f"area-{name}"] = float((labels == k).sum())
    inner, outer = (maps[:, contact & half].sum(axis=1) for half in (x < 0, x >= 0))
    for name, a, b in PHASES:
        cut = (t >= a) & (t < b)
        out[f"medial-lateral-{name}"] = float(
            (loads[:, cut].T @ inner).sum() / (loads[:, cut].T @ outer).sum()
        )
    return out
