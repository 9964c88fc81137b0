"""A capture file measured into a visit that is still being typed."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from recommend.errors import InputError, Place
from recommend.measure.capture import measure_capture
from recommend.measure.definitions import MeasureDefs
from recommend.measure.into import merge
from recommend.parameters import Parameters
from recommend.visit.shelf import visit_text
from recommend.visit.tree import Tree


def absorber(
    folder: Path, parameters: Parameters, defs: MeasureDefs
) -> Callable[[Tree, str], tuple[Tree, str]]:
    """A function that measures a capture file into the data of a visit.

    Parameters
    ----------
    folder : where the visit file will stand; the capture is named from there.

    Returns
    -------
    A function of the data and the name of the file; it gives the new data, and one sentence for
    each thing done. It raises InputError when the capture cannot be used.
    """

    def absorb(tree: Tree, name: str) -> tuple[Tree, str]:
        try:
            found = measure_capture(Path(name).expanduser().absolute(), parameters, defs)
        except OSError as error:
            raise InputError(Place(name[:40]), f"cannot be read ({error.strerror})") from error
        with _standing_in(folder, visit_text(tree)) as file:
            merged = merge(file, found, parameters)
        data: Tree = merged.document.data
        return data, "; ".join(merged.done)

    return absorb


@contextlib.contextmanager
def _standing_in(folder: Path, text: str) -> Iterator[Path]:
    """A file of `text` in `folder`, for as long as it is needed."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle, name = tempfile.mkstemp(dir=folder, prefix=".measuring.", suffix=".tmp")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        yield Path(name)
    finally:
        Path(name).unlink(missing_ok=True)
