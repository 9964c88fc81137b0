"""A capture as characters: the angle over stance, and the footprint with the path of load.

One character of a footprint is 5 mm across and 10 mm along the foot, so that it keeps its shape in
a terminal. Toes are up; the page shows the foot as it stands, seen from above.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from rich.text import Text

from recommend.measure.measured import (
    PHASES,
    STANCE_POINTS,
    Curve,
    FootPicture,
    Measured,
    Phase,
    phase_slices,
)
from recommend.measure.model import Side
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook

FloatArray = NDArray[np.float64]

_MOST_ROWS = 17
_STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)  # degrees between rows
_LABEL = 8  # columns of the scale on the left
_SHADE, _SPREAD, _MEAN, _ZERO = "░", ":", "●", "-"
_MARKS = {"peak": "P", "midstance": "m", "propulsion": "p"}
_ASCII = {_SHADE: "%", _MEAN: "o"}


Band = tuple[float, float]


# Phases in which the peak of stance lies; the band is of the peak, and of nothing after it.
_OF_PEAK: tuple[Phase, ...] = ("contact", "midstance")


@dataclass(frozen=True, slots=True)
class Mark:
    """What is judged of a curve: a sign at a time (percent of stance) and angle (degrees)."""

    sign: str
    time: float
    angle: float
    words: str


def marks_of(one: Measured, parameters: Parameters) -> list[Mark]:
    """The mean peak with its time, and the mean of each phase that is judged, where told."""
    marks = []
    for phase in PHASES[1:]:
        mean = one.find(f"{phase}-angle")
        if mean:
            cut = phase_slices(parameters.capture)[phase]
            words = f"mean of {phase}, {float(mean.value):.1f}°"
            middle = (cut.start + cut.stop - 1) / 2.0
            marks.append(Mark(_MARKS[phase], middle, float(mean.value), words))
    time, peak = one.find("peak-time"), one.find("peak-angle")
    if time and peak:
        words = f"the peak, {float(peak.value):.1f}° at {float(time.value):.0f} % of stance"
        marks.append(Mark(_MARKS["peak"], float(time.value), float(peak.value), words))
    return marks


def angle_lines(
    curve: Curve,
    bands: Mapping[Phase, Band],
    parameters: Parameters,
    width: int,
    *,
    ends: tuple[float, float],
    marks: Sequence[Mark] = (),
    ascii_only: bool = False,
) -> list[Text]:
    """The curve in at most `width` columns, with its scale in degrees and its phases.

    `ends` are the lowest and highest degrees of the scale (see `reach`), so that curves can be
    compared; `marks` is what is judged: the peak, and means by phase.
    """
    span = max(min(width - _LABEL - 1, STANCE_POINTS), 24)
    points = np.round(np.linspace(0, STANCE_POINTS - 1, span)).astype(np.intp)
    scale = _scale(*ends)
    cuts = phase_slices(parameters.capture)
    columns = [_column(curve, int(p), _band_at(int(p), bands, cuts), scale) for p in points]
    for mark in marks:
        at = int(np.argmin(np.abs(points - mark.time)))
        columns[at][int(np.argmin(np.abs(scale - mark.angle)))] = mark.sign
    lines = []
    for row, degrees in enumerate(scale):
        label = f"{degrees:6g} " if float(degrees).is_integer() else " " * 7
        signs = "".join(column[row] for column in columns)
        lines.append(Text(f"{label}|") + _styled(signs, ascii_only))
    lines.append(Text(" " * 7 + "+" + _ticks(points, cuts)))
    lines.append(Text(" " * _LABEL + _names(points, cuts)))
    return lines


def angle_legend(
    n: int, bands: bool, *, marks: Sequence[Mark] = (), ascii_only: bool = False
) -> Text:
    """What the signs mean."""
    mean, shade = (_ASCII[s] if ascii_only else s for s in (_MEAN, _SHADE))
    parts = [f"{mean} mean of {n} strides", f"{_SPREAD} spread between strides (1 SD)"]
    parts += [f"{mark.sign} {mark.words}" for mark in marks]
    if bands:
        parts.append(f"{shade} band of the peak in most feet")
    return Text("   ".join(parts) + "; up: the heel rolls in (eversion)")


def reach(curve: Curve, bands: Mapping[Phase, Band]) -> tuple[float, float]:
    """Lowest and highest degrees that a picture of the curve and its bands needs."""
    ends = [float((curve.mean - curve.sd).min()), float((curve.mean + curve.sd).max())]
    ends += [end for band in bands.values() for end in band if np.isfinite(end)]
    return min(ends), max(ends)


def _scale(lowest: float, highest: float) -> FloatArray:
    """Degrees of each row, highest first, a round step apart."""
    low, high = float(np.floor(lowest)), float(np.ceil(highest))
    step = next(s for s in _STEPS if (high - low) / s < _MOST_ROWS)
    return np.arange(np.ceil(high / step), np.floor(low / step) - 1, -1, dtype=np.float64) * step


def _band_at(point: int, bands: Mapping[Phase, Band], cuts: Mapping[Phase, slice]) -> Band | None:
    for phase, band in bands.items():
        if cuts[phase].start <= point < cuts[phase].stop:
            return band
    return None


def _column(curve: Curve, point: int, band: Band | None, scale: FloatArray) -> list[str]:
    """Signs of one percent of stance from the highest row to the lowest."""
    half = abs(float(scale[0] - scale[1])) / 2.0
    mean, sd = float(curve.mean[point]), float(curve.sd[point])
    signs = []
    for degrees in scale:
        if abs(degrees - mean) <= half:
            signs.append(_MEAN)
        elif abs(degrees - mean) <= sd + half and sd > 0:
            signs.append(_SPREAD)
        elif band and band[0] - half < degrees <= band[1] + half:
            signs.append(_SHADE)
        elif abs(degrees) <= half:
            signs.append(_ZERO)
        else:
            signs.append(" ")
    return signs


def _styled(signs: str, ascii_only: bool) -> Text:
    text = Text()
    styles = {_SHADE: "green", _MEAN: "bold", _SPREAD: "", _ZERO: "dim"}
    styles |= dict.fromkeys(_MARKS.values(), "bold reverse")
    for sign in signs:
        text.append(_ASCII.get(sign, sign) if ascii_only else sign, style=styles.get(sign, ""))
    return text


def _ticks(points: NDArray[np.intp], cuts: Mapping[Phase, slice]) -> str:
    borders = {cut.start for cut in cuts.values() if cut.start}
    signs, left = "", -1
    for point in points:
        crossed = any(left < border <= point for border in borders)
        signs += "|" if crossed else "-"
        left = int(point)
    return signs


def _names(points: NDArray[np.intp], cuts: Mapping[Phase, slice]) -> str:
    """Names of the phases, each centred under its part."""
    line = [" "] * (len(points) + 12)
    for phase in PHASES:
        inside = np.flatnonzero((points >= cuts[phase].start) & (points < cuts[phase].stop))
        start = int(inside.mean()) - len(phase) // 2
        line[start : start + len(phase)] = phase
    return "".join(line).rstrip()


def usual_bands(book: Rulebook) -> dict[tuple[str, str], Mapping[Phase, Band]]:
    """The band of the peak in degrees, in the phases where it lies, for every gait and zero."""
    words = book.measures["peak-angle"].qualifiers if "peak-angle" in book.measures else {}
    bands: dict[tuple[str, str], Mapping[Phase, Band]] = {}
    for gait in words.get("gait", []):
        for reference in words.get("reference", []):
            of = {"gait": gait, "reference": reference}
            low, high = (
                limit.value_of(of) if limit else None
                for limit in (book.limits.get("peak-lower"), book.limits.get("peak-upper"))
            )
            if low is not None and high is not None:
                bands[(gait, reference)] = dict.fromkeys(_OF_PEAK, (low.value, high.value))
    return bands


ACROSS_MM, ALONG_MM = 5.0, 10.0
# Lower end of each shade in kPa, its sign, and its sign in plain ASCII. A scale for the eye only;
# nothing is decided from it. The density of the sign carries all; there is no colour to learn.
SHADES: Final[tuple[tuple[float, str, str], ...]] = (
    (10.0, "·", "."),
    (40.0, "░", ":"),
    (80.0, "▒", "+"),
    (150.0, "▓", "#"),
    (250.0, "█", "@"),
)
PATH_LETTERS: Final = {"contact": "c", "midstance": "m", "propulsion": "p"}
INDEX_LINE: Final = "/"


def footprint_lines(
    picture: FootPicture,
    path: Curve | None,
    side: Side,
    parameters: Parameters,
    *,
    ascii_only: bool = False,
) -> list[Text]:
    """The footprint from toes to heel, one line for each 10 mm, all lines equally wide."""
    rows, columns = _grid(picture)
    sign = -1.0 if side == "left" else 1.0  # a left foot's lateral side is on the page's left
    letters = _path_letters(path, parameters)
    lines = []
    for top in rows:
        line = Text()
        for middle in columns:
            level = _highest(picture, sign * middle, top)
            letter = letters.get(_cell(sign * middle, top))
            line.append_text(_sign(level, letter, ascii_only))
        lines.append(line)
    return lines


def footprint_legend(path: bool, *, ascii_only: bool = False) -> Text:
    """What the shades and letters mean."""
    text = Text("kPa from  ")
    for low, sign, plain in SHADES:
        text.append(plain if ascii_only else sign)
        text.append(f" {low:g}  ")
    if path:
        text.append("path of load: ")
        text.append(", ".join(f"{letter} {phase}" for phase, letter in PATH_LETTERS.items()))
        text.append(f", {INDEX_LINE} line of the excursion index")
    return text


def _grid(picture: FootPicture) -> tuple[FloatArray, FloatArray]:
    """Upper y of each line, toes first, and middle x of each column, in mm."""
    reach = max(float(np.abs(picture.x).max()), ACROSS_MM)
    half = int(np.ceil(reach / ACROSS_MM))
    columns = (np.arange(-half, half, dtype=np.float64) + 0.5) * ACROSS_MM
    lines = int(np.ceil(float(picture.y.max()) / ALONG_MM))
    return np.arange(lines, 0, -1, dtype=np.float64) * ALONG_MM, columns


def _highest(picture: FootPicture, middle: float, top: float) -> float:
    """Highest pressure in one character's piece of the foot."""
    inside_y = (picture.y > top - ALONG_MM) & (picture.y <= top)
    inside_x = np.abs(picture.x - middle) <= ACROSS_MM / 2.0
    piece = picture.pressure[np.ix_(inside_y, inside_x)]
    return float(piece.max()) if piece.size else 0.0


def _cell(x: float, top: float) -> tuple[int, int]:
    return int(np.floor(x / ACROSS_MM)), round(top / ALONG_MM)


def _path_letters(path: Curve | None, parameters: Parameters) -> dict[tuple[int, int], str]:
    """The letter of the phase in which the path crosses each character's piece."""
    if path is None:
        return {}
    letters: dict[tuple[int, int], str] = {}
    for phase in PHASES:
        for x, y in path.mean[phase_slices(parameters.capture)[phase]]:
            top = np.ceil(y / ALONG_MM) * ALONG_MM
            letters[_cell(x, float(top))] = PATH_LETTERS[phase]
    for x, y in np.linspace(path.mean[0], path.mean[-1], STANCE_POINTS):
        letters.setdefault(_cell(x, float(np.ceil(y / ALONG_MM) * ALONG_MM)), INDEX_LINE)
    return letters


def _sign(level: float, letter: str | None, ascii_only: bool) -> Text:
    if letter:
        return Text(letter, style="bold reverse")
    shades = [plain if ascii_only else sign for low, sign, plain in SHADES if level >= low]
    return Text(shades[-1] if shades else " ")
