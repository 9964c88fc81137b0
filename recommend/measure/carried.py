"""Readings that a capture gave and the visit carries: value, error, number, method and doubts.

The visit holds each twice: as a person would write it, and as the capture gave it
(``from-captures``). As long as the two agree the capture's counts, with the error it was measured
with; nothing computes it again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from recommend.measure.model import Flag, Measure, Side
from recommend.parameters import Capture
from recommend.visit.models import CaptureReading, Visit


def as_captured(measure: Measure, visit: Visit, capture: Capture) -> Measure:
    """`measure` as a capture of `visit` gave it, where it agrees with what is written."""
    foot = visit.feet.left if measure.side == "left" else visit.feet.right
    found = next((one for one in foot.from_captures if _is_of(one, measure)), None)
    if found is None:
        return measure
    file = found.file.rpartition("/")[2]
    if not _agrees(found, measure, capture):
        gave = found.value if isinstance(found.value, str) else f"{found.value:.4g}"
        text = f"{file or 'the capture'} gave {gave}; another value was written since, and counts"
        return measure.flagged(Flag("differs-from-capture", text))
    known = {flag.name for flag in measure.flags}
    flags = tuple(flag for flag in _flags(found, measure.side, visit) if flag.name not in known)
    return replace(
        measure,
        value=found.value,
        error=found.error,
        n=found.n,
        method=", ".join(filter(None, (found.method, file))),
        flags=(*measure.flags, *flags),
    )


def _flags(reading: CaptureReading, side: Side, visit: Visit) -> Iterator[Flag]:
    """The doubts of a reading, each with the sentence that stands beside its capture."""
    said = {
        doubt.name: doubt
        for capture in visit.captures
        if capture.file == reading.file and capture.side in (side, None)
        for doubt in capture.doubts
    }
    for name in reading.doubts:
        doubt = said.get(name)
        yield Flag(name, doubt.says, doubt.effect) if doubt else Flag(name, "", "widened")


def _is_of(reading: CaptureReading, measure: Measure) -> bool:
    return reading.measure == measure.name and all(
        getattr(reading, key) == word for key, word in measure.qualifiers.items()
    )


def _agrees(reading: CaptureReading, measure: Measure, capture: Capture) -> bool:
    if isinstance(reading.value, str) or isinstance(measure.value, str):
        return reading.value == measure.value
    ratio = measure.unit == "ratio"
    rounded = capture.written_rounding_ratio if ratio else capture.written_rounding
    return abs(reading.value - measure.value) <= rounded
