"""Have a film opened by a process of its own: spots of its frames, pictures of some, a copy."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recommend.errors import InputError, Place
from recommend.extras import need
from recommend.measure.apart import GaveUpError, run_apart
from recommend.measure.film.following import Spots
from recommend.parameters import Film

Tell = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """The spots of a film, whether its marks are lighter than skin, and its turn in quarters.

    `turn` counts quarters clockwise beside what the film says of itself; `lost` is the share of
    frames that cannot be decoded.
    """

    spots: Spots
    bright: bool
    turn: int
    lost: float


def spots_in(path: Path, film: Film, tell: Tell | None = None) -> Opened:
    """The spots of every frame of the film at `path`.

    Raises
    ------
    InputError
        If it is no film, is damaged or too large, or shows no leg with four marks.
    RecommendError
        If the extra is not installed.
    """
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "spots.npz"
        _run("spots", path, out, {}, film, tell)
        with np.load(out, allow_pickle=False) as held:
            ends = np.cumsum(held["counts"])
            rows: NDArray[np.float64] = held["spots"].astype(np.float64)
            height, width = map(int, held["size"])
            each = np.split(rows, ends[:-1])
            look = float(held["radius"]), float(held["contrast"])
            spots = Spots(held["times"], each, (height, width), *look)
            lost = max(float(held["lost"]), 0.0)
            return Opened(spots, bool(held["bright"]), int(held["turn"]), lost)


def draw(path: Path, out: Path, plan: Mapping[str, Any], film: Film, tell: Tell) -> None:
    """Write a PNG of some frames with marks drawn; `plan` holds tiles, box and turn."""
    _run("pictures", path, out, plan, film, tell)


def cropped(path: Path, out: Path, row: int, film: Film, tell: Tell) -> None:
    """Write a copy of the film without what lies above `row`, without sound and notes."""
    _run("crop", path, out, {"row": row}, film, tell)


def _run(
    work: str, path: Path, out: Path, told: Mapping[str, Any], film: Film, tell: Tell | None
) -> None:
    need("reading a film", "film", "av", "cv2")
    options = {"film": vars(film), **told}
    try:
        run_apart(
            "recommend.measure.film.child",
            [work, str(path), str(out), json.dumps(options)],
            quiet_s=film.quiet_s,
            tell=tell,
        )
    except GaveUpError as reason:
        raise InputError(
            Place(str(path)), f"the film cannot be read ({reason})",
            "a film of lower legs from behind, with four marks on each",
            "`recommend help filming` says how to film",
        ) from None  # fmt: skip
