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
        "posture": _posture(c["fpi"], lim),
        "arch": _arch(book, c, lim),
        "arch-flex": _banded(
            c["arch-rigidity"], lim["arch-rigidity-flexible"], lim["arch-rigidity-stiff"]
        ),
        "standing": _standing(c, lim),
        "contact": _phase(book, c, "contact"),
        "midstance": _phase(book, c, "midstance"),
        "propulsion": _propulsion(book, c),
        "load-path": _words(book, c["cop-pattern"], "cop-pattern", "load-path"),
        "excursion": _banded(c["cpei"], lim["cpei-low"], lim["cpei-high"]),
        "width": _width(c["width-ratio"], lim),
    }
    axes["motion"] = _motion(book, c, axes)
    axes["foot-type"] = _types(book)[axes["posture"] + 1, axes["arch"] + 1, axes["motion"] + 1]
    return axes


def _stairs(value: Column, *steps: np.ndarray) -> Codes:
    """How many steps each value has climbed; a missing value (NaN) climbs none and is -1."""
    out = np.negative(np.isnan(value), dtype=np.int8, casting="unsafe")
    for step in steps:
        out += step
    return out


def _posture(fpi: Column, lim: dict[str, float]) -> Codes:
    return _stairs(
        fpi,
        fpi > lim["fpi-highly-supinated"],
        fpi > lim["fpi-supinated"],
        fpi >= lim["fpi-pronated"],
        fpi >= lim["fpi-highly-pronated"],
    )


def _banded(value: Column, low: float, high: float) -> Codes:
    return _stairs(value, value >= low, value > high)


def _arch(book: Rulebook, c: dict[str, Column], lim: dict[str, float]) -> Codes:
    out = _banded(c["arch-height-ratio"], lim["arch-ratio-low"], lim["arch-ratio-high"])
    ink = (c["known_arch-height-ratio"] == 0) & (c["arch-index_kind"] == 0)
    index = c["arch-index"]
    by_index = _stairs(index, index < lim["arch-index-flat"], index <= lim["arch-index-high"])
    return np.where(ink, by_index, out)


def _standing(c: dict[str, Column], lim: dict[str, float]) -> Codes:
    angle = c["standing-angle"]
    bounds = (lim["standing-everted"], lim["standing-very-everted"])
    out = _stairs(angle, angle >= lim["standing-inverted"], *(angle > bound for bound in bounds))
    return np.where(c["standing-angle_reference"] == 0, out, np.int8(-1))


def _bound(book: Rulebook, c: dict[str, Column], phase: str, edge: str) -> np.ndarray:
    """The limit that applies to each foot, by gait and reference; NaN where none does."""
    gaits, references = ("walking", "running"), ("vertical", "relaxed-standing", "subtalar-neutral")
    table = np.full((3, 4), np.nan)  # the last row and column answer for -1, missing
    for value in book.limits[f"{phase}-{edge}"].values:
        where = value.where
        table[gaits.index(where["gait"]), references.index(where["reference"])] = value.value
    return table[c[f"{phase}-angle_gait"], c[f"{phase}-angle_reference"]]


def _phase(book: Rulebook, c: dict[str, Column], phase: str) -> Codes:
    upper, lower = _bound(book, c, phase, "upper"), _bound(book, c, phase, "lower")
    low, high = c[f"{phase}-angle_low"], c[f"{phase}-angle_high"]
    return _stairs(upper + low, high >= lower, low > upper)


def _propulsion(book: Rulebook, c: dict[str, Column]) -> Codes:
    upper, low = _bound(book, c, "propulsion", "upper"), c["propulsion-angle_low"]
    return _stairs(upper + low, low > upper)


def _words(book: Rulebook, column: Column, fact: str, axis: str) -> Codes:
    values = list(book.axes[axis].values)
    table = np.array([*(values.index(word) for word in book.vocabulary.words[fact]), -1], np.int8)
    return table[column]


def _width(ratio: Column, lim: dict[str, float]) -> Codes:
    bounds = (lim["width-wide"], lim["width-extra-wide"])
    return _stairs(ratio, ratio >= lim["width-narrow"], *(ratio > bound for bound in bounds))


def _motion(book: Rulebook, c: dict[str, Column], axes: dict[str, Codes]) -> Codes:
    contact, midstance, propulsion = axes["contact"], axes["midstance"], axes["propulsion"]
    path, paths = axes["load-path"], list(book.axes["load-path"].values)
    late_path = path == paths.index("medial-late")
    unread = c["known_cop-pattern"] == 0
    not_late = ((path >= 0) & ~late_path) | unread
    early = (contact == 2) | (midstance == 2)
    calm = ((contact == 0) | (contact == 1)) & ((midstance == 0) | (midstance == 1))
    back, in_ = propulsion == 0, propulsion == 1
    central = (path == paths.index("central")) | (path == paths.index("medial-early"))
    out = np.full(len(path), -1, np.int8)
    within = (contact == 1) & (midstance == 1)
    np.putmask(out, within & back & (central | unread), 0)
    np.putmask(out, early & back & not_late, 1)
    np.putmask(out, calm & (in_ | late_path), 2)
    np.putmask(out, early & (in_ | late_path), 3)
    below = (contact == 0) | (midstance == 0)
    np.putmask(out, calm & back & ((below & not_late) | (path == paths.index("lateral"))), 4)
    return out


def _types(book: Rulebook) -> np.ndarray:
    """The foot type of every posture, arch and motion, as a table."""
    named = ("posture", "arch", "motion")
    table = np.full([len(book.axes[axis].values) + 1 for axis in named], -1, np.int8)
    for code, one in enumerate(book.types.values()):
        picks = []
        for axis, leaf in zip(named, one.when.all, strict=True):  # type: ignore[union-attr]
            values = list(book.axes[axis].values)
            picks.append([values.index(word) + 1 for word in leaf.is_])  # type: ignore[union-attr]
        table[np.ix_(*picks)] = code
    return table
