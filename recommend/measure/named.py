"""Captures named inside a visit file."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path

from recommend.errors import InputError
from recommend.measure.capture import CaptureOptions, measure_capture, sha256_of
from recommend.measure.definitions import MeasureDefs
from recommend.measure.measured import Measured
from recommend.reading import read_document, validate
from recommend.reading.document import Document
from recommend.visit import Visit, read_visit
from recommend.visit.models import Capture


def read_measured_visit(
    path: Path,
    questions: Collection[str],
    parameters: Mapping[str, float],
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
    if not visit.captures:
        return visit
    document = read_document(path)
    found: list[Measured] = []
    for index, capture in enumerate(visit.captures):
        file = path.parent / capture.file
        if capture.sha256 is None:
            found += measure_capture(file, parameters, defs, _options(path, capture))
        elif file.is_file() and sha256_of(file) != capture.sha256:
            raise _changed(document, index, capture)
    if not found:
        return visit
    from recommend.measure.into import merge  # only here: it loads the round-trip reader

    return validate(Visit, merge(path, found, parameters).document)


def _options(path: Path, capture: Capture) -> CaptureOptions:
    still = path.parent / capture.still if capture.still else None
    return CaptureOptions(side=capture.side, still=still)


def _changed(document: Document, index: int, capture: Capture) -> InputError:
    return InputError(
        document.place(("captures", index, "sha256")),
        f"`{capture.file}` has changed since its measures were written here",
        "the bytes that were measured",
        "measure it again with `recommend measure ... --into`",
    )
