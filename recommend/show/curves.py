"""The curves of a trial, a letter for each step, the band shaded: in characters, and as SVG."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from html import escape
from itertools import pairwise

from recommend.measure.model import Side
from recommend.show.labels import Names
from recommend.show.trial_words import signed
from recommend.trial.pictures import Picture, StepCurve
from recommend.trial.verdict import Band

_ROWS = 13
_WIDEST = 78
_SHADE = "░"
_MARKS = "letters: angle at touchdown, the peak, means of midstance and propulsion"


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
    yield _MARKS


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
        self, curves: tuple[StepCurve, ...], marks: Mapping[str, str], middles: Mapping[str, float]
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


_W, _H, _TOP, _LEFT, _BOTTOM = 330, 260, 34, 44, 34
_LINE = 17  # of what is what
_ASIDE = 13  # between steps at one phase
_DASHES = ("", "7 4", "2 4", "9 3 2 3", "4 2")
_INK = ("#1a1a1a", "#0b5d8a", "#a63d00", "#5a2a82", "#1f6b2c")


BAND = 'fill="#e3ecd9" stroke="#5d7a45"'  # of what is usual


@dataclass(frozen=True, slots=True)
class CurveWords:
    """What stands in a picture, in the reader's language.

    `marks` says what the letters on curves are; the words after it stand beside changes alone.
    """

    title: str
    description: str
    feet: Mapping[str, str]
    readings: Mapping[str, str]
    band: str
    names: Names
    marks: str = _MARKS
    head: str = "now less bare (95 %)"
    barefoot: str = "barefoot"
    to: str = "to"
    signed: Callable[[float], str] = signed


def english(picture: Picture, names: Names) -> CurveWords:
    """The words of the terminal."""
    return CurveWords(
        f"Rearfoot angle, {picture.gait}, from {picture.reference} (degrees, rolling in upwards)",
        "Mean and 95 % interval of each step in each part of stance.",
        {"left": "left foot", "right": "right foot"},
        {name: name for name in picture.spans},
        "usual band",
        names,
    )


def figure(picture: Picture, words: CurveWords) -> str:
    """One picture as an inline SVG element; its title and description are read aloud."""
    return inline_svg(
        f"curves-{picture.gait}-{picture.reference}",
        (2 * _W, curves_height(picture)),
        'font-size="13"',
        (words.title, words.description),
        panels(picture, words),
    )


def inline_svg(
    name: str, size: tuple[int, int], font: str, told: tuple[str, str], drawn: Iterable[str]
) -> str:
    """A picture as an inline SVG element; what is `told`, title and text, is read aloud.

    Parameters
    ----------
    name : by which it refers to its own parts, one in a page.
    size : width and height in the units of its view.
    font : attributes of all its text.
    drawn : its elements.
    """
    title, text = told
    return (
        f'<svg viewBox="0 0 {size[0]} {size[1]}" role="img" {font} direction="ltr" '
        f'aria-labelledby="{name}-title {name}-text">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-text">{escape(text)}</desc>'
        f"{''.join(drawn)}</svg>"
    )


def panels(picture: Picture, words: CurveWords) -> Iterator[str]:
    """The elements of one picture: title, a panel for each foot, and what is what."""
    yield _text(8, 16, words.title, bold=True)
    for index, (side, curves) in enumerate(picture.curves.items()):
        yield f'<g transform="translate({index * _W} 22)">'
        yield from _Panel(picture, words).draw(side, curves)
        yield "</g>"
    yield from _legend(picture, words)


def _legend(picture: Picture, words: CurveWords) -> Iterator[str]:
    y = _H + 40
    yield f'<rect x="8" y="{y - 10}" width="18" height="11" {BAND}/>'
    yield _text(31, y, words.band)
    for name in drawn_in(picture):
        y += _LINE
        yield _stroke(f"M8 {y - 4}h22", picture.steps.index(name))
        yield _text(34, y, words.names.called(name))
    yield _text(8, y + _LINE, words.marks, size=11)


def curves_height(picture: Picture) -> int:
    """Height of the picture in the units of its view."""
    return _H + 66 + _LINE * len(drawn_in(picture))


@dataclass(frozen=True, slots=True)
class _Panel:
    """One foot: axes, band, curves."""

    picture: Picture
    words: CurveWords

    def draw(self, side: Side, curves: tuple[StepCurve, ...]) -> Iterator[str]:
        """The elements of one foot."""
        yield _text(_LEFT, 22, self.words.feet[side])
        for phase, band in self.picture.bands.items():
            top, bottom = self.y(band.high), self.y(band.low)
            start, end = (self.x(percent) for percent in self.picture.spans[phase])
            yield (
                f'<rect x="{start:.1f}" y="{top:.1f}" width="{end - start:.1f}" '
                f'height="{bottom - top:.1f}" {BAND} stroke-width="0.6"/>'
            )
        for angle in ticks(*self.picture.edges()):
            y = self.y(angle)
            yield f'<path d="M{_LEFT - 4} {y:.1f}H{_W - 10}" stroke="#c9c9c9" stroke-width="0.6"/>'
            yield _text(_LEFT - 8, y + 4, f"{angle:g}", anchor="end")
        for phase, middle in self.picture.middles.items():
            yield _text(self.x(middle), _H - 8, self.words.readings[phase], anchor="middle")
        for curve in curves:
            yield from self._curve(curve, self.picture.steps.index(curve.step))

    def _curve(self, curve: StepCurve, index: int) -> Iterator[str]:
        middles = self.picture.middles
        drawn = curve.drawn(middles)
        # Joined points stand side by side, so that no interval hides another; a line that was
        # captured stays where it is.
        shift = (index - (len(self.picture.steps) - 1) / 2) * _ASIDE
        aside = 0.0 if curve.line else shift
        line = "L".join(f"{self.x(at) + aside:.1f} {self.y(angle):.1f}" for at, angle in drawn)
        yield _stroke(f"M{line}", index)
        for phase, point in curve.points.items():
            x, y = self.x(middles[phase]) + shift, self.y(point.value)
            yield _stroke(f"M{x:.1f} {self.y(point.low):.1f}V{self.y(point.high):.1f}", index, True)
            ink = _INK[index % len(_INK)]
            yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6.5" fill="#fff" stroke="{ink}"/>'
            mark = self.words.names.letters[curve.step]
            yield _text(x, y + 4, mark, anchor="middle", size=11)

    def x(self, percent: float) -> float:
        """The place of a percentage of stance."""
        return _LEFT + percent / 100 * (_W - _LEFT - 10)

    def y(self, angle: float) -> float:
        """The height of an angle; beyond the picture, its edge."""
        low, high = self.picture.edges()
        low, high = low - 0.5, high + 0.5
        inside = min(max(angle, low), high)
        return _TOP + (high - inside) / (high - low) * (_H - _TOP - _BOTTOM)


def ticks(low: float, high: float) -> Iterator[float]:
    """Even degrees between the edges of a picture, or every fifth where there are many."""
    step = 2 if high - low < 16 else 5
    angle = -(-low // step) * step
    while angle <= high:
        yield angle
        angle += step


def _stroke(path: str, index: int, thin: bool = False) -> str:
    dash = _DASHES[index % len(_DASHES)]
    dashed = f' stroke-dasharray="{dash}"' if dash and not thin else ""
    width = 1 if thin else 2
    return (
        f'<path d="{path}" fill="none" stroke="{_INK[index % len(_INK)]}" '
        f'stroke-width="{width}"{dashed}/>'
    )


def text_at(
    x: float, y: float, text: str, anchor: str = "start", bold: bool = False, size: int = 0
) -> str:
    """A line of text in a picture; of the size of the whole picture unless one is given."""
    sized = f' font-size="{size}"' if size else ""
    weight = ' font-weight="bold"' if bold else ""
    said = escape(text)
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{sized}{weight}>{said}</text>'


_text = partial(text_at, size=13)
