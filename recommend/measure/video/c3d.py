"""Marks from a C3D file (c3d.org), seen from behind; needs the optional extra ``c3d``."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place, nearest
from recommend.extras import not_installed
from recommend.measure.header import Gait
from recommend.measure.model import Side
from recommend.measure.video.recording import MARKS, MarksRecording

FloatArray = NDArray[np.float64]
Facing = Literal["+x", "-x", "+y", "-y"]
FACINGS: Final[tuple[Facing, ...]] = ("+x", "-x", "+y", "-y")
_WALKED_MM = 500.0  # less than this is a treadmill or standing: the way cannot be told
_MM_PER_UNIT = {"mm": 1.0, "cm": 10.0, "m": 1000.0}


def read_marks_c3d(
    path: Path,
    side: Side | None,
    names: Mapping[str, str],
    facing: Facing | None = None,
    gait: Gait = "walking",
    condition: str = "barefoot",
) -> MarksRecording:
    """Read four points of a C3D file as marks seen from behind.

    Parameters
    ----------
    names : which point stands for which mark, ``{"upper-leg": "NAME", ...}``.
    facing : the way the person faces in the laboratory's axes, z up; told from the walked way
        when None.

    Raises
    ------
    InputError
        If the file is no C3D file, or lacks a point, or the way cannot be told.
    RecommendError
        If the extra is not installed.
    """
    if side is None:
        raise InputError(
            Place(str(path)), "a C3D file does not say the foot", "--side left or right"
        )
    data = _open(path)
    labels = [str(label).strip() for label in data["parameters"]["POINT"]["LABELS"]["value"]]
    unit = str((data["parameters"]["POINT"].get("UNITS") or {"value": ["mm"]})["value"][0])
    if unit not in _MM_PER_UNIT:
        raise InputError(Place(str(path)), f"points are in `{unit}`", ", ".join(_MM_PER_UNIT))
    points = data["data"]["points"][:3].astype(np.float64) * _MM_PER_UNIT[unit]
    chosen = [_index(path, mark, names, labels) for mark in MARKS]
    marks = np.moveaxis(points[:, chosen, :], (0, 1, 2), (2, 1, 0))  # frames, marks, xyz
    return MarksRecording(
        points=rear_view(marks, facing or _told_facing(path, marks)),
        unit="mm",
        rate_hz=float(data["header"]["points"]["frame_rate"]),
        side=side,
        gait=gait,
        condition=condition,
        contact=None,
        stances=None,
        plumb=None,
        dropped=0,
        name=str(path),
    )


def _open(path: Path) -> Any:
    try:
        import ezc3d
    except ImportError:
        raise not_installed("reading C3D", "c3d") from None
    try:
        return ezc3d.c3d(str(path))
    except (OSError, RuntimeError, ValueError) as error:
        reason = " ".join(str(error).split())
        raise InputError(Place(str(path)), f"the file is not C3D ({reason})") from None


def _index(path: Path, mark: str, names: Mapping[str, str], labels: list[str]) -> int:
    if mark not in names:
        raise InputError(
            Place(str(path)),
            f"no point is named for `{mark}`",
            ", ".join(labels[:40]),
            f"say it as --mark {mark}=NAME",
        )
    if names[mark] not in labels:
        raise InputError(
            Place(str(path)),
            f"the file has no point `{names[mark]}`",
            ", ".join(labels[:40]),
            nearest(names[mark], labels),
        )
    return labels.index(names[mark])


def _told_facing(path: Path, marks: FloatArray) -> Facing:
    """The axis along which the marks travelled most."""
    known = marks[~np.isnan(marks).any(axis=(1, 2))]
    way = known[-1].mean(axis=0) - known[0].mean(axis=0) if len(known) else np.zeros(3)
    axis: int = int(np.argmax(np.abs(way[:2])))
    if abs(way[axis]) < _WALKED_MM:
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
