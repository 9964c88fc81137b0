"""Films of two invented legs from behind, drawn pixel by pixel, with the truth beside them.

Written from the description of the task, apart from the code that finds marks. The motion is that
of ``second_gait.py``; here it stands in space before a camera with perspective: the belt carries
each foot from far to near, skin and belt have texture, light comes from one side, feet throw
shadows, and the other leg swings past. A frame is the mean of moments within its exposure; rows may
be read one after the other. Noise is added, and the film is compressed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from recommend.measure.video import MARKS
from tests.bench.second_gait import HEEL_MM, LEG_MM, Person, _states, _truth, curve_of

_BACK_MM = 40.0  # the skin with the marks lies this far behind the middle of leg and heel
_MANY = 60  # strides behind the truth
_BANDS = 6  # in which a rolling shutter is drawn


@dataclass(frozen=True)
class Camera:
    """Where the camera stands and what it does; lengths in mm, angles in degrees.

    `shutter_s` is the exposure, `moments` how many are averaged, `readout_s` the time from the
    first row to the last, `noise` grey levels, `crf` the quality of the compression (larger is
    worse), `roll` how far the camera leans to the right.
    """

    width: int = 352
    height: int = 416
    px_per_mm: float = 0.85
    distance: float = 2200.0
    above_belt: float = 260.0
    rate: float = 60.0
    shutter_s: float = 1 / 1000
    moments: int = 2
    readout_s: float = 0.0
    noise: float = 2.0
    crf: int = 23
    roll: float = 0.0
    jitter: float = 0.0  # share of a frame by which frame times vary
    turned: int = 0  # quarter turns of the picture
    mirrored: bool = False


@dataclass(frozen=True)
class Scene:
    """What stands before it: skin and marks in grey levels, mark diameter and step width in mm."""

    skin: float = 165.0
    marks: float = 35.0
    wall: float = 110.0
    belt: float = 60.0
    mark_mm: float = 13.0
    step_mm: float = 110.0
    freckles: int = 5
    texture: float = 5.0
    light: float = 0.25
    legs: tuple[str, ...] = ("left", "right")
    missing: tuple[tuple[str, str], ...] = ()  # marks that fell off
    bystander: bool = False  # a marked leg of someone else beside the treadmill
    passing: float = 0.0  # how far a step crosses over to the other side, in mm


@dataclass
class Drawn:
    """A film on disk, its truth by side and measure, its marks by side (frames, 4, 2) in px."""

    path: Path
    truth: dict[str, dict[str, float]]
    marks: dict[str, np.ndarray]
    times: np.ndarray


def scene_of(rng: np.random.Generator) -> Scene:
    """A scene as shops have them: some skin, dark marks on light skin and white ones on dark."""
    skin = rng.uniform(60, 210)
    marks = rng.uniform(20, 40) if skin > 125 else rng.uniform(215, 245)
    return Scene(
        skin=skin, marks=marks, wall=rng.uniform(50, 190), belt=rng.uniform(30, 90),
        mark_mm=rng.uniform(12, 15), step_mm=rng.uniform(90, 140),
        freckles=int(rng.integers(0, 9)), texture=rng.uniform(2, 7), light=rng.uniform(0, 0.35),
    )  # fmt: skip


def camera_of(rng: np.random.Generator, rate: float) -> Camera:
    """A camera as the manual asks for: far, low, short shutter, some noise and compression."""
    return Camera(
        distance=rng.uniform(2000, 3200), above_belt=rng.uniform(200, 350), rate=rate,
        shutter_s=rng.uniform(1 / 2000, 1 / 800), noise=rng.uniform(1, 4),
        crf=int(rng.choice([18, 23, 28])), roll=float(rng.normal(0, 0.7)),
    )  # fmt: skip


def pair_of(rng: np.random.Generator, gait: str = "walking") -> dict[str, Person]:
    """The two legs of one invented person: times alike, angles of their own."""
    invent = Person.runner if gait == "running" else Person.walker
    left, right = replace(invent(rng), side="left"), invent(rng)
    right = replace(right, side="right", stance_s=left.stance_s, swing_s=left.swing_s)
    return {"left": left, "right": right}


def draw(
    path: Path,
    people: dict[str, Person],
    strides: int,
    rng: np.random.Generator,
    camera: Camera,
    scene: Scene,
) -> Drawn:
    """Film `strides` stances of each leg into `path`."""
    cycle = people["left"].stance_s + people["left"].swing_s
    end = (strides + 0.45) * cycle
    even = 0.1 + np.arange(int(end * camera.rate)) / camera.rate
    times = even + camera.jitter / camera.rate * rng.uniform(-0.5, 0.5, len(even))
    moves = {}
    truth = {}
    for number, side in enumerate(scene.legs):
        moves[side], truth[side] = _moves(people[side], strides + 2, number * cycle / 2, rng, scene)
    if scene.bystander:
        aside, _ = _moves(people["right"], strides + 2, 0.3 * cycle, rng, scene)
        moves["aside"] = lambda t, go=aside: go(t) + np.array([260.0, 0, 0])
    painter = _Painter(camera, scene, rng)
    offsets = _moments(camera)
    each = (times[:, None] + offsets).ravel()
    where = {side: go(each).reshape(len(times), len(offsets), 6, 3) for side, go in moves.items()}
    seen = {side: camera_view(camera, points) for side, points in where.items()}

    def frame_at(k: int) -> np.ndarray:
        return painter.frame(
            [
                (
                    t,
                    {
                        side: (where[side][k, m], *(one[k, m] for one in seen[side]))
                        for side in where
                    },
                )
                for m, t in enumerate(times[k] + offsets)
            ]
        )

    _write(path, camera, times, frame_at)
    marks = {side: _turned(_marks_seen(camera, moves[side], times), camera) for side in scene.legs}
    for side, mark in scene.missing:
        marks[side][:, MARKS.index(mark)] = np.nan
    return Drawn(path, truth, marks, times)


def _marks_seen(camera: Camera, go, times: np.ndarray) -> np.ndarray:
    """(frames, 4, 2) where each mark is in the picture when the camera reads its row."""
    seen = camera_view(camera, go(times))[0][:, :4]
    if not camera.readout_s:
        return seen
    late = camera.readout_s * (np.clip(seen[..., 1] / camera.height, 0, 1) - 0.5)
    each = [camera_view(camera, go(times + late[:, k]))[0][:, k] for k in range(4)]
    return np.stack(each, axis=1)


def _moments(camera: Camera) -> np.ndarray:
    """Moments drawn for one frame, in s from its middle."""
    if camera.readout_s:
        return camera.readout_s * ((np.arange(_BANDS) + 0.5) / _BANDS - 0.5)
    if camera.moments == 1:
        return np.zeros(1)
    return camera.shutter_s * (np.arange(camera.moments) / max(camera.moments - 1, 1) - 0.5)


def _turned(points: np.ndarray, camera: Camera) -> np.ndarray:
    x, y = points[..., 0], points[..., 1]
    if camera.mirrored:
        x = camera.width - 1 - x
    w, h = camera.width, camera.height
    for _ in range(camera.turned % 4):  # as np.rot90 turns a picture
        x, y, w, h = y, w - 1 - x, h, w
    return np.stack([x, y], axis=-1)


def _moves(person: Person, strides: int, offset: float, rng, scene: Scene):
    """A function of times to (n, 6, 3) points in mm, and the truth of one leg.

    Points: four marks, the ankle's middle, the sole under the heel. x right, y up, z away.
    """
    curves = [curve_of(person, rng, 0.8) for _ in range(strides)]
    stances = person.stance_s * (1 + 0.02 * rng.standard_normal(strides))
    swings = person.swing_s * (1 + 0.02 * rng.standard_normal(strides + 1))
    begins = np.concatenate([[0.0], np.cumsum(swings[:-1] + stances)])
    placing = 0.7 * rng.standard_normal((4, 2)) * [1.0, 0.3]
    yaw = person.toe_out + rng.normal(0, 1.5)
    reach = rng.uniform(0.45, 0.55) * 1200 * person.stance_s
    sway = rng.uniform(3, 10)
    cycle = person.stance_s + person.swing_s

    def go(times: np.ndarray) -> np.ndarray:
        t = np.asarray(times) + offset
        states = _states(person, curves, begins, swings, stances, t)
        points = _in_space(person, states, yaw)
        points[:, :4, :2] += placing
        points[..., 2] += _carried(t, begins, swings, stances, reach)[:, None]
        side = -1.0 if person.side == "left" else 1.0
        swinging = np.clip(states[:, 1] / 140.0, 0, 1)  # a swinging foot comes nearer the other
        points[..., 0] += (side * (scene.step_mm / 2 - swinging * (18 + scene.passing))
                           + sway * np.sin(2 * np.pi * t / cycle))[:, None]  # fmt: skip
        return points

    truth = _truth([curve_of(person, rng, 0.8) for _ in range(_MANY)])
    return go, truth


def _in_space(person: Person, states: np.ndarray, yaw: float) -> np.ndarray:
    sign = 1.0 if person.side == "left" else -1.0
    angle, height, pitch, sagittal, lean = (states[:, k] for k in range(5))
    leg, heel = _direction(lean, sagittal, 0.0), _direction(lean + angle, pitch, yaw)
    leg[:, 0] *= sign
    heel[:, 0] *= sign
    zero = np.zeros_like(height)
    ankle = np.column_stack([zero, height + 82.0, zero])
    back = np.array([0.0, 0.0, -_BACK_MM])
    return np.stack(
        [ankle + (LEG_MM + 40) * leg + back, ankle + 40 * leg + back, ankle - 14 * heel + back,
         ankle - (14 + HEEL_MM) * heel + back, ankle + back, ankle - 80 * heel + back],
        axis=1,
    )  # fmt: skip


def _direction(lean: np.ndarray, pitch: np.ndarray, yaw: float) -> np.ndarray:
    """(n, 3) unit line that a far camera sees leaning by `lean`, tipped forward by `pitch`."""
    p, w = np.radians(pitch), np.radians(yaw)
    f = np.arctan(np.tan(np.radians(lean)) * np.cos(p))
    across, along, up = np.sin(f), np.cos(f) * np.sin(p), np.cos(f) * np.cos(p)
    return np.column_stack([np.cos(w) * across - np.sin(w) * along, up, along])


def _carried(t, begins, swings, stances, reach: float) -> np.ndarray:
    """(n,) where along the belt the foot is: carried from far to near, then swung forward."""
    stride = np.clip(np.searchsorted(begins, t, side="right") - 1, 0, len(stances) - 1)
    into = t - begins[stride]
    swing = np.clip(into / swings[stride], 0, 1)
    ground = np.clip((into - swings[stride]) / stances[stride], 0, 1)
    return np.where(into < swings[stride], -reach * np.cos(np.pi * swing), reach * (1 - 2 * ground))


def camera_view(camera: Camera, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n, k, 2) pixels, y down, and (n, k) pixels per mm there."""
    depth = camera.distance + points[..., 2]
    scale = camera.px_per_mm * camera.distance / depth
    x = points[..., 0] * scale
    y = -(points[..., 1] - camera.above_belt) * scale
    a = np.radians(camera.roll)  # a camera that leans right sees the world lean left
    seen = np.stack([x * np.cos(a) + y * np.sin(a), -x * np.sin(a) + y * np.cos(a)], axis=-1)
    level = camera.height - 1 - camera.px_per_mm * camera.above_belt - 30
    return seen + np.array([camera.width / 2, level]), scale


