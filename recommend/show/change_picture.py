"""What each try-on did to each reading, drawn: in characters, and as SVG for print and page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from recommend.show.curves import (
    BAND,
    CurveWords,
    curves_height,
    english,
    inline_svg,
    panels,
    text_at,
    ticks,
)
from recommend.show.labels import Names
from recommend.show.trial_words import READING_WORDS, interval_words
from recommend.trial.pictures import ChangePicture, PictureRow, change_pictures
from recommend.trial.whole_trial import TrialOutcome

_SHADE, _LINE, _BARE = "░", "─", "o"
_LABEL = 20  # columns of the name of a reading
_TELL = 23  # columns of the change in numbers
_WIDEST = 100


def picture_lines(picture: ChangePicture, names: Names, width: int) -> Iterator[str]:
    """A line for each reading and try-on, both feet on one scale of degrees."""
    low, high = picture.edges()
    scale = _Scale(low, high, min(width, _WIDEST) - _LABEL - _TELL - 2)
    yield f"{'':{_LABEL}}{scale.ruler()}  now less bare (95 %)"
    for row in picture.rows:
        name = f"{row.key.side} {READING_WORDS[row.key.reading]}"
        for step in row.levels:
            drawn = scale.drawn(row, step, names.letters[step])
            yield f"{name:{_LABEL}}{drawn}  {interval_words(row.changes[step])}".rstrip()
            name = ""
    yield from map(names.called, picture.steps)
    yield f"{_SHADE} usual   {_BARE} barefoot   {_LINE}a{_LINE} mean with its 95 % span; degrees"


@dataclass(frozen=True, slots=True)
class _Scale:
    """Degrees from `low` to `high` over `span` columns."""

    low: float
    high: float
    span: int

    def column(self, angle: float) -> int:
        """The column of an angle; beyond the picture, its edge."""
        share = (angle - self.low) / ((self.high - self.low) or 1)
        return round(min(max(share, 0.0), 1.0) * (self.span - 1))

    def ruler(self) -> str:
        """Whole degrees over the columns, as many as have room."""
        cells = [" "] * (self.span + 3)
        step = next(s for s in (1, 2, 5, 10, 20, 50) if self.span * s / (self.high - self.low) >= 5)
        free = 0
        for angle in range(round(self.low), round(self.high) + 1):
            text, at = f"{angle}", self.column(angle)
            if angle % step == 0 and at >= free and at + len(text) <= self.span:
                cells[at : at + len(text)] = text
                free = at + len(text) + 1
        return "".join(cells)[: self.span]

    def drawn(self, row: PictureRow, step: str, letter: str) -> str:
        """One line: the band, barefoot, and the try-on with its interval."""
        cells = [" "] * self.span
        if row.band is not None:
            start, end = self.column(row.band.low), self.column(row.band.high)
            cells[start : end + 1] = _SHADE * (end + 1 - start)
        level = row.levels[step]
        start, end = self.column(level.low), self.column(level.high)
        cells[start : end + 1] = _LINE * (end + 1 - start)
        cells[self.column(row.bare)] = _BARE
        cells[self.column(level.value)] = letter
        return "".join(cells)


def svg_of(one: TrialOutcome, names: Names) -> str:
    """All pictures of a trial in one SVG document, below each other: changes, then curves."""
    changes = change_pictures(one.trial)
    drawn = [(figure_height(p), "".join(_drawn(p, english_words(p, names)))) for p in changes]
    drawn += [(curves_height(p), "".join(panels(p, english(p, names)))) for p in one.pictures]
    parts, y = [], 0
    for height, body in drawn:
        parts.append(f'<g transform="translate(0 {y})">{body}</g>')
        y += height + 8
    body = "\n".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_W} {max(y, 20)}" role="img" '
        f'font-family="sans-serif" font-size="12">\n<title>Trial, rearfoot angle</title>\n'
        f"{body}\n</svg>\n"
    )


_W, _ROW, _LEFT, _RIGHT, _TOP = 660, 17, 150, 150, 40


def english_words(picture: ChangePicture, names: Names) -> CurveWords:
    """The words of the terminal."""
    return CurveWords(
        f"Before and now, {picture.gait}, from {picture.reference} (degrees, to the right: in)",
        "Each reading barefoot and in each try-on: mean with its 95 % span, and what is usual.",
        {"left": "left", "right": "right"},
        READING_WORDS,
        "usual",
        names,
    )


def change_figure(picture: ChangePicture, words: CurveWords) -> str:
    """The picture as one SVG element; title and description are read aloud."""
    return inline_svg(
        f"changes-{picture.gait}-{picture.reference}",
        (_W, figure_height(picture)),
        'font-family="sans-serif" font-size="12"',
        (words.title, words.description),
        _drawn(picture, words),
    )


def figure_height(picture: ChangePicture) -> int:
    """Height of the picture in the units of its view."""
    rows = sum(len(row.levels) for row in picture.rows)
    return _TOP + 48 + _ROW * (rows + len(picture.steps))


def _drawn(picture: ChangePicture, words: CurveWords) -> Iterator[str]:
    low, high = picture.edges()
    bottom = figure_height(picture) - 44 - _ROW * len(picture.steps)
    yield text_at(6, 14, words.title, bold=True)
    yield text_at(_W - _RIGHT + 12, 30, words.head)
    for angle in ticks(round(low), round(high)):
        x = _x(angle, low, high)
        yield f'<path d="M{x:.1f} {_TOP}V{bottom}" stroke="#d0d0d0" stroke-width="0.6"/>'
        yield text_at(x, 30, f"{angle:g}", anchor="middle")
    y = float(_TOP)
    for row in picture.rows:
        yield from _row(row, words, y, (low, high))
        y += _ROW * len(row.levels)
    yield f'<rect x="6" y="{bottom + 10}" width="18" height="11" {BAND}/>'
    yield text_at(30, bottom + 20, f"{words.band}   o {words.barefoot}")
    for number, worn in enumerate(picture.steps, 1):
        yield text_at(30, bottom + 20 + _ROW * number, words.names.called(worn))


def _row(row: PictureRow, words: CurveWords, y: float, edges: tuple[float, float]) -> Iterator[str]:
    name = f"{words.feet[row.key.side]}, {words.readings[row.key.reading]}"
    yield text_at(6, y + 13, name)
    if row.band is not None:
        start, end = _x(row.band.low, *edges), _x(row.band.high, *edges)
        yield (
            f'<rect x="{start:.1f}" y="{y + 1:.1f}" width="{end - start:.1f}" '
            f'height="{_ROW * len(row.levels) - 2}" {BAND} stroke-width="0.5"/>'
        )
    for step, level in row.levels.items():
        middle = y + _ROW / 2
        start, end = _x(level.low, *edges), _x(level.high, *edges)
        yield f'<path d="M{start:.1f} {middle:.1f}H{end:.1f}" stroke="#0b5d8a" stroke-width="1.6"/>'
        yield _dot(_x(row.bare, *edges), middle, "o", 4.5)
        yield _dot(_x(level.value, *edges), middle, words.names.letters[step], 6.5)
        change = row.changes[step]
        value, low, high = map(words.signed, (change.value, change.low, change.high))
        told = f"{value} ({low} {words.to} {high})"
        yield text_at(_W - _RIGHT + 12, middle + 4, told)
        y += _ROW


def _x(angle: float, low: float, high: float) -> float:
    share = min(max((angle - low) / ((high - low) or 1), 0.0), 1.0)
    return _LEFT + share * (_W - _LEFT - _RIGHT)


def _dot(x: float, y: float, mark: str, radius: float) -> str:
    circle = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius}" fill="#fff" stroke="#1a1a1a"/>'
    return circle + ("" if mark == "o" else text_at(x, y + 4, mark, anchor="middle"))
