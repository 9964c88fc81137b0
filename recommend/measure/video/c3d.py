"""Marks from a C3D file (c3d.org), seen from behind; needs the optional extra ``c3d``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from recommend.errors import InputError, Place, nearest
from recommend.extras import need
from recommend.measure.apart import GaveUpError, opened
from recommend.measure.filtering import FloatArray, Span, spans
from recommend.measure.header import Facing
from recommend.measure.model import Side
from recommend.measure.video.recording import LOWER_HEEL, MARKS, MarksRecording
from recommend.parameters import Capture

if TYPE_CHECKING:
    from recommend.measure.capture import CaptureOptions

FACINGS: Final[tuple[Facing, ...]] = ("+x", "-x", "+y", "-y", "+z", "-z")
_MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0}


@dataclass(frozen=True, slots=True, eq=False)
class C3dPoints:
    """Points of a C3D file: names, (3, points, frames) in mm, rate, events and force plates.

    `events` are label, context and time in s; `first` is the number of the first frame; `force`
    is (plates, frames) in N across each plate, `corners` (plates, 3, 4) in mm.
    """

    labels: list[str]
    points: FloatArray
    rate_hz: float
    first: int
    events: list[tuple[str, str, float]]
    force: FloatArray
    corners: FloatArray


def read_marks_c3d(path: Path, options: CaptureOptions, capture: Capture) -> MarksRecording:
    """Read four points of a C3D file as marks seen from behind.

    The vertical axis is told from the leg, and the way the person faces from the way walked where
    the options do not say it. Foot strikes and foot offs among the file's events are its stances;
    without them, those that its force plates feel where this heel lands on one.

    Raises
    ------
    InputError
        If the file is no C3D file, or lacks a point, or the way cannot be told.
    RecommendError
        If the extra is not installed.
    """
    side = options.side
    if side is None:
        raise InputError(
            Place(str(path)), "a C3D file does not say the foot", "--side left or right"
        )
    data = read_points(path)
    chosen = [_index(path, mark, options.marks, data.labels) for mark in MARKS]
    marks = np.moveaxis(data.points[:, chosen, :], (0, 1, 2), (2, 1, 0))  # frames, marks, xyz
    known = marks[~np.isnan(marks).any(axis=(1, 2))]
    if not len(known):
        raise InputError(Place(str(path)), "no frame has all four marks")
    upright = _upright(known)
    turned = marks @ upright.T
    if options.facing is None:
        way = _told_facing(path, known @ upright.T, capture)
    else:
        way = _facing_in(upright, options.facing, path)
    return MarksRecording(
        points=rear_view(turned, way),
        unit="mm",
        rate_hz=data.rate_hz,
        side=side,
        gait=options.gait,
        condition=options.condition,
        stances=_told(data, side, len(marks)) or _felt(data, turned, upright, capture),
        name=str(path),
    )


def read_points(path: Path) -> C3dPoints:
    """The points of a C3D file, opened in a process of its own.

    Raises
    ------
    InputError
        If it is no C3D file, or opening it crashes, or takes too long or too much memory.
    RecommendError
        If the extra is not installed.
    """
    need("reading C3D", "c3d", "ezc3d")
    try:
        points, head = opened("c3d", path)
    except GaveUpError as reason:
        raise _not_c3d(path, str(reason)) from None
    force, corners = np.array(head["force"]), np.array(head["corners"])
    if head["unit"] not in _MM_PER_UNIT:
        raise InputError(
            Place(str(path)), f"points are in `{head['unit']}`", ", ".join(_MM_PER_UNIT)
        )
    if not points.size or not 1 <= head["rate"] <= 10_000:
        raise _not_c3d(path, "it holds no frames, or no rate")
    events = [(str(a), str(b), float(t)) for a, b, t in head["events"]]
    mm = _MM_PER_UNIT[head["unit"]]
    return C3dPoints(
        head["labels"], points * mm, head["rate"], head["first"], events, force, corners * mm
    )


def _not_c3d(path: Path, reason: str) -> InputError:
    return InputError(Place(str(path)), f"the file is not C3D, or damaged ({reason})")


def _upright(known: FloatArray) -> FloatArray:
    """(3, 3) turn of the laboratory that brings its vertical axis, along the leg, to z."""
    leg = np.median(known[:, 0] - known[:, 1], axis=0)
    axis = int(np.argmax(np.abs(leg)))
    turns = {
        2: np.eye(3),
        1: np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]),
        0: np.array([[0, 1.0, 0], [0, 0, 1.0], [1.0, 0, 0]]),
    }
    turn = turns[axis]
    return turn if leg[axis] > 0 else np.diag([1.0, -1.0, -1.0]) @ turn


def _facing_in(upright: FloatArray, facing: Facing, path: Path) -> Facing:
    """A way in the laboratory's axes as one with z up."""
    way = np.zeros(3)
    way["xyz".index(facing[1])] = 1.0 if facing[0] == "+" else -1.0
    turned = upright @ way
    axis = int(np.argmax(np.abs(turned)))
    if axis == 2:
        raise InputError(Place(str(path)), f"`{facing}` is the vertical axis of this file",
                         "the way the person faces", "say another --facing")  # fmt: skip
    return FACINGS[2 * axis + int(turned[axis] < 0)]