Leg = tuple[np.ndarray, np.ndarray, np.ndarray]  # points in space, in the picture, px per mm


class _Painter:
    """Draws moments of one scene."""

    def __init__(self, camera: Camera, scene: Scene, rng: np.random.Generator) -> None:
        self.camera, self.scene = camera, scene
        h, w = camera.height, camera.width
        self.wall = _whole(scene.wall + _texture(rng, h, w, 12, 6))
        self.belt = _whole(scene.belt + _texture(rng, 4 * h, w, 4, 10))
        self.skins = {side: _skin(scene, rng) for side in ("left", "right", "aside")}
        self.grain = camera.noise * rng.standard_normal((h + 64, w + 64), dtype=np.float32)
        self.at = rng.integers(0, 64, (97, 2))  # where the grain of each frame is cut out
        self.horizon = int(camera_view(camera, np.array([[[0, 0, 900.0]]]))[0][0, 0, 1])
        self.count = 0

    def frame(self, moments: list[tuple[float, dict[str, Leg]]]) -> np.ndarray:
        """(height, width) uint8: where the legs are at each of the moments of one exposure."""
        camera = self.camera
        pictures = [self._moment(*one) for one in moments]
        if camera.readout_s:  # bands of rows, each at its own moment
            edges = np.linspace(0, camera.height, _BANDS + 1).astype(int)
            picture = np.concatenate(
                [one[a:b] for one, a, b in zip(pictures, edges, edges[1:], strict=False)]
            )
        else:
            picture = np.mean(pictures, axis=0) if len(pictures) > 1 else pictures[0]
        y, x = self.at[self.count % len(self.at)]
        self.count += 1
        grain = self.grain[y : y + camera.height, x : x + camera.width]
        picture = _whole(picture + grain)
        if camera.mirrored:
            picture = picture[:, ::-1]
        return np.ascontiguousarray(np.rot90(picture, camera.turned))

    def _moment(self, time: float, legs: dict[str, Leg]) -> np.ndarray:
        camera = self.camera
        picture = self.wall.copy()
        shift = int(1200 * camera.px_per_mm * time) % (3 * camera.height)
        rows = camera.height - self.horizon
        picture[self.horizon :] = self.belt[3 * camera.height - shift :][:rows]
        for points, *_ in legs.values():
            self._shadow(picture, points)
        for side in sorted(legs, key=lambda one: -legs[one][0][4, 2]):  # the farther leg first
            self._leg(picture, side, *legs[side])
        return picture

    def _shadow(self, picture: np.ndarray, points: np.ndarray) -> None:
        foot = points[5] * [1, 0, 1] + [12, 0, 0]
        (at,), (scale,) = camera_view(self.camera, foot[None])
        fade = np.exp(-max(points[5, 1], 0) / 120)
        x0, y0 = np.maximum((at - np.array([110, 32]) * scale).astype(int), 0)
        part = picture[y0 : int(at[1] + 32 * scale), x0 : int(at[0] + 110 * scale)]
        x = np.arange(x0, x0 + part.shape[1], dtype=np.float32)
        y = np.arange(y0, y0 + part.shape[0], dtype=np.float32)
        dark = np.outer(
            np.exp(-(((y - at[1]) / (16 * scale)) ** 2)),
            0.45 * fade * np.exp(-(((x - at[0]) / (55 * scale)) ** 2)),
        )
        part[:] = part * (1 - dark)

    def _leg(
        self,
        picture: np.ndarray,
        side: str,
        points: np.ndarray,
        seen: np.ndarray,
        scale: np.ndarray,
    ) -> None:
        leg, heel = self.skins[side]
        top = seen[4] + (seen[0] - seen[1]) / LEG_MM * 360
        _paste(picture, leg, seen[4] + (seen[4] - top) * 0.06, top, scale[1])
        _paste(picture, heel, seen[5], seen[4], scale[3])
        lines = np.repeat([(points[0] - points[1]) / LEG_MM, (points[2] - points[3]) / HEEL_MM],
                          2, axis=0)  # fmt: skip
        kept = [k for k, mark in enumerate(MARKS) if (side, mark) not in self.scene.missing]
        radius = scale[kept] * self.scene.mark_mm / 2
        _discs(picture, seen[kept], radius, lines[kept], self.scene.marks)


