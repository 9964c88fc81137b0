"""Follow the four marks of each leg through a film: forward, backward, and held against each other.

Each leg is followed as a whole. From frame to frame its marks go on about as they went; the line
of the leg and the line of the heel change slowly, and so does what each mark looks like. Of all
ways to give the spots of a frame to the marks the one that fits all of this best is taken; a mark
may be missing. Where a second way fits nearly as well, or the way forward and the way backward
come to different spots, nothing is guessed: the mark is left out of that frame, and it is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from recommend.measure.film.legs import (
    CONTRAST,
    FREE,
    FULL,
    RADIUS,
    Leg,
    X,
    Y,
    legs_in,
    marklike,
    may_be_marks,
)
from recommend.measure.filtering import FloatArray, Mask
from recommend.parameters import Film

IntArray = NDArray[np.int64]
NONE = -1  # no spot of the frame is this mark


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """The spots of every frame of a film.

    Attributes
    ----------
    times : (frames,) s, counting up.
    each : per frame (n, 8), as `spots` gives them.
    size : height and width of the pictures in px.
    radius, contrast : of the marks in px and in grey levels, as usual in this film.
    """

    times: FloatArray
    each: Sequence[FloatArray]
    size: tuple[int, int]
    radius: float
    contrast: float


@dataclass(slots=True)
class Followed:
    """One leg through the film.

    Attributes
    ----------
    chosen : (frames, 4) number of the spot in its frame, or `NONE`.
    unsure : (frames, 4) where another spot might be the mark as well.
    crossed : (frames,) where the frame alone shows the other leg in this one's place.
    """

    chosen: IntArray
    unsure: Mask
    crossed: Mask


Start = Mapping[int, tuple[int, ...]]  # by frame, the four spots of a leg that is seen whole
Fixed = Mapping[int, Mapping[int, int]]  # by frame and mark, the spot that it is by hand


def follow(
    spots: Spots, starts: Sequence[Start], film: Film, fixed: Sequence[Fixed] | None = None
) -> list[Followed]:
    """Follow each leg from where it was seen whole; `fixed` are marks put right by hand."""
    by_hand = fixed or [{} for _ in starts]
    ways = [_one_way(spots, starts, by_hand, film, step) for step in (1, -1)]
    alone = [_alone(start, len(spots.each)) for start in starts]
    out = []
    for k, (forward, backward, hand) in enumerate(zip(*ways, by_hand, strict=True)):
        leg = _agreed(forward, backward, alone[k], hand)
        for other in (*alone[:k], *alone[k + 1 :]):
            for way in (forward, backward):
                leg.crossed |= _is_seen(way.chosen, other)
        out.append(leg)
    _part_legs(out)
    return out


def _part_legs(legs: Sequence[Followed]) -> None:
    """Leave out, as unsure, a spot that two legs came to: no mark is on both."""
    for one, two in combinations(legs, 2):
        both = (one.chosen[:, :, None] == two.chosen[:, None, :]) & (one.chosen != NONE)[:, :, None]
        for leg, shared in ((one, both.any(axis=2)), (two, both.any(axis=1))):
            leg.unsure |= shared
            leg.chosen[shared] = NONE


def _alone(start: Start, count: int) -> IntArray:
    """(frames, 4) the spots of a leg where it is seen whole, without the frames beside."""
    out = np.full((count, 4), NONE, dtype=np.int64)
    for frame, quad in start.items():
        out[frame] = quad
    return out


def _is_seen(chosen: IntArray, alone: IntArray) -> Mask:
    """(frames,) whether most marks are spots of the leg that is seen whole."""
    out: Mask = ((chosen == alone) & (alone != NONE)).sum(axis=1) >= 3
    return out


def starts_of(spots: Spots, film: Film) -> list[dict[int, tuple[int, ...]]]:
    """The legs of a film, left before right, each with the frames in which it is seen whole.

    Only frames in which all legs of the film are seen, well apart, are taken.
    """
    frames = np.unique(np.linspace(0, len(spots.each) - 1, _LOOKED_AT).astype(int))
    seen = {int(f): _legs_at(spots, int(f), film) for f in frames}
    counts = np.array([len(legs) for legs in seen.values()])
    whole = int(np.max(counts, initial=0))
    often = film.seen_least
    number = next((n for n in range(whole, 0, -1) if np.mean(counts >= n) > often), 0)
    out: list[dict[int, tuple[int, ...]]] = [{} for _ in range(number)]
    for f, legs in seen.items():
        if len(legs) != number:
            continue
        middle = [float(spots.each[f][list(leg.spots), X].mean()) for leg in legs]
        order = np.argsort(middle)
        if number > 1 and np.diff(np.array(middle)[order]).min() < film.legs_apart * spots.radius:
            continue
        for place, leg in enumerate(order):
            out[place][f] = legs[int(leg)].spots
    return out


def _legs_at(spots: Spots, frame: int, film: Film) -> list[Leg]:
    """The legs of one frame whose marks look as those of the film do, on the whole."""
    here = spots.each[frame]
    unlike = _unlike(here, spots, film)
    return [
        leg
        for leg in legs_in(marklike(here, film), film)
        if unlike[list(leg.spots)].mean() < film.unlike_most
    ]


def _unlike(here: FloatArray, spots: Spots, film: Film) -> FloatArray:
    """(spots,) how much each spot of a frame differs in look from the marks of the film."""
    usual = [np.log(spots.radius), np.log(spots.contrast)]
    apart = (_look(here) - usual) / [film.unlike_size, film.unlike_tone]
    return np.asarray(np.hypot(*apart.T), np.float64)


def second_leg(spots: Spots, film: Film) -> float:
    """Share of the frames in which two legs or more are seen with their four marks each."""
    frames = np.unique(np.linspace(0, len(spots.each) - 1, _GLANCED_AT).astype(int))
    return float(np.mean([len(_legs_at(spots, int(f), film)) > 1 for f in frames]))


def taken_turns(spots: Spots, start: Start, film: Film) -> float:
    """How often the leg that is seen whole stands on the other side of other marks than mostly.

    A share of the frames with other marks, at most a half: two legs that hide each other in turn
    stand now left, now right of what is seen of the other.
    """
    sides = []
    for frame, quad in start.items():
        here = spots.each[frame]
        alike = (_unlike(here, spots, film) < film.unlike_most) & may_be_marks(here, film)
        alike[list(quad)] = False
        if alike.sum() >= _OTHER_MARKS:
            sides.append(here[alike, X].mean() > here[list(quad), X].mean())
    right = float(np.mean(sides)) if len(sides) > film.second_leg * len(start) else 0.0
    return min(right, 1.0 - right)


_OTHER_MARKS = 2  # beside a whole leg that speak for another
_GLANCED_AT = 2000  # frames in which a second leg is looked for
_LOOKED_AT = 20_000  # frames, spread over the film, in which legs are looked for


def _one_way(
    spots: Spots, starts: Sequence[Start], fixed: Sequence[Fixed], film: Film, step: int
) -> list[Followed]:
    count = len(spots.each)
    legs = [
        Followed(np.full((count, 4), NONE), np.zeros((count, 4), bool), np.zeros(count, bool))
        for _ in starts
    ]
    tracks: list[_Track | None] = [None for _ in starts]
    for f in range(count)[::step]:
        frame = _Frame(spots.each[f], float(spots.times[f]), spots.radius, film)
        fits: list[_Fit | None] = []
        for k, track in enumerate(tracks):
            start = starts[k].get(f)
            if track is None or track.is_lost(frame, start):
                tracks[k] = track = None if start is None else _Track(frame, start)
            fits.append(track.fit(frame, fixed[k].get(f, {})) if track else None)
        _settle(fits, tracks, frame)
        for leg, track, fit in zip(legs, tracks, fits, strict=True):
            if fit is not None and track is not None:
                leg.chosen[f], leg.unsure[f] = fit.chosen, fit.unsure
                track.move(fit.chosen, frame)
    return legs


@dataclass(frozen=True, slots=True)
class _Frame:
    """The spots of one frame (n, 8), its time in s, and the usual radius of a mark in px."""

    here: FloatArray
    now: float
    radius: float
    film: Film


@dataclass(slots=True)
class _Fit:
    """The spots taken for the marks of a leg in one frame, and how ill they fit in all."""

    chosen: IntArray
    unsure: Mask
    cost: float


def _look(marks: FloatArray) -> FloatArray:
    """(..., 2) logarithms of radius and contrast of marks (..., 8)."""
    return np.log(np.maximum(marks[..., [RADIUS, CONTRAST]], 1e-3))


class _Track:
    """Where the marks of a leg were last, how they moved, and what they looked like.

    Attributes
    ----------
    at, speed : (4, 2) in px, and in px per s.
    look : (4, 2), as `_look` gives it.
    unseen : (4,) s since each was seen.
    """

    def __init__(self, frame: _Frame, start: tuple[int, ...]) -> None:
        marks = frame.here[list(start)]
        self.at, self.look, self.time = marks[:, :2].copy(), _look(marks), frame.now
        self.speed, self.unseen = np.zeros((4, 2)), np.zeros(4)

    def is_lost(self, frame: _Frame, start: tuple[int, ...] | None) -> bool:
        """Whether the leg is to be looked for anew.

        So it is when nothing of it was seen for long, and when few of its marks are left while it
        is seen whole where it stood.
        """
        if self.unseen.min() > frame.film.lost_s:
            return True
        if start is None or np.count_nonzero(self.unseen == 0.0) >= frame.film.together_least:
            return False
        aside = frame.here[list(start), X].mean() - self.at[:, 0].mean()
        return bool(abs(aside) < frame.film.legs_apart * frame.radius)

    def fit(
        self, frame: _Frame, by_hand: Mapping[int, int], taken: frozenset[int] = frozenset()
    ) -> _Fit:
        """The way to give spots to marks that fits best, of all ways with spots in reach."""
        film = frame.film
        ahead = self.at + self.speed * (frame.now - self.time)
        mm = frame.radius / film.mark_radius_mm
        jolt = 1000.0 * film.acceleration * mm * abs(frame.now - self.time) ** 2
        gate = film.reach * (frame.radius + jolt)
        choices = [
            [by_hand[k]] if k in by_hand else _choices(frame.here, ahead[k], gate, taken)
            for k in range(4)
        ]
        ways = np.array(list(product(*choices)), dtype=np.int64)
        costs = self._costs(ways, frame, ahead, gate)
        best = int(np.argmin(costs))
        chosen = ways[best]
        other = (ways != chosen) & (ways != NONE) & (chosen != NONE)
        close = costs < costs[best] + film.unsure_cost
        return _Fit(chosen, (other & close[:, None]).any(axis=0), float(costs[best]))

    def _costs(self, ways: IntArray, frame: _Frame, ahead: FloatArray, gate: float) -> FloatArray:
        """(ways,) how ill each way fits: squares of what departs, in units of what is usual."""
        film, here = frame.film, frame.here if len(frame.here) else np.zeros((1, 8))
        missing = ways == NONE
        marks = here[np.where(missing, 0, ways)]  # (ways, 4, 8)
        off = np.where(missing[..., None], np.nan, marks[..., :2] - ahead)
        count = np.maximum((~missing).sum(axis=1), 1)
        mean = np.nansum(off, axis=1) / count[:, None]
        cost = np.square(mean / (film.gate_spread * gate)).sum(axis=1)
        lines = (0, 1, film.leg_change), (2, 3, film.heel_change), (1, 2, film.ankle_change)
        for a, b, share in lines:
            line = float(np.hypot(*(self.at[a] - self.at[b])))
            usual = share * line + film.line_radii * frame.radius + film.line_gates * gate
            part = np.square((off[:, a] - off[:, b]) / usual).sum(axis=1)
            cost += np.nan_to_num(part)
        unlike = np.square((_look(marks) - self.look) / [film.size_change, film.tone_change])
        shape = np.square((1.0 - marks[..., FREE]) / film.free_change)
        shape += np.square((1.0 - marks[..., FULL]) / film.full_change)
        cost += np.where(missing, film.missing_cost, unlike.sum(axis=2) + shape).sum(axis=1)
        twice = np.zeros(len(ways), dtype=bool)
        for a, b in combinations(range(4), 2):
            twice |= (ways[:, a] == ways[:, b]) & ~missing[:, a]
        return np.where(twice, np.inf, cost)

    def move(self, chosen: IntArray, frame: _Frame) -> None:
        """Come to this frame; marks not seen keep their place beside those that are."""
        lapse = frame.now - self.time
        seen = chosen != NONE
        if seen.any():
            found = frame.here[chosen[seen]]
            gone = found[:, :2] - self.at[seen]
            if lapse:
                steady = self.unseen[seen] == 0.0  # a place that was led on is no place to go from
                usual = (gone[steady] if steady.any() else gone).mean(axis=0)
                self.speed[:] = usual / lapse
                self.speed[np.flatnonzero(seen)[steady]] = gone[steady] / lapse
            self.at[~seen] += gone.mean(axis=0)
            self.at[seen] = found[:, :2]
            self.look[seen] += frame.film.look_follows * (_look(found) - self.look[seen])
        else:
            self.at += self.speed * lapse
        self.unseen = np.where(seen, 0.0, self.unseen + abs(lapse))
        self.time = frame.now


def _choices(here: FloatArray, ahead: FloatArray, gate: float, taken: frozenset[int]) -> list[int]:
    far = np.hypot(here[:, X] - ahead[0], here[:, Y] - ahead[1])
    near = [int(i) for i in np.argsort(far)[:4] if far[i] <= gate and int(i) not in taken]
    return [*near, NONE]


def _settle(fits: list[_Fit | None], tracks: Sequence[_Track | None], frame: _Frame) -> None:
    """No spot for two legs: the leg that it fits less well goes without it."""
    for a, b in combinations(range(len(fits)), 2):
        one, two = fits[a], fits[b]
        if one is None or two is None:
            continue
        both = frozenset(one.chosen[one.chosen != NONE].tolist()) & set(two.chosen.tolist())
        later, fit = (a, one) if one.cost > two.cost else (b, two)
        track = tracks[later]
        if both and track is not None:
            again = track.fit(frame, {}, taken=both)
            again.unsure |= np.isin(fit.chosen, list(both))
            fits[later] = again


def _agreed(forward: Followed, backward: Followed, alone: IntArray, fixed: Fixed) -> Followed:
    """What both ways came to, and what is seen of the leg in the frame alone; else nothing.

    Three witnesses: a mark counts when no two of them differ about it, and at least two came to
    it, of which one is sure.
    """
    one, two = forward.chosen, backward.chosen
    chosen = np.where(one != NONE, one, two)
    backed = _is_seen(chosen, alone)
    chosen = np.where((chosen == NONE) & backed[:, None], alone, chosen)
    differ = _differ(one, two) | _differ(chosen, alone)
    sure = (one == two) & ~(forward.unsure & backward.unsure)
    sure |= chosen == alone
    twice = (chosen[:, :, None] == chosen[:, None, :]).sum(axis=2) > 1
    unsure = (chosen != NONE) & (differ | ~sure | twice)
    for frame, marks in fixed.items():
        for mark, spot in marks.items():
            chosen[frame, mark], unsure[frame, mark] = spot, False
    return Followed(np.where(unsure, NONE, chosen), unsure, np.zeros(len(one), bool))


def _differ(one: IntArray, two: IntArray) -> Mask:
    return np.asarray((one != two) & (one != NONE) & (two != NONE))
