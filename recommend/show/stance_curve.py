"""An angle over stance as characters: mean, spread between strides, the usual band."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from rich.text import Text

from recommend.measure.phases import PHASES, STANCE_POINTS, Curve, Phase, phase_slices
from recommend.parameters import Parameters
from recommend.show.bands import Band

FloatArray = NDArray[np.float64]

_MOST_ROWS = 17
_STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)  # degrees between rows
_LABEL = 8  # columns of the scale on the left
_SHADE, _SPREAD, _MEAN, _ZERO = "░", ":", "●", "-"
_PEAK = "P"
_ASCII = {_SHADE: "%", _MEAN: "o"}


def curve_lines(
    curve: Curve,
    bands: Mapping[Phase, Band],
    parameters: Parameters,
    width: int,
    *,
    peak: tuple[float, float] | None = None,
    ascii_only: bool = False,
) -> list[Text]:
    """The curve in at most `width` columns, with its scale in degrees and its phases.

    `peak` is the time (percent of stance) and angle of the mean peak, marked with a P.
    """
    span = max(min(width - _LABEL - 1, STANCE_POINTS), 24)
    points = np.round(np.linspace(0, STANCE_POINTS - 1, span)).astype(np.intp)
    scale = _scale(curve, bands)
    cuts = phase_slices(parameters)
    columns = [_column(curve, int(p), _band_at(int(p), bands, cuts), scale) for p in points]
    if peak is not None:
        at = int(np.argmin(np.abs(points - peak[0])))
        columns[at][int(np.argmin(np.abs(scale - peak[1])))] = _PEAK
    lines = []
    for row, degrees in enumerate(scale):
        label = f"{degrees:6g} " if float(degrees).is_integer() else " " * 7
        signs = "".join(column[row] for column in columns)
        lines.append(Text(f"{label}|") + _styled(signs, ascii_only))
    lines.append(Text(" " * 7 + "+" + _ticks(points, cuts)))
    lines.append(Text(" " * _LABEL + _names(points, cuts)))
    return lines


def legend(
    n: int,
    bands: bool,
    *,
    peak: tuple[float, float] | None = None,
    ascii_only: bool = False,
) -> Text:
    """What the signs mean."""
    mean, shade = (_ASCII[s] if ascii_only else s for s in (_MEAN, _SHADE))
    text = f"{mean} mean of {n} strides   {_SPREAD} spread between strides (1 SD)"
    if peak is not None:
        text += f"   {_PEAK} the peak, {peak[1]:.1f}° at {peak[0]:.0f} % of stance"
    if bands:
        text += f"   {shade} band of the peak in most feet"
    return Text(f"{text}; up: the heel rolls in (eversion)")


def _scale(curve: Curve, bands: Mapping[Phase, Band]) -> FloatArray:
    """Degrees of each row, highest first, a round step apart."""
    ends = [float((curve.mean - curve.sd).min()), float((curve.mean + curve.sd).max())]
    ends += [end for band in bands.values() for end in band if np.isfinite(end)]
    low, high = float(np.floor(min(ends))), float(np.ceil(max(ends)))
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
    styles = {_SHADE: "green", _MEAN: "bold", _PEAK: "bold", _SPREAD: "", _ZERO: "dim"}
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
