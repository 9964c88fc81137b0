"""A rulebook with the errors of measurement of this lab in place of those that ship.

It is read like any other, so that records keep it and replay with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import yaml

from recommend.errors import InputError, Place, nearest
from recommend.reading.texts import Texts

NOTE = "measured in this lab from repeats"


def with_errors(
    texts: Texts,
    errors: Mapping[str, Mapping[str, float]],
    origin: str,
    several: Mapping[str, float] | None = None,
) -> Texts:
    """The texts of a rulebook with `errors` by measure.

    `several` are errors of one reading where several people take it, by measure; an error that
    the lab measured itself goes before them.

    Raises
    ------
    InputError
        If an error is given for something that is not a measure with an error.
    """
    document = texts.document("measures.yaml")
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
    text = yaml.safe_dump(document.data, sort_keys=False, allow_unicode=True, width=100)
    return texts.replaced({"measures.yaml": text})
