"""Opens one film in a process of its own; hands on spots and times, or pictures asked for.

``python -m recommend.measure.film.child WORK FILE OUT JSON`` is started by `opening`. WORK is
``spots`` (an NPZ of every frame's spots), ``pictures`` (PNG of some frames with marks drawn) or
``crop`` (a copy of the film below a row). Frames are decoded one at a time and none is kept.
"""

from __future__ import annotations

import itertools
import json
import os
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recommend.measure.apart import NOT_READ, limit
from recommend.measure.film.legs import CONTRAST, RADIUS, legs_in, may_be_marks
from recommend.parameters import Film

Picture = NDArray[np.uint8]
_RADII = (2.6, 3.7, 5.2, 7.3, 10.4, 14.7, 20.8, 29.4)  # px, tried on some frames
_SCOUTED = 12  # frames on which the marks' size and tone are told
_FIRST = 4  # of them looked at first
THREADS = 2  # that decode
_TOLD_EVERY = 20  # frames between two words of progress
_NINETY = Fraction(1, 90_000)


class UnreadableError(Exception):
    """The film cannot be read; says why in a few words."""


def main(work: str, file: str, out: str, told: str) -> int:
    """Do the `work` on `file`; 0 when it could be done, else `NOT_READ`: no film, or damaged."""
    options = json.loads(told)
    limit(int(options["film"]["memory"]))
    import av
    import cv2

    cv2.setNumThreads(1)
    av.logging.set_level(av.logging.PANIC)
    try:
        {"spots": find_spots, "pictures": draw_pictures, "crop": crop}[work](file, out, options)
    except (UnreadableError, av.error.FFmpegError, ValueError, MemoryError, OSError) as error:
        print(" ".join(_said(error).split())[:200], file=sys.stderr)
        return NOT_READ
    return 0


def _said(error: Exception) -> str:
    """An error in a few words."""
    import av

    if isinstance(error, MemoryError):
        return "it needs too much memory"
    if isinstance(error, av.error.InvalidDataError):
        return "it is no film, or damaged: copy it again from the camera"
    return (isinstance(error, OSError) and error.strerror) or str(error)


