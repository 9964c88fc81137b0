"""A rulebook with the errors of measurement of this lab in place of those that ship.

Written as an ordinary rulebook folder, named by its content, so that records keep it and replay
with it like any other.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import yaml

from recommend.atomic import write_atomically
from recommend.errors import InputError, Place, nearest
from recommend.reading import read_document

NOTE = "measured in this lab from repeats"


def write_with_errors(
    source: Path,
    folder: Path,
    errors: Mapping[str, Mapping[str, float]],
    origin: str,
    several: Mapping[str, float] | None = None,
) -> None:
    """Write the rulebook of `source` to `folder` with `errors` by measure.

    `several` are errors of one reading where several people take it, by measure; an error that
    the lab measured itself goes before them.

    Raises
    ------
    InputError
        If an error is given for something that is not a measure with an error.
    """
    document = read_document(source / "measures.yaml")
    measures: dict[str, Any] = document.data["measures"]
    for name, single in (several or {}).items():
        note = f"several raters; {measures[name]['error'].get('note', '')}"
        measures[name]["error"] |= {"single": single, "note": note}
    for name, error in errors.items():
        known = [one for one, definition in measures.items() if "error" in definition]
        if name not in known:
            raise InputError(
                Place(origin), f"`errors.{name}` is no measure with an error", ", ".join(known),
                nearest(name, known),
            )  # fmt: skip
        measures[name]["error"] = {
            **error, "of-lab": True, "kind": "assumption", "note": NOTE
        }  # fmt: skip
    for file in sorted(source.rglob("*.yaml")):
        inside = file.relative_to(source)
        if inside.as_posix() != "measures.yaml":
            write_atomically(folder / inside, file.read_text("utf-8"))
    text = yaml.safe_dump(document.data, sort_keys=False, allow_unicode=True, width=100)
    write_atomically(folder / "measures.yaml", text)
