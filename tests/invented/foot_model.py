"""An invented foot that rolls over a pressure mat, with its measures known beforehand.

The foot is a set of loaded patches (heel, midfoot, five metatarsal heads, hallux, lesser toes)
whose outlines and pressures are simple functions; each patch is loaded and unloaded at its own
time of stance. The true measures are integrated on a grid of 1 mm from those functions, without
sensors, noise or steps, and without the program's own code, so that they can judge it. All feet
are invented; shapes and times are assumptions that look like a footprint, not data.

Foot coordinates: x in mm lateral of the axis heel centre to second toe, y in mm from the heel.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

CONTACT_KPA = 10.0  # what counts as contact
TRIM_N = 20.0  # force below which a centre of pressure means nothing
FINE_MM = 1.0  # grid of the true integrals


@dataclass(frozen=True)
class Patch:
    """One loaded patch: where it is, how hard and when it bears.

    `kind` "ellipse": half-axes `a` (across) and `b` (along) round (`x`, `y`).
    `kind` "band": the midfoot, between a lateral and a medial border (see `Foot.band`).
    `times`: first contact, peak and end as shares of stance. `toe` marks hallux and toes.
    """

    name: str
    kind: str
    x: float
    y: float
    a: float
    b: float
    kpa: float
    times: tuple[float, float, float]
    toe: bool = False


@dataclass(frozen=True)
class Foot:
    """An invented foot.

    Attributes
    ----------
    side : left or right.
    length, width : of the contact, in mm.
    isthmus : width of the midfoot's contact at its narrowest as a share of `width`; below about
        0.1 the midfoot does not bear at all.
    medial_late, lateral_bias : how much more the first ray bears in late stance, and the lateral
        border all through; 0 is ordinary.
    medial_early : how much more the inner heel and midfoot bear; 0 is ordinary.
    second_ray : where the second ray stands across the forefoot, from its medial border.
    weight_n : body weight; stance_s : contact time.
    """

    side: str = "left"
    length: float = 245.0
    width: float = 92.0
    isthmus: float = 0.40
    medial_late: float = 0.0
    lateral_bias: float = 0.0
    medial_early: float = 0.0
    second_ray: float = 0.40
    weight_n: float = 700.0
    stance_s: float = 0.70
    loads: dict[str, float] = field(default_factory=dict)

    def patches(self) -> list[Patch]:
        """All patches of this foot, unscaled in pressure."""
        length, width = self.length, self.width
        medial = -self.second_ray * width
        heel = Patch(
            "heel", "ellipse", 0.0, 0.125 * length, 0.31 * width, 0.125 * length, 210, (0, 0.2, 0.6)
        )
        out = [heel, Patch("midfoot", "band", 0, 0, 0, 0, 75, (0.06, 0.38, 0.74))]
        heads = ((0.15, 0.745, 190), (0.36, 0.765, 230), (0.55, 0.75, 210))
        heads += ((0.72, 0.72, 160), (0.87, 0.68, 120))
        for i, (across, along, kpa) in enumerate(heads, start=1):
            start = 0.20 - 0.02 * i
            out.append(
                Patch(
                    f"head-{i}", "ellipse", medial + across * width, along * length,
                    0.15 * width, 0.080 * length, kpa, (start, 0.78, 0.95),
                )
            )  # fmt: skip
        out.append(
            Patch("hallux", "ellipse", medial + 0.14 * width, 0.93 * length, 0.125 * width,
                  0.07 * length, 185, (0.42, 0.85, 1.0), toe=True)
        )  # fmt: skip
        for i, (across, along) in enumerate(
            ((0.40, 0.935), (0.56, 0.91), (0.71, 0.875), (0.84, 0.83)), start=2
        ):
            out.append(
                Patch(f"toe-{i}", "ellipse", medial + across * width, along * length,
                      0.070 * width, 0.032 * length, 250 - 35 * i, (0.5, 0.84, 1.0), toe=True)
            )  # fmt: skip
        return [replace(p, kpa=p.kpa * self._load(p)) for p in out]

    def _load(self, patch: Patch) -> float:
        load = self.loads.get(patch.name, 1.0)
        late = {"head-1": 1.6, "hallux": 1.0, "head-2": 0.5, "head-4": -0.5, "head-5": -0.7}
        lateral = {"head-5": 1.6, "head-4": 1.0, "head-1": -0.7, "head-2": -0.4, "hallux": -0.6}
        load *= 1.0 + self.medial_late * late.get(patch.name, 0.0)
        return max(load * (1.0 + self.lateral_bias * lateral.get(patch.name, 0.0)), 0.05)

    def band(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Depth in mm of points inside the midfoot's contact, which joins heel and forefoot."""
        width = self.width
        medial = -self.second_ray * width
        u = np.clip((y / self.length - 0.12) / 0.58, 0.0, 1.0)
        outer = self._outer(u)
        # The inner border bows from the heel's inner side over the isthmus to the first head.
        first, last = -0.29 * width, medial + 0.02 * width
        chord = first + (last - first) * u
        narrow = float(self._outer(0.55)) - self.isthmus * width
        span = np.where(u < 0.55, 0.55, 0.45)
        bow = 1.0 - np.abs((u - 0.55) / span) ** 2
        inner = chord + (narrow - (first + (last - first) * 0.55)) * bow
        front = (0.74 - 0.10 * (x - medial) / width) * self.length
        across = np.minimum(x - inner, outer - x)
        return np.minimum(across, np.minimum(y - 0.12 * self.length, front - y))

    def _outer(self, u: np.ndarray | float) -> np.ndarray:
        """Outer border of the midfoot, x in mm, from heel (`u` 0) to fifth head (`u` 1)."""
        end = (0.99 - self.second_ray) * self.width
        return 0.29 * self.width + (end - 0.29 * self.width) * np.sin(np.pi / 2 * np.asarray(u))

    def shape(self, patch: Patch, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Pressure of `patch` at full load in kPa at points `x`, `y` in mm."""
        if patch.kind == "band":
            depth = self.band(x, y)
        else:
            r = np.hypot((x - patch.x) / patch.a, (y - patch.y) / patch.b)
            depth = (1.0 - r) * min(patch.a, patch.b)
        edge = np.clip(depth / 8.0, 0.0, 1.0)  # pressure rises over 8 mm from the border
        lean = 1.0
        if patch.name in ("heel", "midfoot"):
            tilt = self.lateral_bias - self.medial_early
            lean = np.clip(1.0 + 1.4 * tilt * x / self.width, 0.1, None)
        return np.where(depth > 0, patch.kpa * (0.25 + 0.75 * edge) * lean, 0.0)

    def scale(self) -> float:
        """Factor on all pressures that makes the highest force 1.1 times body weight."""
        x, y = self.fine_grid()
        areas = [self.shape(p, x, y).sum() * FINE_MM**2 * 1e-3 for p in self.patches()]
        times = np.linspace(0, 1, 101)
        force = sum(
            a * load_over_stance(p, times) for a, p in zip(areas, self.patches(), strict=True)
        )
        return 1.1 * self.weight_n / float(np.max(force))

    def fine_grid(self) -> tuple[np.ndarray, np.ndarray]:
        """Points of a 1 mm grid that holds the whole foot."""
        x = np.arange(-0.75 * self.width, 0.85 * self.width, FINE_MM)
        y = np.arange(-5.0, self.length + 8.0, FINE_MM)
        gx, gy = np.meshgrid(x, y)
        return gx, gy


def load_over_stance(patch: Patch, times: np.ndarray) -> np.ndarray:
    """How much of its full load `patch` bears at `times` (shares of stance), 0 to 1."""
    start, top, end = patch.times
    up = np.clip((times - start) / (top - start), 0.0, 1.0)
    down = np.clip((end - times) / (end - top), 0.0, 1.0)
    return np.sin(np.pi / 2 * np.minimum(up, down)) ** 1.2


def truth(foot: Foot) -> dict[str, float]:
    """True measures of `foot`, integrated from its functions on a grid of 1 mm."""
    x, y = foot.fine_grid()
    patches, scale = foot.patches(), foot.scale()
    maps = np.stack([foot.shape(p, x, y) * scale for p in patches])
    times = np.linspace(0.0, 1.0, 401)
    loads = np.stack([load_over_stance(p, times) for p in patches])
    peak = _peak(maps, loads)
    toe_peak = _peak(maps[[p.toe for p in patches]], loads[[p.toe for p in patches]])
    sole_peak = _peak(maps[[not p.toe for p in patches]], loads[[not p.toe for p in patches]])
    contact = peak >= CONTACT_KPA
    # A point that toes and sole both load belongs to the one that loads it more.
    toeless = contact & (sole_peak >= toe_peak)
    out = _areas(x, y, toeless, peak)
    out["footprint-length"] = float(np.ptp(y[contact])) + FINE_MM
    out["cpei"] = _cpei(foot, maps, loads, x, y, out)
    touching = [float(np.tensordot(now, maps, 1).max()) >= CONTACT_KPA for now in loads.T]
    out["contact-time"] = foot.stance_s * float(np.mean(touching))
    return out


def _peak(maps: np.ndarray, loads: np.ndarray) -> np.ndarray:
    peak = np.zeros(maps.shape[1:])
    for instant in loads.T[::4]:
        np.maximum(peak, np.tensordot(instant, maps, 1), out=peak)
    return peak


def _areas(x: np.ndarray, y: np.ndarray, toeless: np.ndarray, peak: np.ndarray) -> dict[str, float]:
    back, front = y[toeless].min(), y[toeless].max()
    third = np.clip(((y - back) / (front - back + FINE_MM) * 3).astype(int), 0, 2)
    area = np.bincount(third[toeless], minlength=3)
    load = np.bincount(third[toeless], weights=peak[toeless], minlength=3)
    width = np.array([np.ptp(x[row, toeless[row]]) + FINE_MM if toeless[row].any() else 0.0
                      for row in range(len(x))])  # fmt: skip
    row_third = third[:, 0]
    inside = (y[:, 0] >= back) & (y[:, 0] <= front)
    forefoot, midfoot, heel = (
        width[inside & (row_third == 2)].max(),
        width[inside & (row_third == 1)].min(),
        width[inside & (row_third == 0)].max(),
    )
    return {
        "arch-index": float(area[1] / area.sum()),
        "arch-index-weighted": float(load[1] / load.sum()),
        "chippaux-smirak": float(100 * midfoot / forefoot),
        "staheli": float(midfoot / heel),
        "forefoot-width": float(forefoot),
    }


def _cpei(
    foot: Foot, maps: np.ndarray, loads: np.ndarray, x: np.ndarray, y: np.ndarray,
    sizes: dict[str, float],
) -> float:  # fmt: skip
    force = maps.sum(axis=(1, 2)) * FINE_MM**2 * 1e-3
    moment_x = (maps * x).sum(axis=(1, 2)) * FINE_MM**2 * 1e-3
    moment_y = (maps * y).sum(axis=(1, 2)) * FINE_MM**2 * 1e-3
    total = loads.T @ force
    kept = total > TRIM_N
    cx, cy = (loads.T @ moment_x)[kept] / total[kept], (loads.T @ moment_y)[kept] / total[kept]
    line = sizes["footprint-length"] * 2 / 3
    chord = cx[0] + (cx[-1] - cx[0]) * (line - cy[0]) / (cy[-1] - cy[0])
    first = int(np.argmax(cy > line))
    share = (line - cy[first - 1]) / (cy[first] - cy[first - 1])
    at_line = cx[first - 1] + share * (cx[first] - cx[first - 1])
    return float(100 * (at_line - chord) / sizes["forefoot-width"])


@dataclass(frozen=True)
class Mat:
    """A pressure mat: sensors, pitch in mm, frames per second, noise in kPa."""

    rows: int = 64
    columns: int = 32
    pitch: float = 5.0
    rate: float = 100.0
    noise_kpa: float = 1.0
    gain_noise: float = 0.03
    ceiling_kpa: float = 2000.0


def walk(
    foot: Foot,
    steps: int,
    rng: np.random.Generator,
    mat: Mat | None = None,
    *,
    vary: float = 1.0,
    gap_s: float = 0.15,
) -> np.ndarray:
    """(time, rows, columns) kPa of `steps` steps of `foot` on `mat`, one after the other.

    `vary` scales how much steps differ in place, angle, timing and load; 0 makes them equal.
    """
    mat = mat or Mat()
    gap = np.zeros((round(gap_s * mat.rate), mat.rows, mat.columns), dtype=np.float32)
    toe_out = 7.0 + 3.0 * float(rng.standard_normal())
    scale = foot.scale()
    frames = [gap]
    for _ in range(steps):
        frames += [_one_step(foot, scale, toe_out, mat, rng, vary), gap]
    return np.concatenate(frames)


def _one_step(
    foot: Foot, scale: float, toe_out: float, mat: Mat, rng: np.random.Generator, vary: float
) -> np.ndarray:
    wobble = vary * rng.standard_normal(4)
    varied = replace(
        foot,
        isthmus=max(foot.isthmus + 0.015 * wobble[0], 0.0),
        lateral_bias=foot.lateral_bias + 0.03 * wobble[1],
        stance_s=foot.stance_s * (1 + 0.02 * wobble[2]),
    )
    angle = np.radians(toe_out + 1.5 * wobble[3])
    count = max(round(varied.stance_s * mat.rate), 5)
    times = (np.arange(count) + 0.5) / count
    patches = [
        replace(p, kpa=p.kpa * (1 + 0.04 * vary * rng.standard_normal())) for p in varied.patches()
    ]
    loads = np.stack([load_over_stance(p, times) for p in patches])
    maps = _sensor_maps(varied, patches, angle, mat, rng)
    clean = np.tensordot(loads.T, maps * scale, 1)
    gain = 1 + mat.gain_noise * rng.standard_normal(maps.shape[1:])
    noisy = clean * gain + mat.noise_kpa * rng.standard_normal(clean.shape) * (clean > 0)
    noisy = np.clip(np.round(noisy), 0.0, mat.ceiling_kpa)
    noisy[noisy < 3.0] = 0.0  # the mat's own zero
    return noisy.astype(np.float32)


def _sensor_maps(
    foot: Foot, patches: list[Patch], angle: float, mat: Mat, rng: np.random.Generator
) -> np.ndarray:
    """(patches, rows, columns) mean pressure on each sensor, from 4 x 4 points in it."""
    fine = 4
    offset = (np.arange(fine) + 0.5) / fine
    row = (np.arange(mat.rows)[:, None] + offset).ravel() * mat.pitch
    column = (np.arange(mat.columns)[:, None] + offset).ravel() * mat.pitch
    right, forward = np.meshgrid(column, row)
    sign = 1.0 if foot.side == "right" else -1.0
    # The heel lies a third of a foot behind the middle of the mat; toes turn outward.
    middle = np.array([mat.columns, mat.rows]) * mat.pitch / 2
    heading = np.array([sign * np.sin(angle), np.cos(angle)])
    jitter = rng.uniform(-6, 6, 2)
    heel = middle + jitter - heading * foot.length / 2
    along = (right - heel[0]) * heading[0] + (forward - heel[1]) * heading[1]
    across = (right - heel[0]) * heading[1] - (forward - heel[1]) * heading[0]
    maps = np.stack([foot.shape(p, sign * across, along) for p in patches])
    return maps.reshape(len(patches), mat.rows, fine, mat.columns, fine).mean(axis=(2, 4))


def invent(rng: np.random.Generator) -> Foot:
    """A random foot: any side, size, arch and load, within what a lab meets."""
    return Foot(
        side=("left", "right")[int(rng.integers(2))],
        length=float(np.clip(rng.normal(240, 14), 205, 275)),
        width=float(np.clip(rng.normal(90, 5), 76, 104)),
        isthmus=float(np.clip(rng.normal(0.40, 0.13), 0.05, 0.85)),
        medial_late=float(np.clip(rng.normal(0.05, 0.15), -0.2, 0.5)),
        lateral_bias=float(np.clip(rng.normal(0.0, 0.12), -0.3, 0.35)),
        medial_early=float(np.clip(rng.normal(0.0, 0.12), -0.3, 0.4)),
        second_ray=float(rng.normal(0.40, 0.015)),
        weight_n=float(np.clip(rng.normal(700, 110), 420, 1100)),
        stance_s=float(np.clip(rng.normal(0.70, 0.05), 0.55, 0.85)),
    )
