"""A capture file measured into a visit that is still being typed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from recommend.errors import InputError, Place
from recommend.measure.capture import measure_capture
from recommend.measure.definitions import MeasureDefs
from recommend.measure.into import merge
from recommend.parameters import Parameters
from recommend.reading.document import parse_document
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
        where = folder / "visit.yaml"  # never written: captures are named as seen from there
        merged = merge(parse_document(visit_text(tree), str(where)), where, found, parameters)
        data: Tree = merged.document.data
        return data, "; ".join(merged.done)

    return absorb
