"""A film to marks: found and followed, put right by hand, on an even grid of time, with doubts.

From here the way is that of any capture of marks. Pixels of the film are counted from the upper
left; y of a recording counts up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from recommend.errors import InputError, Place
from recommend.measure.film.by_hand import PutRight
from recommend.measure.film.doubting import doubts_of
from recommend.measure.film.following import (
    NONE,
    Spots,
    Start,
    follow,
    second_leg,
    starts_of,
    taken_turns,
)
from recommend.measure.film.legs import CONTRAST
from recommend.measure.film.marked import Marked, centre_error, heel_height, marks_of, side_mark
from recommend.measure.film.opening import Opened, Tell, spots_in
from recommend.measure.filtering import FloatArray
from recommend.measure.model import SIDES, Flag, Side
from recommend.measure.video.recording import MarksRecording
from recommend.parameters import Film

if TYPE_CHECKING:
    from recommend.measure.capture import CaptureOptions

Line = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class FilmOptions:
    """What a film does not say of itself.

    Attributes
    ----------
    slow_motion : how many times slower than life the film plays.
    put_right : marks put right by hand.
    plumb : two points of a plumb line in px, the upper first.
    ruler : two points in px and the length between them in mm, or None.
    """

    slow_motion: float = 1.0
    put_right: tuple[PutRight, ...] = ()
    plumb: Line | None = None
    ruler: tuple[Line, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class FilmRead:
    """A film read: a recording for each leg, and what the fitter should look at.

    Attributes
    ----------
    recordings : for each side that was read.
    marked : for each side, the marks of every frame of the film, as they are drawn.
    opened : spots, times and turn of the film.
    slow_motion : how many times slower than life the film plays.
    """

    recordings: tuple[MarksRecording, ...]
    marked: Mapping[Side, Marked]
    opened: Opened = field(repr=False)
    slow_motion: float = 1.0


def read_film(
    path: Path, film: Film, options: CaptureOptions, tell: Tell | None = None
) -> FilmRead:
    """Find and follow the marks of the film at `path`: of the side that is named, or of both.

    Raises
    ------
    InputError
        If it cannot be read, shows no leg with four marks, or more than two such legs, or one
        without a side being named, or has too few frames a second.
    """
    said, opened = options.film or FilmOptions(), spots_in(path, film, tell)
    spots = replace(opened.spots, times=opened.spots.times / said.slow_motion)
    return _Reading(path, options, said, film, replace(opened, spots=spots)).read()


@dataclass(frozen=True, slots=True)
class _Reading:
    """A film that is opened, its times as in life, and the numbers by which it is read."""

    path: Path
    options: CaptureOptions
    said: FilmOptions
    film: Film
    opened: Opened

    def read(self) -> FilmRead:
        """Every leg of it that was asked for."""
        film = self.film
        rate = self._rate()
        starts = starts_of(self.opened.spots, film)
        sides, mirrored = self._sides(starts)
        spots, fixed = self._by_hand(starts, sides)
        marked: dict[Side, Marked] = {}
        for leg, side, hand in zip(follow(spots, starts, film, fixed), sides, fixed, strict=True):
            if self.options.side in (None, side):
                marked[side] = marks_of(spots, leg, side, {f for f in hand if hand[f]}, film)
        recordings = []
        for one in marked.values():
            self._refuse_unseen(one)
            flags = doubts_of(one, self.opened, rate, self.said.put_right, mirrored, film)
            recordings.append(self._recording(one, flags, rate, mirrored))
        return FilmRead(tuple(recordings), marked, self.opened, self.said.slow_motion)

    def _refused(self, found: str, allowed: str, mend: str) -> InputError:
        return InputError(Place(str(self.path)), found, allowed, mend)

    def _refuse_unseen(self, marked: Marked) -> None:
        """Refuse legs that change places, and what is followed through few frames."""
        crossed = float(np.mean(marked.crossed))
        if crossed > self.film.crossed_limit:
            raise self._refused(
                f"the legs change places in {crossed:.0%} of the frames (other-leg)",
                "one leg on the left of the picture, one on the right",
                "film a wider step, or one leg at a time with the marks of the other covered",
            )
        share = float(np.mean(~marked.missing.any(axis=1)))
        if share < self.film.seen_least:
            raise self._refused(
                f"the four marks of the {marked.side} leg are seen in {share:.0%} of the frames",
                "marks that stand out from the skin all through the film",
                "`recommend help filming` says what they look like; or `--side` for the other leg",
            )

    def _rate(self) -> float:
        """Frames a second: the usual one, since phones leave some out and others come late."""
        rate = float(1.0 / np.median(np.diff(self.opened.spots.times)))
        near = round(rate)
        rate = float(near) if near and abs(rate - near) < self.film.rate_near * near else rate
        least = self.film.rate_least
        if rate < least:
            raise self._refused(
                f"the film has {rate:.3g} frames a second (rate-too-low)",
                f"at least {least:g}, better 60 to 240",
                "film again with a higher rate; is it slow motion, say how slow as --slow-motion",
            )
        return rate

    def _sides(self, starts: Sequence[Start]) -> tuple[list[Side], bool]:
        """Which leg is which, and whether the picture is mirrored."""
        if len(starts) > 2:
            raise self._refused(
                f"the film shows {len(starts)} legs with four marks (second-person)",
                "one person",
                "film again with nobody else in the picture, or cover other marks",
            )
        if not starts or not any(starts):
            raise self._refused(
                "no leg is seen with its four marks in enough frames",
                "four round marks below each other on each leg, those of the leg furthest apart",
                "`recommend help filming` shows where they go",
            )
        if len(starts) == 1:
            self._refuse_hidden(starts[0])
            if self.options.side is None:
                raise self._refused(
                    "the film shows one leg with four marks and does not say which",
                    "--side left or right",
                    "or both legs in the picture, with four marks each",
                )
            return [self.options.side], False
        told = side_mark(self.opened.spots, starts, self.film)
        return (["right", "left"], True) if told == 1 else (list(SIDES), False)

    def _refuse_hidden(self, start: Start) -> None:
        """Refuse one leg that hides another: which of the two is seen is not known."""
        film, spots = self.film, self.opened.spots
        share = second_leg(spots, film)
        if share > film.second_leg or taken_turns(spots, start, film) > film.crossed_limit:
            raise self._refused(
                f"both legs are seen with their four marks in {share:.0%} of the frames only "
                "(marks-covered)",
                f"at least {film.seen_least:.0%}",
                "film a wider step, the camera further back; or one leg at a time with `--side`, "
                "the marks of the other covered",
            )

    def _by_hand(
        self, starts: Sequence[Start], sides: Sequence[Side]
    ) -> tuple[Spots, list[dict[int, dict[int, int]]]]:
        """The spots with those that were named by hand, and by leg which marks they are."""
        spots = self.opened.spots
        each, (height, width) = list(spots.each), spots.size
        fixed: list[dict[int, dict[int, int]]] = [{} for _ in sides]
        for one in self.said.put_right:
            frame = one.frame - 1
            if not 0 <= frame < len(each):
                found = f"{self.path.name} has no frame {one.frame}"
                raise InputError(_PUT_RIGHT, f"`{one.said}`: {found}", f"1 to {len(each)}")
            marks = fixed[_leg_of(one, spots, starts, sides)].setdefault(frame, {})
            if one.at is None:
                marks[one.mark] = NONE
                continue
            if not (one.at[0] < width and one.at[1] < height):
                found = f"`{one.said}` lies outside the picture"
                raise InputError(_PUT_RIGHT, found, f"x below {width}, y below {height}")
            usual = np.median(np.concatenate(spots.each), axis=0)
            row = np.array([*one.at, spots.radius, usual[CONTRAST], spots.radius, 1.0, 1.0, 0.5])
            each[frame] = np.vstack([each[frame], row])
            marks[one.mark] = len(each[frame]) - 1
        return replace(spots, each=each), fixed

    def _recording(
        self, marked: Marked, flags: tuple[Flag, ...], rate: float, mirrored: bool
    ) -> MarksRecording:
        said, taken = self.said, self.opened.spots.times
        high = np.repeat(heel_height(marked, rate, self.film)[:, None, None], 2, axis=2)
        times, led = even(taken, np.concatenate([marked.rows[..., :2], high], axis=1), rate)
        scale, plumb = 1.0, None
        if said.ruler:
            (a, b), mm = said.ruler
            scale = mm / max(float(np.hypot(a[0] - b[0], a[1] - b[1])), 1e-9)
        flip = np.array([-1.0 if mirrored else 1.0, -1.0])
        if said.plumb:
            plumb = np.broadcast_to(np.array(said.plumb) * flip * scale, (len(times), 2, 2))
        lapse = np.round(np.diff(taken) * rate)
        return MarksRecording(
            points=led[:, :4] * flip * scale,
            unit="mm" if said.ruler else "px",
            rate_hz=rate,
            side=marked.side,
            gait=self.options.gait,
            condition=self.options.condition,
            plumb=plumb,
            dropped=int(np.maximum(lapse - 1, 0).sum()),
            name=str(self.path),
            seen=flags,
            filmed=True,
            heel_height=led[:, 4, 0] * scale,
            centre_error=scale * centre_error(marked, self.film),
        )


_PUT_RIGHT = Place("--put-right")


def _leg_of(one: PutRight, spots: Spots, starts: Sequence[Start], sides: Sequence[Side]) -> int:
    """The leg that was named, or the one whose mark is nearest about that time."""
    if one.side in sides:
        return sides.index(one.side)
    if len(sides) == 1 and one.side is None:
        return 0
    if one.side or one.at is None:
        legs = " or ".join(f"`{side}-{one.said}`" for side in sides)
        raise InputError(_PUT_RIGHT, f"`{one.said}` does not say which leg", legs)
    far = []
    for start in starts:
        at = min(start, key=lambda frame: abs(frame - one.frame + 1))
        mark = spots.each[at][start[at][one.mark], :2]
        far.append(float(np.hypot(*(mark - np.array(one.at)))))
    return int(np.argmin(far))


def even(times: FloatArray, points: FloatArray, rate: float) -> tuple[FloatArray, FloatArray]:
    """The marks (frames, 4, 2) on an even grid of `rate`, each led on between its true times.

    A moment further than one and a half frames from a frame that has the mark stays missing.
    """
    grid = times[0] + np.arange(round((times[-1] - times[0]) * rate) + 1) / rate
    if len(grid) == len(times) and np.abs(grid - times).max() < 0.02 / rate:
        return grid, points
    out = np.full((len(grid), *points.shape[1:]), np.nan)
    for mark in range(points.shape[1]):
        known = np.flatnonzero(~np.isnan(points[:, mark, 0]))
        if len(known) < 2:
            continue
        after = np.clip(np.searchsorted(times[known], grid), 1, len(known) - 1)
        near = times[known][after] - times[known][after - 1] < 1.75 / rate
        exact = np.minimum(
            np.abs(times[known][after] - grid), np.abs(times[known][after - 1] - grid)
        ) < 0.05 / rate  # fmt: skip
        within = (grid >= times[known][0] - 0.05 / rate) & (grid <= times[known][-1] + 0.05 / rate)
        for axis in range(2):
            led = np.interp(grid, times[known], points[known, mark, axis])
            out[:, mark, axis] = np.where((near | exact) & within, led, np.nan)
    return grid, out
