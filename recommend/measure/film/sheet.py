"""Which frames of a film the fitter should look at, and what is drawn on them."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any, Final

import numpy as np

from recommend.measure.film.doubting import doubtful_frames
from recommend.measure.film.legs import RADIUS, X, Y
from recommend.measure.film.marked import Marked
from recommend.measure.film.opening import Tell, draw
from recommend.measure.film.reading import FilmRead
from recommend.measure.video.recording import MARKS
from recommend.measure.video.stance import heel_stances
from recommend.parameters import Parameters

_STRIDES, _DOUBTFUL = 2, 8  # strides of each foot and doubtful frames that are shown
_AROUND = 9.0  # radii of a mark shown around the marks
_WORDS: Final = ("first contact", "middle of stance", "end of stance")


def contact_sheet(path: Path, read: FilmRead, parameters: Parameters, tell: Tell) -> bytes:
    """The contact sheet of the film at `path` as PNG: frames of stance, and doubtful ones."""
    titles = _stance_frames(read, parameters)
    for side, one in read.marked.items():
        frames = doubtful_frames(one)
        for frame in frames[:: max(len(frames) // _DOUBTFUL, 1)][:_DOUBTFUL]:
            titles[frame] = f"doubtful, {side}"
    tiles = [_tile(frame, titles[frame], read) for frame in sorted(titles)]
    plan = {"tiles": tiles, "box": _box(read), "turn": read.opened.turn}
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "sheet.png"
        draw(path, out, plan, parameters, tell)
        return out.read_bytes()


def _stance_frames(read: FilmRead, parameters: Parameters) -> dict[int, str]:
    """By frame of the film, what it shows: contact, middle and end of the first strides."""
    titles: dict[int, str] = {0: "first frame"}
    times = read.opened.spots.times
    for one in read.recordings:
        running = one.gait == "running"
        for start, stop in heel_stances(one.height, one.rate_hz, parameters, running=running)[
            :_STRIDES
        ]:
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
