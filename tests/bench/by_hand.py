"""The classify stage of the shipped rulebook written by hand in numpy, as one would without it.

No rule language, no third value kept apart, no derivation: axis codes from columns. Limits are
read by name. It is the yardstick of what the general way costs, and must conclude the same.
"""

from __future__ import annotations

import numpy as np

from recommend.infer.many import Column
from recommend.rulebook.book import Rulebook

Codes = np.ndarray


def classify(book: Rulebook, c: dict[str, Column]) -> dict[str, Codes]:
    """Codes of every axis, -1 where undetermined, from full columns of facts."""
    lim = {name: limit.values[0].value for name, limit in book.limits.items()}
    axes = {
        "posture": _posture(book, c),
        "arch": _arch(book, c, lim),
        "arch-flex": _clearly(
            c, "arch-rigidity", lim["arch-rigidity-flexible"], lim["arch-rigidity-stiff"]
        ),
        "standing": _standing(c, lim),
        "amount": _amount(book, c),
        "timing": _timing(book, c),
        "load-path": _words(book, c["cop-pattern"], "cop-pattern", "load-path"),
        "excursion": _banded(c["cpei"], lim["cpei-low"], lim["cpei-high"]),
        "width": _width(c, lim),
    }
    named = ("posture", "arch", "amount", "timing")
    axes["foot-type"] = _types(book, named)[tuple(axes[axis] + 1 for axis in named)]
    return axes


def _stairs(value: Column, *steps: np.ndarray) -> Codes:
    """How many steps each value has climbed; a missing value (NaN) climbs none and is -1."""
    out = np.negative(np.isnan(value), dtype=np.int8, casting="unsafe")
    for step in steps:
        out += step
    return out


def _by_word(book: Rulebook, c: dict[str, Column], fact: str, limit: str) -> Column:
    """The limit for the age, or the kind of print, of each foot; NaN where none is meant for it."""
    word = fact.partition("_")[2]
    found = [book.limits[limit].value_of({word: one}) for one in book.vocabulary.words[fact]]
    values = [np.nan if one is None else one.value for one in found]
    return np.array([*values, np.nan])[c[fact]]  # the last answers for -1, missing


def _posture(book: Rulebook, c: dict[str, Column]) -> Codes:
    fpi, least = c["fpi"], _by_word(book, c, "fpi_age", "fpi-highly-supinated")
    return _stairs(
        fpi + least,
        fpi > least,
        fpi > _by_word(book, c, "fpi_age", "fpi-supinated"),
        fpi >= _by_word(book, c, "fpi_age", "fpi-pronated"),
        fpi >= _by_word(book, c, "fpi_age", "fpi-highly-pronated"),
    )


def _banded(value: Column, low: float, high: float) -> Codes:
    return _stairs(value, value >= low, value > high)


def _arch(book: Rulebook, c: dict[str, Column], lim: dict[str, float]) -> Codes:
    out = _banded(c["arch-height-ratio"], lim["arch-ratio-low"], lim["arch-ratio-high"])
    index = c["arch-index"]
    flat, high = (_by_word(book, c, "arch-index_kind", f"arch-index-{e}") for e in ("flat", "high"))
    by_index = _stairs(index + flat, index < flat, index <= high)
    return np.where(c["known_arch-height-ratio"] == 0, by_index, out)


def _standing(c: dict[str, Column], lim: dict[str, float]) -> Codes:
    angle = c["standing-angle"]
    everted = c["standing-angle_low"] > lim["standing-everted"]
    out = _stairs(angle, angle >= lim["standing-inverted"], everted)
    return np.where(c["standing-angle_reference"] == 0, out, np.int8(-1))


def _clearly(c: dict[str, Column], name: str, low: float, high: float) -> Codes:
    """Below, within or above a band, where a reading is beyond it only by more than its error."""
    return _stairs(c[name], c[f"{name}_high"] >= low, c[f"{name}_low"] > high)


def _bound(book: Rulebook, c: dict[str, Column], measure: str, limit: str) -> np.ndarray:
    """The limit that applies to each foot, by gait and reference; NaN where none does."""
    gaits, references = ("walking", "running"), ("vertical", "relaxed-standing", "subtalar-neutral")
    table = np.full((3, 4), np.nan)  # the last row and column answer for -1, missing
    for value in book.limits[limit].values:
        where = value.where
        row = gaits.index(where["gait"])
        at = references.index(where["reference"]) if "reference" in where else slice(0, 3)
        table[row, at] = value.value
    reference = c.get(f"{measure}_reference", np.array([0], np.int8))
    return table[c[f"{measure}_gait"], reference]


def _amount(book: Rulebook, c: dict[str, Column]) -> Codes:
    upper, lower = (_bound(book, c, "peak-angle", f"peak-{end}") for end in ("upper", "lower"))
    low, high = c["peak-angle_low"], c["peak-angle_high"]
    out = _stairs(upper + low, high >= lower, low > upper)
    # Contact alone, of older visits, can show much and nothing else.
    old = c["contact-angle_low"] > _bound(book, c, "contact-angle", "peak-upper")
    return np.where((c["known_peak-angle"] == 0) & old, np.int8(2), out)


def _timing(book: Rulebook, c: dict[str, Column]) -> Codes:
    early = c["peak-time_high"] < _bound(book, c, "peak-time", "peak-time-lower")
    late = c["peak-time_low"] > _bound(book, c, "peak-time", "peak-time-upper")
    known = ~np.isnan(_bound(book, c, "peak-time", "peak-time-upper") + c["peak-time_low"])
    ordinary = (known & ~early & ~late) | (c["known_peak-time"] == 0)
    least = _bound(book, c, "rearfoot-return", "return-lower")
    little, enough = c["rearfoot-return_high"] < least, c["rearfoot-return_high"] >= least
    out = np.full(len(ordinary), -1, np.int8)
    for code, of in enumerate((ordinary & enough, ordinary & little, late, early)):
        np.putmask(out, of, code)
    return out


def _words(book: Rulebook, column: Column, fact: str, axis: str) -> Codes:
    values = list(book.axes[axis].values)
    table = np.array([*(values.index(word) for word in book.vocabulary.words[fact]), -1], np.int8)
    return table[column]


def _width(c: dict[str, Column], lim: dict[str, float]) -> Codes:
    low, high = c["width-ratio_low"], c["width-ratio_high"]
    bounds = (lim["width-wide"], lim["width-extra-wide"])
    return _stairs(c["width-ratio"], high >= lim["width-narrow"], *(low > b for b in bounds))


def _types(book: Rulebook, named: tuple[str, ...]) -> np.ndarray:
    """The foot type of every posture, arch, amount and timing, as a table."""
    table = np.full([len(book.axes[axis].values) + 1 for axis in named], -1, np.int8)
    for code, one in enumerate(book.types.values()):
        asked = {leaf.axis: leaf.is_ for leaf in one.when.all}  # type: ignore[union-attr]
        picks = [
            [list(book.axes[axis].values).index(word) + 1 for word in asked[axis]]
            if axis in asked
            else list(range(len(book.axes[axis].values) + 1))
            for axis in named
        ]
        table[np.ix_(*picks)] = code
    return table
