"""Opens one C3D file in a process of its own, and writes what it holds as plain arrays.

``python -m recommend.measure.video.c3d_child FILE OUT MEGABYTES`` is started by `c3d`; a library
that crashes on damaged bytes, or asks for all memory, ends this process and not the program.
"""

from __future__ import annotations

import json
import struct
import sys
from pathlib import Path
from typing import Any

import numpy as np

from recommend.measure.apart import limit_memory


def main(file: str, out: str, megabytes: str) -> int:
    """Read `file`, write an NPZ to `out`; 0 when it could be read, 3 when it is not C3D."""
    limit_memory(int(megabytes))
    import ezc3d

    try:
        data = ezc3d.c3d(file)
    except (OSError, RuntimeError, ValueError, IndexError, MemoryError) as error:
        print(" ".join(str(error).split())[:200], file=sys.stderr)
        return 3
    point = data["parameters"]["POINT"]
    points = data["data"]["points"]
    if points.shape[2] < _frames_said(file):
        print("it is cut short", file=sys.stderr)
        return 3
    units = (point.get("UNITS") or {"value": ["mm"]})["value"]
    head = {
        "labels": [str(label).strip() for label in point["LABELS"]["value"]],
        "unit": str(units[0]) if len(units) else "mm",
        "rate": float(data["header"]["points"]["frame_rate"]),
        "first": int(data["header"]["points"]["first_frame"]),
        "events": _events(data["parameters"].get("EVENT") or {}),
    }
    force, corners = _plates(file, points.shape[2])
    np.savez(
        out, points=points[:3].astype(np.float64), head=json.dumps(head), force=force,
        corners=corners,
    )  # fmt: skip
    return 0


def _plates(file: str, frames: int) -> tuple[Any, Any]:
    """(plates, frames) force into each force plate in N, and (plates, 3, 4) its corners.

    What the library cannot make out of a file's plates is as if there were none.
    """
    import ezc3d

    none = np.empty((0, frames)), np.empty((0, 3, 4))
    try:
        plates = ezc3d.c3d(file, extract_forceplat_data=True)["data"]["platform"]
        corners = np.array([plate["corners"] for plate in plates], dtype=np.float64)
        force = np.array([_pressed(plate, frames) for plate in plates])
    except (OSError, RuntimeError, ValueError, IndexError, KeyError, MemoryError):
        return none
    whole = corners.ndim == 3 and force.ndim == 2 and np.isfinite(corners).all()
    return (np.nan_to_num(force), corners) if whole else none


def _pressed(plate: Any, frames: int) -> Any:
    """(frames,) size of the force across one plate in N, at the instant of each frame."""
    force, corners = np.asarray(plate["force"]), np.asarray(plate["corners"])
    if plate["unit_force"] != "N" or not frames or force.shape[1] < frames:
        raise ValueError("no force in N for each frame")
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 1])
    every = force.shape[1] // frames
    return np.abs(across / np.linalg.norm(across) @ force[:, ::every][:, :frames])


def _events(group: Any) -> list[list[Any]]:
    """Label, context (the side) and time in s of each event."""
    try:
        labels, contexts = (list(group[name]["value"]) for name in ("LABELS", "CONTEXTS"))
        times = np.atleast_2d(np.asarray(group["TIMES"]["value"], dtype=np.float64))
    except (KeyError, TypeError, ValueError):
        return []
    if times.shape[0] != 2 or not len(labels) == len(contexts) == times.shape[1]:
        return []
    seconds = 60.0 * times[0] + times[1]
    return [
        [str(a).strip(), str(b).strip(), float(t)]
        for a, b, t in zip(labels, contexts, seconds, strict=True)
    ]


def _frames_said(file: str) -> int:
    """How many frames the head promises (words 4 and 5, c3d.org); the library forgives fewer."""
    with Path(file).open("rb") as stream:
        head = stream.read(512)
        stream.seek((head[0] - 1) * 512 + 3)
        processor = stream.read(1)
    if processor != bytes([84]):  # another order of bytes
        return 0
    first, last = struct.unpack("<HH", head[6:10])
    return int(last - first + 1)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:4]))
