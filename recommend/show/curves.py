"""The curves of a trial in characters: a letter for each step, the band shaded."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from recommend.show.letters import Names
from recommend.trial.curves import Curve, Picture
from recommend.trial.verdict import Band

_ROWS = 13
_WIDEST = 78
_SHADE = "░"


def curve_lines(picture: Picture, names: Names, width: int) -> Iterator[str]:
    """One block of lines for each foot, at most `width` columns wide."""
    yield f"Rearfoot angle, {picture.gait}, from {picture.reference}, degrees (up: rolls in)"
    for side, curves in picture.curves.items():
        grid = _Grid(*picture.edges(), min(width, _WIDEST) - 8)
        for phase, band in picture.bands.items():
            grid.shade(picture.spans[phase], band)
        grid.draw(curves, names.letters, picture.middles)
        yield ""
        yield f"{side} foot"
        yield from grid.lines(picture.middles)
    yield f"{_SHADE} usual band"
    yield from map(names.called, drawn_in(picture))
    yield "letters: angle at touchdown, the peak, means of midstance and propulsion"


def drawn_in(picture: Picture) -> list[str]:
    """Ids of the steps that are drawn, barefoot first."""
    drawn = {curve.step for curves in picture.curves.values() for curve in curves}
    return [name for name in picture.steps if name in drawn]


@dataclass
class _Grid:
    """Characters to draw on: angles upwards, phases across."""

    low: float
    high: float
    span: int
    cells: list[list[str]] = field(init=False)

    def __post_init__(self) -> None:
        self.cells = [[" "] * self.span for _ in range(_ROWS)]

    def row(self, angle: float) -> int:
        """The line of an angle; beyond the picture, its edge."""
        inside = min(max(angle, self.low), self.high)
        return round((self.high - inside) / (self.high - self.low) * (_ROWS - 1))

    def column(self, percent: float) -> int:
        """The column of a percentage of stance."""
        return round(percent / 100 * (self.span - 1))

    def shade(self, span: tuple[float, float], band: Band) -> None:
        """Shade a band over the percentages of its phase."""
        start, end = (self.column(percent) for percent in span)
        for line in self.cells[self.row(band.high) : self.row(band.low) + 1]:
            line[start : end + 1] = _SHADE * (end + 1 - start)

    def draw(
        self, curves: tuple[Curve, ...], marks: Mapping[str, str], middles: Mapping[str, float]
    ) -> None:
        """Draw all curves; letters last, so that no line hides one."""
        for curve in curves:
            known = [(self.column(at), angle) for at, angle in curve.drawn(middles)]
            for (x1, y1), (x2, y2) in pairwise(known):
                for x in range(x1, x2 + 1):
                    angle = y1 + (y2 - y1) * (x - x1) / max(x2 - x1, 1)
                    self.cells[self.row(angle)][x] = "·"
        for curve in curves:
            for phase, point in curve.points.items():
                line, x = self.cells[self.row(point.value)], self.column(middles[phase])
                # Steps that fall on one spot stand side by side.
                while line[x] in marks.values():
                    x += 1
                line[x] = marks[curve.step]

    def lines(self, middles: Mapping[str, float]) -> Iterator[str]:
        """The picture with its axes."""
        step = (self.high - self.low) / (_ROWS - 1)
        for index, cells in enumerate(self.cells):
            label = f"{self.high - index * step:6.1f}" if index % 3 == 0 else " " * 6
            yield f"{label} |{''.join(cells)}".rstrip()
        yield " " * 7 + "+" + "-" * self.span
        names = [" "] * self.span
        for phase, middle in middles.items():
            start = self.column(middle) - len(phase) // 2
            names[start : start + len(phase)] = phase
        yield (" " * 8 + "".join(names)).rstrip()
