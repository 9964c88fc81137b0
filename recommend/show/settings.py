"""Settings, each with where it comes from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from recommend.settings import Value


def settings_lines(
    file: Path, values: Sequence[Value], errors: Mapping[str, Mapping[str, float]], engine: str
) -> Iterator[str]:
    """A line for each setting: its name, its value, where it comes from.

    `engine` is the one that concludes a visit here.
    """
    yield f"Settings: {file}"
    if not file.exists():
        yield "  not there yet; `recommend setup` writes it"
    width = max(len(one.setting.name) for one in values)
    for one in values:
        origin = "" if one.origin == "default" else f"   ({_origin(one)})"
        yield f"  {one.setting.name:<{width}}  {_value(one)}{origin}"
    lab = ", ".join(errors) or "none; those of the rulebook are used"
    yield f"  {'errors':<{width}}  of this lab: {lab}"
    build = "" if engine == "durable-rules" else " `recommend setup engine` builds durable-rules."
    yield f"A visit is concluded by {engine}.{build}"
    yield "What each is for, and its environment variable: recommend setup show --full"


def settings_explained(
    values: Sequence[Value], errors: Mapping[str, Mapping[str, float]]
) -> Iterator[str]:
    """What each setting is for, where it comes from, and how else it can be set."""
    yield "What counts: option, then environment, then the settings file, then default."
    for one in values:
        yield ""
        yield f"{one.setting.name}: {one.setting.help}"
        yield f"  {_value(one)}   (from {_origin(one)}; or set {one.setting.variable})"
    yield ""
    yield "errors: of measurement of this lab, from `recommend visit repeatability`"
    for measure, table in errors.items():
        yield f"  {measure}: " + ", ".join(f"{key} {value:g}" for key, value in table.items())


def _origin(one: Value) -> str:
    return "file" if one.origin.startswith("file ") else one.origin


def _value(one: Value) -> str:
    if one.value is None or one.value == []:
        return "not set" if one.value is None else "all"
    return ", ".join(map(str, one.value if isinstance(one.value, list) else [one.value]))
