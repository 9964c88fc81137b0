"""Captures named inside a visit file."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from recommend.errors import InputError, nearest
from recommend.measure.definitions import MeasureDefs, number, unit_words
from recommend.measure.model import SIDES
from recommend.measure.observed import observe
from recommend.parameters import Parameters
from recommend.reading import read_document, validate
from recommend.reading.document import Document
from recommend.visit import Visit, read_visit
from recommend.visit.models import Capture

if TYPE_CHECKING:
    from recommend.measure.measured import Measured


def read_measured_visit(
    path: Path,
    questions: Collection[str],
    parameters: Parameters,
    defs: MeasureDefs,
    purposes: Collection[str],
) -> Visit:
    """Read a visit, and measure the captures that it names without their hash.

    Such a visit reads as if they had been written into it. A capture named with its hash has its
    measures in the visit already: it is only checked, and may be absent.

    Raises
    ------
    InputError
        As `read_visit` and `measure_capture`, and if a capture has changed since its hash was
        written.
    """
    visit = read_visit(path, questions, purposes)
    if any(foot.measures for foot in (visit.feet.left, visit.feet.right)):
        _check_typed(read_document(path), visit, defs)
    if visit.captures:
        visit = _with_captures(path, visit, parameters, defs)
    _check_bounds(path, visit, defs, parameters)
    return visit


def _with_captures(path: Path, visit: Visit, parameters: Parameters, defs: MeasureDefs) -> Visit:
    # Only here: most visits name no capture.
    from recommend.measure.capture import CaptureOptions, measure_capture

    document = read_document(path)
    found: list[Measured] = []
    for index, capture in enumerate(visit.captures):
        file = path.parent / capture.file
        if capture.sha256 is None:
            still = path.parent / capture.still if capture.still else None
            options = CaptureOptions(side=capture.side, still=still)
            found += measure_capture(file, parameters, defs, options)
        elif _digest(file) not in (None, capture.sha256):
            raise _changed(document, index, capture)
    if not found:
        return visit
    from recommend.measure.into import merge  # only here: it loads the round-trip reader

    return validate(Visit, merge(document, path, found, parameters).document)


def _digest(file: Path) -> str | None:
    """The hash of a capture that is there still; None of one that cannot be read."""
    from recommend.measure.capture import sha256_of

    try:
        return sha256_of(file) if file.is_file() else None
    except OSError:
        return None


def _check_typed(document: Document, visit: Visit, defs: MeasureDefs) -> None:
    """Raise InputError for a typed number that the rulebook does not ask for, or cannot be."""
    typed = {name: one for name, one in defs.items() if one.typed}
    for side in SIDES:
        foot = visit.feet.left if side == "left" else visit.feet.right
        for name, values in foot.measures.items():
            loc = ("feet", side, "measures", name)
            if name not in typed:
                raise InputError(
                    document.place(loc, key=True),
                    f"the rulebook asks for no measure `{name}` to be typed",
                    ", ".join(typed) or "none; its measures.yaml has no `typed` measure",
                    nearest(name, typed) or "remove it, or add it to measures.yaml",
                )
            low, high = typed[name].lowest, typed[name].highest
            if wrong := [value for value in values if not low <= value <= high]:
                raise InputError(
                    document.place(loc), f"`{name}` is {wrong[0]:g}",
                    f"a number from {low:g} to {high:g} {typed[name].unit}", "measure it again",
                )  # fmt: skip


def _check_bounds(path: Path, visit: Visit, defs: MeasureDefs, parameters: Parameters) -> None:
    """Raise InputError where what follows from readings is more than a foot can be."""
    seen = observe(visit, defs, parameters)
    for side in SIDES:
        for measure in (*seen.used[side].values(), *seen.further[side]):
            one = defs[measure.name]
            if isinstance(measure.value, str) or one.lowest <= measure.value <= one.highest:
                continue
            raise InputError(
                read_document(path).place(("feet", side)),
                f"the {one.plain} of the {side} foot would be "
                f"{number(measure.value, one.decimals)}{unit_words(one.unit)}",
                f"from {one.lowest:g} to {one.highest:g}{unit_words(one.unit)}",
                "look at the readings that it follows from",
            )


def _changed(document: Document, index: int, capture: Capture) -> InputError:
    return InputError(
        document.place(("captures", index, "sha256")),
        f"`{capture.file}` has changed since its measures were written here",
        "the bytes that were measured",
        "measure it again with `recommend measure ... --into`",
    )