def _told(data: C3dPoints, side: Side, count: int) -> tuple[Span, ...] | None:
    """From each foot strike of the side to its next foot off; None without events."""
    mine = sorted((t, label.lower()) for label, context, t in data.events
                  if context.lower() == side)  # fmt: skip
    found = []
    for (t0, first), (t1, then) in pairwise(mine):
        if "strike" in first and "off" in then:
            start, stop = (round(t * data.rate_hz) - data.first for t in (t0, t1))
            if 0 <= start < stop <= count:
                found.append((start, stop))
    return tuple(found) or None


def _felt(
    data: C3dPoints, turned: FloatArray, upright: FloatArray, capture: Capture
) -> tuple[Span, ...] | None:
    """Spans of frames in which a plate bears this foot, of (frames, marks, xyz) with z up.

    The heel's mark lands over the plate, and has not walked off it when the force ends: else the
    other foot bore on it too.
    """
    heel, found = turned[:, LOWER_HEEL, :2], []
    for force, corners in zip(data.force, data.corners, strict=True):
        flat = (upright @ corners)[:2]
        low, high = flat.min(axis=1) - capture.mark_behind, flat.max(axis=1) + capture.mark_behind
        for start, stop in spans(force > capture.step_force):
            lands, leaves = heel[start], heel[stop - 1]
            over = bool((lands >= low).all() and (lands <= high).all())
            whole = start > 0 and stop < len(force) and stop - start > 2
            if over and whole and np.hypot(*(leaves - lands)) < capture.walked_least:
                found.append((start, stop))
    return tuple(sorted(found)) or None


def _index(path: Path, mark: str, names: Mapping[str, str], labels: list[str]) -> int:
    """Which of the points `labels` stands for a mark."""
    name = names.get(mark)
    if name in labels:
        return labels.index(name)
    if name is None:
        found, mend = f"no point is named for `{mark}`", f"say it as --mark {mark}=NAME"
    else:
        found, mend = f"the file has no point `{name}`", nearest(name, labels)
    raise InputError(Place(str(path)), found, ", ".join(labels[:40]), mend)


def _told_facing(path: Path, known: FloatArray, capture: Capture) -> Facing:
    """The axis along which the marks travelled most."""
    way = known[-1].mean(axis=0) - known[0].mean(axis=0)
    axis: int = int(np.argmax(np.abs(way[:2])))
    if abs(way[axis]) < capture.walked_least:
        raise InputError(
            Place(str(path)),
            "the way the person faces cannot be told: the marks stay in place",
            ", ".join(FACINGS),
            "say it as --facing",
        )
    return FACINGS[2 * axis + int(way[axis] < 0)]


def rear_view(marks: FloatArray, facing: Facing) -> FloatArray:
    """(n, m, 2) x to the right as seen from behind and y up, from (n, m, 3) with z up.

    The right of a person who faces +y is +x; of one who faces +x it is -y.
    """
    right = {"+y": (0, 1.0), "-y": (0, -1.0), "+x": (1, -1.0), "-x": (1, 1.0)}[facing]
    return np.stack([right[1] * marks[..., right[0]], marks[..., 2]], axis=-1)
