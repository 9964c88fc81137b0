"""The contact sheet: which frames of a film the fitter should look at, and how they are drawn.

The frames are cut around the legs, each mark in a small ring, named.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from recommend.measure.film.doubting import doubtful_frames
from recommend.measure.film.legs import RADIUS, X, Y
from recommend.measure.film.marked import Marked
from recommend.measure.film.opening import Tell, draw
from recommend.measure.film.reading import FilmRead
from recommend.measure.video.recording import MARKS
from recommend.measure.video.stance import heel_stances_of
from recommend.parameters import Capture, Parameters

Picture = NDArray[np.uint8]
_WIDTH, _COLUMNS, _TITLE = 400, 4, 22  # px of a tile, tiles in a row, px of the line above one
_SIZE = 0.45  # of letters
_WHITE, _BLACK = 255, 0
_STRIDES, _DOUBTFUL = 2, 8  # strides of each foot and doubtful frames that are shown
_AROUND = 9.0  # radii of a mark shown around the marks
_WORDS: Final = ("first contact", "middle of stance", "end of stance")


def contact_sheet(path: Path, read: FilmRead, parameters: Parameters, tell: Tell) -> bytes:
    """The contact sheet of the film at `path` as PNG: frames of stance, and doubtful ones."""
    titles = _stance_frames(read, parameters.capture)
    for side, one in read.marked.items():
        frames = doubtful_frames(one)
        for frame in frames[:: max(len(frames) // _DOUBTFUL, 1)][:_DOUBTFUL]:
            titles[frame] = f"doubtful, {side}"
    tiles = [_tile(frame, titles[frame], read) for frame in sorted(titles)]
    plan = {"tiles": tiles, "box": _box(read), "turn": read.opened.turn}
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "sheet.png"
        draw(path, out, plan, parameters.film, tell)
        return out.read_bytes()


def _stance_frames(read: FilmRead, capture: Capture) -> dict[int, str]:
    """By frame of the film, what it shows: contact, middle and end of the first strides."""
    titles: dict[int, str] = {0: "first frame"}
    times = read.opened.spots.times
    for one in read.recordings:
        for start, stop in heel_stances_of(one, capture)[:_STRIDES]:
            for word, at in zip(_WORDS, (start, (start + stop) // 2, stop - 1), strict=True):
                frame = int(np.argmin(np.abs(times - times[0] - at / one.rate_hz)))
                titles.setdefault(frame, f"{one.side}, {word}")
    return titles


def _tile(frame: int, title: str, read: FilmRead) -> dict[str, Any]:
    seconds = read.opened.spots.times[frame]
    marks = [
        {"x": float(row[X]), "y": float(row[Y]), "r": float(row[RADIUS]), "name": MARKS[k],
         "side": side}
        for side, one in read.marked.items()
        for k, row in enumerate(one.rows[frame])
        if not np.isnan(row[X])
    ]  # fmt: skip
    shown = f"frame {frame + 1}, {seconds:.2f} s: {title}"
    return {"time": float(seconds * read.slow_motion), "title": shown, "marks": marks}


def _box(read: FilmRead) -> list[int]:
    """What is shown of every frame: around all marks, so that no face is on the sheet."""
    height, width = read.opened.spots.size
    legs: list[Marked] = list(read.marked.values())
    rows = np.concatenate([one.rows.reshape(-1, one.rows.shape[-1]) for one in legs])
    around = _AROUND * float(np.nanmedian(rows[:, RADIUS]))
    low = np.nanmin(rows[:, [X, Y]], axis=0) - around
    high = np.nanmax(rows[:, [X, Y]], axis=0) + around
    left, top = np.maximum(low, 0).astype(int)
    right, bottom = np.minimum(high, [width, height]).astype(int)
    return [int(left), int(top), int(right), int(bottom)]


def sheet_of(
    tiles: Sequence[tuple[Mapping[str, Any], Picture]], box: Sequence[int], out: Path
) -> None:
    """Write the tiles (title and marks, with their picture) to the PNG `out`.

    `box` is what is shown of every picture: left, top, right and bottom in px.
    """
    import cv2

    drawn = [_drawn(tile, picture, box) for tile, picture in tiles]
    while len(drawn) % _COLUMNS and len(drawn) > _COLUMNS:
        drawn.append(np.full_like(drawn[0], _WHITE))
    rows = [np.hstack(drawn[at : at + _COLUMNS]) for at in range(0, len(drawn), _COLUMNS)]
    done, png = cv2.imencode(".png", np.vstack(rows))
    if not done:
        raise OSError("the picture could not be made")
    out.write_bytes(png.tobytes())


def _drawn(tile: Mapping[str, Any], picture: Picture, box: Sequence[int]) -> Picture:
    import cv2

    left, top, right, bottom = box
    scale = _WIDTH / (right - left)
    size = (_WIDTH, round((bottom - top) * scale))
    part = picture[top:bottom, left:right]
    shown = cv2.resize(part, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)
    for mark in tile["marks"]:
        _ring(shown, mark, (np.array([mark["x"], mark["y"]]) - [left, top] + 0.5) * scale, scale)
    title = np.full((_TITLE, _WIDTH), _WHITE, np.uint8)
    cv2.putText(
        title, tile["title"], (4, 15), cv2.FONT_HERSHEY_SIMPLEX, 0.42, _BLACK, 1, cv2.LINE_AA
    )
    framed = np.vstack([title, np.asarray(shown, dtype=np.uint8)])
    return np.asarray(cv2.copyMakeBorder(framed, 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=_WHITE))


def _ring(shown: Any, mark: Mapping[str, Any], at: NDArray[np.float64], scale: float) -> None:
    import cv2

    font = cv2.FONT_HERSHEY_SIMPLEX
    centre = (round(at[0]), round(at[1]))
    radius = max(round(mark["r"] * scale) + 3, 5)
    cv2.circle(shown, centre, radius, _WHITE, 3, cv2.LINE_AA)
    cv2.circle(shown, centre, radius, _BLACK, 1, cv2.LINE_AA)
    (wide, high), _ = cv2.getTextSize(mark["name"], font, _SIZE, 1)
    beside = radius + 4
    x = centre[0] - beside - wide if mark["side"] == "left" else centre[0] + beside
    where = (int(np.clip(x, 1, shown.shape[1] - wide - 1)), centre[1] + high // 2)
    cv2.putText(shown, mark["name"], where, font, _SIZE, _WHITE, 4, cv2.LINE_AA)
    cv2.putText(shown, mark["name"], where, font, _SIZE, _BLACK, 1, cv2.LINE_AA)
