"""Changing one answer of a finished visit file; all else stays, comments included."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import yaml

from recommend.atomic import held, write_atomically
from recommend.errors import InputError, Place, nearest
from recommend.reading.document import Document, parse_document, read_document
from recommend.visit.entry_steps import Step
from recommend.visit.models import Visit
from recommend.visit.tree import drop, get, put
from recommend.visit.writing import edit_visit, validate_unwritten


def step_called(name: str, steps: tuple[Step, ...]) -> Step:
    """The step with the id `name`, or the only one whose id begins with it.

    Raises
    ------
    InputError
        If there is none, or more than one.
    """
    known = [step.id for step in steps]
    found = [step for step in steps if step.id == name] or [
        step for step in steps if step.id.startswith(name)
    ]
    if len(found) == 1:
        return found[0]
    many = ", ".join(step.id for step in found)
    raise InputError(
        Place("WHAT"),
        f"`{name}` may mean {many}" if found else f"nothing to change is called `{name}`",
        mend=nearest(name, known) or "see what there is with `recommend visit edit REFERENCE`",
    )


def change(path: Path, step: Step, value: Any) -> Visit:
    """Set the answer of `step` in a visit file, or remove it when `value` is None.

    Raises
    ------
    InputError
        If the visit would no longer be valid; nothing is written then.
    """
    part = str(step.path[0])
    if len(step.path) > 1:

        def edit(inside: Any) -> None:
            tree = {part: inside}
            put(tree, step.path, value) if value is not None else drop(tree, step.path)

        return edit_visit(path, part, edit, {})
    return _change_line(path, part, value)


def _change_line(path: Path, key: str, value: Any) -> Visit:
    """Change a top-level value, which stands on lines of its own."""
    with held(path):
        text = _with_line(read_document(path), key, value)
        visit = validate_unwritten(parse_document(text, str(path)))
        write_atomically(path, text)
    return visit


def _with_line(document: Document, key: str, value: Any) -> str:
    lines = document.text.splitlines(keepends=True)
    place = document.key_places.get((key,))
    tops = sorted(line - 1 for loc, (line, _) in document.key_places.items() if len(loc) == 1)
    new = [] if value is None else [f"{key}: {_written(value)}\n"]
    if place is None:
        first = next((line for line in tops if lines[line].startswith("feet")), len(lines))
        return "".join([*lines[:first], *new, *lines[first:]])
    start = place[0] - 1
    end = next((line for line in tops if line > start), len(lines))
    while end > start + 1 and re.match(r"(#|\s*$)", lines[end - 1]):
        end -= 1
    comment = _comment_of(lines[start]) if end == start + 1 else ""
    if new and comment:
        new = [f"{key}: {_written(value)}{comment}\n"]
    return "".join([*lines[:start], *new, *lines[end:]])


def _comment_of(line: str) -> str:
    """The comment behind the value of a line, with the blanks before it; empty when there is none.

    The scanner tells a ` #` inside quotes, which belongs to the value, from one behind it.
    """
    ends = [
        token.end_mark.index for token in yaml.scan(line) if isinstance(token, yaml.ScalarToken)
    ]
    behind = line.rstrip("\n")[max(ends, default=0) :]
    return behind.rstrip() if "#" in behind else ""


def _written(value: Any) -> str:
    """A value as YAML on one line; plain words stay without quotes."""
    if isinstance(value, str) and re.fullmatch(r"[a-z]+(-[a-z]+)*", value):
        return value
    return json.dumps(value, ensure_ascii=False)


def answers_in(data: dict[str, Any], steps: tuple[Step, ...]) -> list[tuple[Step, str]]:
    """Every step that has an answer in the data of a visit, with that answer in words."""
    return [(s, s.standing(data) or "") for s in steps if get(data, s.path) is not None]
