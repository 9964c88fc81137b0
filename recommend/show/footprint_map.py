"""A footprint as characters: pressure in five shades, the path of load in letters on it.

One character is 5 mm across and 10 mm along the foot, so that a foot keeps its shape in a
terminal. Toes are up; the page shows the foot as it stands, seen from above.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from rich.text import Text

from recommend.measure.measured import PHASES, STANCE_POINTS, Curve, FootPicture, phase_slices
from recommend.measure.model import Side
from recommend.parameters import Parameters

FloatArray = NDArray[np.float64]

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


def legend(path: bool, *, ascii_only: bool = False) -> Text:
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
