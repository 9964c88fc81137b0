"""Settings, each with where it comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from recommend.settings import Value


def settings_lines(
    file: Path, values: Sequence[Value], errors: Mapping[str, Mapping[str, float]], engine: str
) -> Iterator[str]:
    """One setting after another: its name and where it comes from, then its value.

    `engine` is the one that concludes a visit here.
    """
    there = "" if file.exists() else " (not written yet; `recommend setup` writes it)"
    yield f"Settings: {file}{there}"
    yield "What counts: option, then environment, then this file, then default."
    for one in values:
        given = one.value if isinstance(one.value, list) else [one.value]
        origin = "file" if one.origin.startswith("file ") else one.origin
        yield ""
        yield f"{one.setting.name:<16} from {origin} ({one.setting.help})"
        for value in given:
            yield f"  {'not set' if value is None else value}"
        if not origin.startswith("environment"):
            yield f"  or set {one.setting.variable}"
    yield ""
    yield f"A visit is concluded by {engine}. `recommend setup engine` builds durable-rules."
    yield ""
    yield "errors           of measurement of this lab, from `recommend visit repeatability`"
    for measure, table in errors.items():
        yield f"  {measure}: " + ", ".join(f"{key} {value:g}" for key, value in table.items())
    if not errors:
        yield "  none; those of the rulebook are used"