class OpenedFilm:
    """A film opened: its frames in order of time, upright, grey."""

    def __init__(self, file: str, options: dict[str, Any]) -> None:
        import av

        self.container = av.open(file, metadata_errors="ignore")
        if not self.container.streams.video:
            raise UnreadableError("there is no picture in it")
        self.stream = self.container.streams.video[0]
        self.stream.thread_type = "AUTO"
        self.stream.codec_context.thread_count = THREADS
        width, height = self.stream.codec_context.width, self.stream.codec_context.height
        if not width or width * height > options["film"]["pixels"]:
            raise UnreadableError(f"its pictures have {width} x {height} px")
        self.rate = float(self.stream.average_rate or self.stream.guessed_rate or 0.0)
        self.turn = int(options.get("turn", 0))  # quarter turns clockwise beside its own
        self.most = int(options["film"]["frames"])
        self.damaged = 0  # pieces of it that could not be decoded

    def expected(self) -> int:
        """About how many frames there are."""
        if self.stream.frames:
            return int(self.stream.frames)
        seconds = (self.container.duration or 0) / 1e6
        return max(int(seconds * self.rate), 1)

    def frames(self) -> Iterator[tuple[int, float, Picture]]:
        """Number, time in s and picture of every frame that can be decoded, forward in time."""
        number, last = 0, -1.0
        for frame in self._decoded():
            time = float(frame.time) if frame.time is not None else number / (self.rate or 1.0)
            if time <= last:  # the same moment twice
                continue
            yield number, time, self.upright(frame)
            number, last = number + 1, time
            if number > self.most:
                raise UnreadableError(f"it has more than {self.most} frames")

    def _decoded(self) -> Iterator[Any]:
        """Every frame that can be decoded; what cannot is counted."""
        import av

        packets = self.container.demux(self.stream)
        while True:
            try:
                frames = next(packets).decode()
            except StopIteration:
                return
            except av.error.InvalidDataError:
                self.damaged += 1
                if self.damaged > self.most:
                    return
                continue
            self.damaged += sum(bool(frame.is_corrupt) for frame in frames)
            yield from (frame for frame in frames if not frame.is_corrupt)

    def upright(self, frame: Any) -> Picture:
        """The brightness of a frame (height, width), turned as the film says."""
        import cv2

        if frame.format.name in ("yuv420p", "yuvj420p", "yuv422p", "yuv444p", "gray", "nv12"):
            plane = frame.planes[0]
            rows = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)
            grey = rows[: frame.height, : frame.width]
        else:
            grey = frame.to_ndarray(format="gray")
        turns = (self.turn + round(-frame.rotation / 90.0)) % 4
        if not turns:
            return np.ascontiguousarray(grey)
        way = (cv2.ROTATE_90_CLOCKWISE, cv2.ROTATE_180, cv2.ROTATE_90_COUNTERCLOCKWISE)[turns - 1]
        return np.asarray(cv2.rotate(np.ascontiguousarray(grey), way), dtype=np.uint8)

    def at(self, time: float) -> list[Picture]:
        """The picture at a time in s that a frame has; none where it is not found again."""
        import av

        try:
            self.container.seek(int(time / float(self.stream.time_base or 1)), stream=self.stream)
            for frame in self.container.decode(self.stream):
                if frame.time is not None and frame.time >= time - 1e-4:
                    return [self.upright(frame)]
        except av.error.FFmpegError:
            pass
        return []

    def some(self, count: int) -> list[Picture]:
        """About `count` pictures from all over the film."""
        import av

        whole = self.expected()
        if whole <= 500:
            step = max(whole // count, 1)
            return [grey for number, _, grey in self.frames() if number % step == step // 2]
        out = []
        for k in range(count):
            at = int(
                (k + 0.5) / count * whole / (self.rate or 30.0) / float(self.stream.time_base or 1)
            )
            try:
                self.container.seek(at, stream=self.stream)
                out.append(self.upright(next(self.container.decode(self.stream))))
            except (av.error.FFmpegError, StopIteration):
                continue
        return out


def find_spots(file: str, out: str, options: dict[str, Any]) -> None:
    """Write the spots of every frame, with times and what the marks look like."""
    from recommend.measure.film.spots import COLUMNS, spots_of

    numbers = Film(options["film"])
    look = look_of(OpenedFilm(file, options).some(_SCOUTED), numbers)
    if not look.legs:
        raise UnreadableError("no leg with four marks below each other was found in it")
    film = OpenedFilm(file, options | {"turn": look.turn})
    expected = film.expected()
    times, counts, spots = [], [], []
    size = (0, 0)
    for number, time, grey in film.frames():
        found = spots_of(grey, look.radius, numbers, bright=look.bright, contrast=look.contrast)
        times.append(time)
        counts.append(len(found))
        spots.append(found.astype(np.float32))
        size = grey.shape
        if number % _TOLD_EVERY == 0:
            print(number, max(expected, number + 1), flush=True)
    if len(times) < 2:
        raise UnreadableError("it holds fewer than two pictures")
    np.savez(
        out, times=np.array(times), counts=np.array(counts),
        spots=np.concatenate(spots) if spots else np.empty((0, COLUMNS)),
        size=np.array(size), radius=look.radius, contrast=look.contrast, bright=look.bright,
        turn=look.turn, lost=max(film.damaged, film.stream.frames - len(times)) / expected,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Look:
    """What the marks of a film look like: radius in px, grey levels above the skin, tone.

    `turn` is by how many quarters clockwise the picture must be turned for legs to stand
    upright, `legs` how many were seen in the frames that were looked at.
    """

    radius: float = 5.0
    contrast: float = 0.0
    bright: bool = False
    turn: int = 0
    legs: int = 0


def look_of(pictures: list[Picture], film: Film) -> Look:
    """What the marks look like, from some pictures of a film."""
    few = pictures[:: max(len(pictures) // _FIRST, 1)]
    kinds = {
        kind: _legs_of(few, kind, film)[0] for kind in itertools.product((False, True), _RADII)
    }
    most = max(kinds.values())
    best, score = Look(), 0.0
    for kind, seen in kinds.items():
        if seen >= film.look_worth * most:
            here, look = _legs_of(pictures, kind, film)
            if here > score * film.look_better:
                best, score = look, here
    return best


Kind = tuple[bool, float]  # whether marks are lighter than skin, and their radius in px


def _legs_of(pictures: Sequence[Picture], kind: Kind, film: Film) -> tuple[float, Look]:
    """How much legs with marks of this kind stand out, in the turn in which they do most."""
    from recommend.measure.film.spots import spots_of

    bright, radius = kind
    spots = [spots_of(picture, radius, film, bright=bright) for picture in pictures]
    spots = [one[may_be_marks(one, film)] for one in spots]
    best = 0.0, Look()
    for turn in (0, 2, 1, 3):
        shapes = zip(spots, pictures, strict=True)
        turned = [turned_spots(one, picture.shape, turn) for one, picture in shapes]
        seen = _legs_seen(turned, bright, turn, film)
        if seen[0] > best[0] * film.look_better:
            best = seen
        if best[1].legs >= len(pictures) / 2:
            break
    return best


def _legs_seen(
    spots: list[NDArray[Any]], bright: bool, turn: int, film: Film
) -> tuple[float, Look]:
    """How much legs with marks of this kind stand out, and what these look like."""
    score, marks = 0.0, []
    for one in spots:
        for leg in legs_in(one, film)[:2]:
            marks.append(one[list(leg.spots)])
            score += float(marks[-1][:, CONTRAST].min()) / (1.0 + leg.misfit)
    if not marks:
        return 0.0, Look()
    known = np.concatenate(marks)
    size, contrast = np.median(known[:, RADIUS]), np.median(known[:, CONTRAST])
    return score, Look(float(size), float(contrast), bright, turn, len(marks))


def turned_spots(spots: NDArray[Any], shape: tuple[int, ...], turn: int) -> NDArray[Any]:
    """The spots as they lie in the picture turned clockwise by so many quarters."""
    out = spots.copy()
    height, width = shape[:2]
    for _ in range(turn):
        out[:, 0], out[:, 1] = height - 1 - out[:, 1], out[:, 0].copy()
        height, width = width, height
    return out


def draw_pictures(file: str, out: str, options: dict[str, Any]) -> None:
    """Write one PNG: the frames that were asked for, cut around the legs, with rings and names."""
    from recommend.measure.film.contact_sheet import sheet_of

    film, tiles = OpenedFilm(file, options), options["tiles"]
    drawn = []
    for count, tile in enumerate(tiles):
        drawn += [(tile, picture) for picture in film.at(float(tile["time"]))]
        print(count, len(tiles), flush=True)
    if not drawn:
        raise UnreadableError("its frames cannot be found again")
    sheet_of(drawn, options["box"], Path(out))


def crop(file: str, out: str, options: dict[str, Any]) -> None:
    """Write the film again without the rows above `row`, without sound and without its notes."""
    import av

    film = OpenedFilm(file, options)
    row = int(options["row"])
    with av.open(out, "w", format="mp4") as copy:
        stream: Any = None
        for number, time, grey in film.frames():
            height, width = (grey.shape[0] - row) // 2 * 2, grey.shape[1] // 2 * 2
            if height < 16:
                raise UnreadableError(f"below row {row} there are {max(height, 0)} rows of it")
            if stream is None:
                stream = copy.add_stream("libx264", rate=round(film.rate) or 30)
                stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
                stream.options = {"crf": "17"}
                stream.codec_context.time_base = _NINETY
            colours = np.full((height // 2, width), 128, np.uint8)
            part = np.vstack([grey[row : row + height, :width], colours])
            frame = av.VideoFrame.from_ndarray(part, format="yuv420p")
            frame.pts, frame.time_base = round(time * 90_000), _NINETY
            copy.mux(stream.encode(frame))
            if number % _TOLD_EVERY == 0:
                print(number, max(film.expected(), number + 1), flush=True)
        if stream is None:
            raise UnreadableError("it holds no pictures")
        copy.mux(stream.encode())


if __name__ == "__main__":
    ended = main(*sys.argv[1:5])
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(ended)  # a decoder that was not read to its end may wait for its threads for ever
