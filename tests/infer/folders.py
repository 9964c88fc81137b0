"""Copies of the shipped rulebook with something added, for tests of loading and running."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import yaml

from recommend.extras import shipped_folder
from recommend.reading import read_document

_GUESS = {"kind": "common-practice"}


def copied(into: Path) -> Path:
    """A copy of the shipped rules below `into`."""
    return Path(shutil.copytree(shipped_folder("rules"), into / "rules"))


def add_to(file: Path, key: str, more: dict[str, Any]) -> None:
    """Add entries to the mapping at `key` of a YAML file."""
    data = read_document(file).data
    data[key] |= more
    write(file, data)


def add_rules(folder: Path, stage: str, rules: Iterable[dict[str, Any]]) -> Path:
    """Write `rules` to a further file of `stage`."""
    file = folder / stage / "added.yaml"
    write(file, {"title": "Added", "rules": list(rules)})
    return file


def write(file: Path, data: Any) -> None:
    """Write `data` as YAML, every value written out (aliases are not read)."""
    text = yaml.dump(data, Dumper=_Plain, allow_unicode=True, sort_keys=False)
    file.write_text(text, encoding="utf-8")


class _Plain(yaml.SafeDumper):
    def ignore_aliases(self, data: Any) -> bool:
        return True


def axis_rule(name: str, when: Any, axis: str, value: str) -> dict[str, Any]:
    """A rule that concludes a value of an axis."""
    return _rule(name, when, {"axis": axis, "value": value})


def note_rule(name: str, when: Any) -> dict[str, Any]:
    """A rule that concludes a caution."""
    return _rule(name, when, {"note": "caution", "say": "Made up for a test."})


def _rule(name: str, when: Any, then: dict[str, Any]) -> dict[str, Any]:
    made = {"id": name, "title": name, "when": when, "then": then}
    return made | {"because": "it is made up for a test", "basis": _GUESS}


def score_limits(values: Iterable[float]) -> dict[str, Any]:
    """Limits of a score called ``at-<number in the row>``."""
    heading = {"title": "made up", "unit": "score", "population": "nobody"}
    return {
        f"at-{index}": heading | {"values": [{"value": value} | _GUESS]}
        for index, value in enumerate(values)
    }
