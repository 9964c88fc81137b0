"""What speaks against the marks of a film, each doubt by its name and with what to do about it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from recommend.measure.film.by_hand import PutRight
from recommend.measure.film.legs import CONTRAST, RADIUS, X, Y
from recommend.measure.film.marked import Marked, centre_error, names_of
from recommend.measure.film.opening import Opened
from recommend.measure.filtering import spans, within
from recommend.measure.model import Flag
from recommend.measure.video.recording import LOWER_HEEL, MARKS
from recommend.parameters import Film

_QUARTERS = {1: "on its side", 2: "upside down", 3: "on its side"}


def doubts_of(
    marked: Marked,
    opened: Opened,
    rate: float,
    by_hand: Sequence[PutRight],
    mirrored: bool,
    film: Film,
) -> tuple[Flag, ...]:
    """All doubts about the marks of one leg."""
    return (
        *_unsure(marked, film),
        *_lost(marked, film),
        *_smeared(marked, film),
        *_faint(marked, film),
        *_rows_late(marked, film),
        *_of_film(opened, rate, by_hand, mirrored, film),
    )


def doubtful_frames(marked: Marked) -> list[int]:
    """Numbers, from 0, of the frames in which a mark is not seen or not told from another."""
    return [int(f) for f in np.flatnonzero((marked.missing | marked.unsure).any(axis=1))]


def _unsure(marked: Marked, film: Film) -> Iterator[Flag]:
    few = film.lost_noted_s / float(np.median(np.diff(marked.times)))
    rows = np.flatnonzero(within(np.asarray(marked.unsure.any(axis=1)), few))
    if not len(rows):
        return
    names = " and ".join(MARKS[k] for k in range(4) if marked.unsure[:, k].any())
    text = f"more than one spot might be {names} in frames {names_of(rows)}; left out there"
    if len(rows) > film.unsure_limit * len(marked.times):
        text += ": too many to trust; cover other marks and dark spots, or put marks right"
        yield Flag("marks-unsure", text, "removed")
    else:
        yield Flag("marks-unsure", text)


def _lost(marked: Marked, film: Film) -> Iterator[Flag]:
    """Marks not seen for longer than is bridged, at the picture's edge or behind the other leg."""
    height, width = marked.size
    longest = film.lost_noted_s
    out: dict[str, set[int]] = {"marks-leave-picture": set(), "marks-covered": set()}
    for mark in range(4):
        missing = marked.missing[:, mark] & ~marked.unsure[:, mark]
        for start, stop in spans(missing):
            if marked.times[stop - 1] - marked.times[start] < longest:
                continue
            beside = [f for f in (start - 1, stop) if 0 <= f < len(missing)]
            rows = marked.rows[beside, mark]
            rows = rows[~np.isnan(rows[:, X])]
            gap = np.minimum(rows[:, [X, Y]], np.array([width, height]) - rows[:, [X, Y]])
            at_edge = bool((gap < film.edge_radii * rows[:, [RADIUS]]).any())
            out["marks-leave-picture" if at_edge else "marks-covered"] |= {*range(start, stop)}
    says = {
        "marks-leave-picture": "marks leave the picture; put the camera further away",
        "marks-covered": "marks are not seen, behind the other leg or in poor light",
    }
    for name, frames in out.items():
        if frames:
            yield Flag(name, f"{says[name]} (frames {names_of([*frames])})")


def _smeared(marked: Marked, film: Film) -> Iterator[Flag]:
    """Marks that lose contrast, or are lost, where they move fast: the shutter is open too long."""
    rows = marked.rows[:, LOWER_HEEL]
    lapse = np.gradient(marked.times)
    speed = np.hypot(np.gradient(rows[:, X]), np.gradient(rows[:, Y])) / lapse
    known = ~np.isnan(speed)
    if known.sum() < 20:
        return
    fast = known & (speed >= np.quantile(speed[known], film.smear_fast))
    slow = known & (speed <= np.quantile(speed[known], film.smear_slow))
    share = float(np.median(rows[fast, CONTRAST]) / np.median(rows[slow, CONTRAST]))
    if share < film.smear_limit:
        text = (
            f"marks smear where they move fast ({100 * share:.0f} % of their contrast is left); "
            "film with a shorter shutter and more light"
        )
        yield Flag("motion-blur", text, "widened")


def _faint(marked: Marked, film: Film) -> Iterator[Flag]:
    contrast = float(np.nanmedian(marked.rows[..., CONTRAST]))
    radius = float(np.nanmedian(marked.rows[..., RADIUS]))
    error = centre_error(marked, film)
    if contrast < film.contrast_least or error > film.centre_most:
        text = (
            f"marks barely stand out from the skin (by {contrast:.0f} of 255 grey levels, centres "
            f"to {error:.2f} px); use marks that contrast more, more light, less compression"
        )
        yield Flag("marks-faint", text, "widened")
    if radius < film.radius_least:
        text = f"marks are {2 * radius:.0f} px wide; larger marks, or the camera nearer"
        yield Flag("marks-small", text, "widened")


def _rows_late(marked: Marked, film: Film) -> Iterator[Flag]:
    """A camera that reads row after row shears what moves sideways as the foot lands."""
    lean = row_lean(marked, film)
    if lean > film.rows_noted:
        text = (
            f"the heel moves sideways as it nears the ground: a camera that reads its rows one "
            f"after the other makes it lean by up to {lean:.1f} degrees"
        )
        yield Flag("rolling-shutter", text, "widened")


def row_lean(marked: Marked, film: Film) -> float:
    """Degrees by which rows read one after the other make a lowered heel lean, at most."""
    heel = marked.rows[:, LOWER_HEEL]
    known = ~np.isnan(heel[:, Y])
    if known.sum() < 20:
        return 0.0
    low = known & (heel[:, Y] >= np.quantile(heel[known, Y], 0.5))
    aside = np.abs(np.gradient(heel[:, X]) / np.gradient(marked.times))[low]
    per_row = film.readout_s / marked.size[0]
    return float(np.degrees(np.arctan(np.nanquantile(aside, 0.9) * per_row)))


def _of_film(
    opened: Opened, rate: float, by_hand: Sequence[PutRight], mirrored: bool, film: Film
) -> Iterator[Flag]:
    if opened.turn:
        yield Flag("film-turned", f"the film lies {_QUARTERS[opened.turn]}; it was turned upright")
    if opened.lost > film.lost_limit:
        text = f"{opened.lost:.0%} of its frames cannot be read; copy it again from the camera"
        yield Flag("film-damaged", text)
    if mirrored:
        text = "the mark that tells the left leg is on the right of the picture; it was turned back"
        yield Flag("film-mirrored", text)
    uneven = np.abs(np.diff(opened.spots.times) * rate - 1.0)
    share = float(np.mean(uneven > film.uneven))
    if share > film.uneven_limit:
        text = (
            f"{100 * share:.0f} % of the frames come early or late; marks were led on to even times"
        )
        yield Flag("uneven-frames", text)
    if by_hand:
        text = f"marks put right by hand: {'; '.join(one.said for one in by_hand)}"
        yield Flag("put-right", text)
