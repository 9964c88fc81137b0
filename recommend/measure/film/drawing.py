"""The contact sheet: frames of a film cut around the legs, each mark in a small ring, named."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
_WIDTH, _COLUMNS, _TITLE = 400, 4, 22  # px of a tile, tiles in a row, px of the line above one
_FONT, _SIZE = cv2.FONT_HERSHEY_SIMPLEX, 0.45
_WHITE, _BLACK = 255, 0


def sheet_of(
    tiles: Sequence[tuple[Mapping[str, Any], Picture]], box: Sequence[int], out: Path
) -> None:
    """Write the tiles (title and marks, with their picture) to the PNG `out`.

    `box` is what is shown of every picture: left, top, right and bottom in px.
    """
    drawn = [_tile(tile, picture, box) for tile, picture in tiles]
    while len(drawn) % _COLUMNS and len(drawn) > _COLUMNS:
        drawn.append(np.full_like(drawn[0], _WHITE))
    rows = [np.hstack(drawn[at : at + _COLUMNS]) for at in range(0, len(drawn), _COLUMNS)]
    done, png = cv2.imencode(".png", np.vstack(rows))
    if not done:
        raise OSError("the picture could not be made")
    out.write_bytes(png.tobytes())


def _tile(tile: Mapping[str, Any], picture: Picture, box: Sequence[int]) -> Picture:
    left, top, right, bottom = box
    scale = _WIDTH / (right - left)
    size = (_WIDTH, round((bottom - top) * scale))
    part = picture[top:bottom, left:right]
    shown = cv2.resize(part, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)
    for mark in tile["marks"]:
        _ring(shown, mark, (np.array([mark["x"], mark["y"]]) - [left, top] + 0.5) * scale, scale)
    title = np.full((_TITLE, _WIDTH), _WHITE, np.uint8)
    cv2.putText(title, tile["title"], (4, 15), _FONT, 0.42, _BLACK, 1, cv2.LINE_AA)
    framed = np.vstack([title, np.asarray(shown, dtype=np.uint8)])
    return np.asarray(cv2.copyMakeBorder(framed, 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=_WHITE))


def _ring(shown: Any, mark: Mapping[str, Any], at: NDArray[np.float64], scale: float) -> None:
    centre = (round(at[0]), round(at[1]))
    radius = max(round(mark["r"] * scale) + 3, 5)
    cv2.circle(shown, centre, radius, _WHITE, 3, cv2.LINE_AA)
    cv2.circle(shown, centre, radius, _BLACK, 1, cv2.LINE_AA)
    (wide, high), _ = cv2.getTextSize(mark["name"], _FONT, _SIZE, 1)
    beside = radius + 4
    x = centre[0] - beside - wide if mark["side"] == "left" else centre[0] + beside
    where = (int(np.clip(x, 1, shown.shape[1] - wide - 1)), centre[1] + high // 2)
    cv2.putText(shown, mark["name"], where, _FONT, _SIZE, _WHITE, 4, cv2.LINE_AA)
    cv2.putText(shown, mark["name"], where, _FONT, _SIZE, _BLACK, 1, cv2.LINE_AA)