def _whole(picture: np.ndarray) -> np.ndarray:
    return np.clip(picture, 0, 255).astype(np.uint8)


def _texture(rng, height: int, width: int, size: int, strength: float) -> np.ndarray:
    """Smooth noise with grains of `size` px."""
    coarse = rng.standard_normal((height // size + 2, width // size + 2)).astype(np.float32)
    fine = rng.standard_normal((height // 2 + 1, width // 2 + 1)).astype(np.float32)
    return strength * (
        cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
        + 0.4 * cv2.resize(fine, (width, height), interpolation=cv2.INTER_LINEAR)
    )


Skin = tuple[np.ndarray, np.ndarray]


def _skin(scene: Scene, rng) -> tuple[Skin, Skin]:
    """Of leg and heel a picture (rows, columns) in grey levels and its cover, 1 px a mm."""
    out = []
    for height, widths in (
        (380, ([0, 60, 110, 250, 380], [30, 27, 32, 55, 58])),
        (100, ([0, 15, 45, 80, 100], [12, 30, 33, 29, 26])),
    ):
        along = np.arange(height)[::-1, None]
        half = np.interp(along, *widths)
        across = np.arange(-70, 70)[None, :]
        cover = np.clip(half - np.abs(across) + 0.5, 0, 1) * np.ones((height, 140))
        bend = np.clip(across / half, -1, 1)
        grey = scene.skin * (1 - 0.22 * bend**2 + scene.light * bend * 0.5)
        grey = grey + _texture(rng, height, 140, 5, scene.texture)
        for _ in range(scene.freckles if height > 200 else scene.freckles // 3):
            at = rng.uniform([10, 45], [height - 40, 95])
            size, depth = rng.uniform(1.0, 2.4), rng.uniform(0.10, 0.30)
            y, x = np.ogrid[:height, :140]
            spot = np.exp(-(((y - at[0]) ** 2 + (x - at[1]) ** 2) / (2 * size**2)))
            grey = grey * (1 - depth * spot)
        out.append((_whole(grey), _whole(255 * cover)))
    return out[0], out[1]


def _paste(picture, skin: Skin, foot: np.ndarray, top: np.ndarray, scale: float) -> None:
    """Lay a skin on the picture, its lower middle at `foot` and its upper middle at `top`."""
    high = len(skin[0])
    line = (top - foot) / high
    side = np.array([-line[1], line[0]])
    side = side / np.hypot(*side) * scale
    # skin (column - 70, rows from the bottom) -> picture
    turn = np.array([[side[0], -line[0], 0], [side[1], -line[1], 0]], dtype=np.float64)
    turn[:, 2] = foot - turn[:, :2] @ [70.0, high]
    corners = np.array([[0, 0], [140, 0], [0, high], [140, high]]) @ turn[:, :2].T
    corners += turn[:, 2]
    x0, y0 = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 1, 0)
    x1, y1 = np.ceil(corners.max(axis=0)).astype(int) + 2
    x1, y1 = min(x1, picture.shape[1]), min(y1, picture.shape[0])
    if x1 <= x0 or y1 <= y0:
        return
    turn[:, 2] -= [x0, y0]
    size = (int(x1 - x0), int(y1 - y0))
    grey = cv2.warpAffine(skin[0], turn, size, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpAffine(skin[1], turn, size).astype(np.int16)
    part = picture[y0:y1, x0:x1]
    part += (
        ((grey.astype(np.int16) - part) * (cover / np.float32(255)))
        .astype(np.int16)
        .astype(np.uint8)
    )


def _discs(picture, at: np.ndarray, radius: np.ndarray, lines: np.ndarray, grey: float) -> None:
    """Flat round marks seen along the camera's axis; tipped with their line they are ellipses.

    The share of a pixel that a disc covers is told from how far the pixel lies from its edge.
    """
    length = np.hypot(lines[:, 0], lines[:, 1])
    tip = np.maximum(length, 0.2)[:, None, None]
    up = (lines[:, :2] * [1, -1] / length[:, None])[:, :, None, None]
    reach = int(np.ceil(radius.max())) + 2
    middle = np.round(at).astype(int)
    side = np.arange(-reach, reach + 1)
    x = (side - (at - middle)[:, 0, None])[:, None, :]
    y = (side - (at - middle)[:, 1, None])[:, :, None]
    along, across = (x * up[:, 0] + y * up[:, 1]) / tip, y * up[:, 0] - x * up[:, 1]
    far = np.hypot(along, across)
    slope = np.hypot(along / tip, across) / np.maximum(far, 1e-6)
    covers = np.clip((radius[:, None, None] - far) / slope + 0.5, 0, 1)
    height, width = picture.shape
    for (cx, cy), cover in zip(middle - reach, covers, strict=True):
        x0, y0, x1, y1 = (
            max(cx, 0),
            max(cy, 0),
            min(cx + len(side), width),
            min(cy + len(side), height),
        )
        if x1 > x0 and y1 > y0:
            part = picture[y0:y1, x0:x1]
            part[:] = part + cover[y0 - cy : y1 - cy, x0 - cx : x1 - cx] * (grey - part)


def _write(path: Path, camera: Camera, times: np.ndarray, frame_at) -> None:
    """Compress the frames with their own times, in the format of most phones."""
    turned = camera.turned % 2 == 1
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=Fraction(round(camera.rate * 1000), 1000))
        stream.width = camera.height if turned else camera.width
        stream.height = camera.width if turned else camera.height
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": str(camera.crf), "preset": "ultrafast", "threads": "1"}
        stream.codec_context.time_base = Fraction(1, 90_000)
        for k, time in enumerate(times):
            picture = frame_at(k)
            colours = np.full((picture.shape[0] // 2, picture.shape[1]), 128, np.uint8)
            frame = av.VideoFrame.from_ndarray(np.vstack([picture, colours]), format="yuv420p")
            frame.pts, frame.time_base = round((time - times[0]) * 90_000), Fraction(1, 90_000)
            for packet in stream.encode(frame):
                out.mux(packet)
        for packet in stream.encode():
            out.mux(packet)
