"""Writing into a visit file: one top-level part changes, every other byte stays as it was.

So does the change of one answer of a finished visit.
"""

from __future__ import annotations

import difflib
import io
import json
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import yaml
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.error import YAMLError
from ruamel.yaml.representer import RoundTripRepresenter

from recommend.atomic import held, write_atomically
from recommend.errors import InputError, Place, nearest
from recommend.reading import validate
from recommend.reading.document import Document, parse_document, read_document
from recommend.reading.plain_data import is_bare_text
from recommend.visit.entry_steps import EntryStep
from recommend.visit.models import Visit
from recommend.visit.tree import drop, get, put

_WIDTH = 100  # of a written line


def edit_visit(path: Path | str, part: str, edit: Callable[[Any], None], empty: Any) -> Visit:
    """Change one top-level part of a visit file, and check the whole before it is written.

    Parameters
    ----------
    path : the visit file; it must be a valid visit already.
    part : a top-level key such as ``trials``; it is added at the end when missing.
    edit : changes the part in place (a list or mapping that keeps its comments).
    empty : what the part is before it is changed when it is missing: ``[]`` or ``{}``.

    Returns
    -------
    Visit
        The visit as it now stands in the file.

    Raises
    ------
    InputError
        If the file is not a valid visit, before or after the change (nothing is written then),
        or cannot be written.

    Notes
    -----
    Comments and order inside the part are kept too, though its lines may be wrapped anew. The
    file is replaced in one step, so that a crash leaves the old or the new one, never a half.
    """
    path = Path(path)
    with held(path):
        document = read_document(path)
        validate(Visit, document)
        changed = edited(document, part, edit, empty)
        write_atomically(path, changed.text)
        return validate(Visit, changed)


def edited(document: Document, part: str, edit: Callable[[Any], None], empty: Any) -> Document:
    """The visit in `document` with one part changed, as `edit_visit` does; nothing is written.

    Raises
    ------
    InputError
        If the visit is no longer valid.
    """
    changed = _changed(document, part, edit, empty)
    validate_unwritten(changed)
    return changed


def validate_unwritten(document: Document) -> Visit:
    """The visit in a document that is not written yet.

    Raises
    ------
    InputError
        If it is not valid; without a line, as the one in the file does not say so.
    """
    try:
        return validate(Visit, document)
    except InputError as error:
        raise not_written(error) from None


def not_written(error: InputError) -> InputError:
    """`error` about a text that was meant for a file and is not in it."""
    found = f"not written, because {error.found}"
    return InputError(Place(error.place.file), found, error.allowed, error.mend)


def _changed(document: Document, part: str, edit: Callable[[Any], None], empty: Any) -> Document:
    edited_text = _edited_json if _is_json(document) else _edited_yaml
    with _told_where_readers_differ(document, part):
        text = edited_text(document, part, edit, empty)
    return parse_document(text, document.file)


def _is_json(document: Document) -> bool:
    return document.text.lstrip().startswith("{")


@contextmanager
def _told_where_readers_differ(document: Document, part: str) -> Iterator[None]:
    """Say so where a library that changes files refuses what the strict reader took."""
    try:
        yield
    except (YAMLError, yaml.YAMLError, json.JSONDecodeError) as error:
        raise InputError(
            Place(document.file),
            f"`{part}` cannot be changed in this file, though it can be read",
            "JSON as programs write it" if _is_json(document) else "line ends and blanks as usual",
            "write the change by hand, or save the file anew; nothing was written",
        ) from error


def flow(values: list[float]) -> CommentedSeq:
    """A list that is written on one line, in brackets."""
    row = CommentedSeq(values)
    row.fa.set_flow_style()
    return row


def child(parent: Any, key: str) -> Any:
    """The mapping under `key`, made when it is missing or empty."""
    if parent.get(key) is None:
        parent[key] = CommentedMap()
    return parent[key]


def _edited_json(document: Document, part: str, edit: Callable[[Any], None], empty: Any) -> str:
    data = json.loads(document.text)
    edit(data.setdefault(part, empty))
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _edited_yaml(document: Document, part: str, edit: Callable[[Any], None], empty: Any) -> str:
    lines = document.text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    start, end = _span(document, part, lines)
    yaml = _round_trip("".join(lines[start:end]))
    tree = yaml.load("".join(lines[start:end])) or CommentedMap()
    if tree.get(part) is None:
        tree[part] = CommentedSeq() if isinstance(empty, list) else CommentedMap()
    before = _dumped(yaml, tree)
    edit(tree[part])
    after = _dumped(yaml, tree)
    kept = _with_lines_of(lines[start:end], before, after)
    if yaml.load("".join(kept)) != yaml.load("".join(after)):
        kept = after  # lines that were wrapped anew stand where something changed
    return "".join([*lines[:start], *kept, *lines[end:]])


class _Representer(RoundTripRepresenter):
    """Puts quotes around text that the strict reader, or a line in brackets, takes otherwise."""


def _text(representer: RoundTripRepresenter, text: str) -> Any:
    bare = is_bare_text(text) and not set(":?") & set(text)
    style = None if bare else "'"
    return representer.represent_scalar("tag:yaml.org,2002:str", text, style=style)


_Representer.add_representer(str, _text)


def _dumped(yaml: YAML, tree: Any) -> list[str]:
    out = io.StringIO()
    yaml.dump(tree, out)
    return out.getvalue().splitlines(keepends=True)


def _with_lines_of(written: list[str], before: list[str], after: list[str]) -> list[str]:
    """`after`, with each line as it was `written` wherever `before` and `after` are the same.

    `before` is `written` as the round-trip printer gives it, which wraps lines anew and moves
    comments; only where the edit changed a line is its print taken.
    """
    as_written: dict[int, list[str]] = {}  # lines of `before` by where they begin in `written`
    for tag, i1, i2, j1, j2 in _opcodes(before, written):
        if tag == "equal":
            as_written.update({i: [written[j1 + i - i1]] for i in range(i1, i2)})
        elif i2 > i1:
            as_written[i1] = written[j1:j2]
            as_written.update({i: [] for i in range(i1 + 1, i2)})
    whole = {i1: i2 for tag, i1, i2, *_ in _opcodes(before, written) if tag == "replace"}
    out: list[str] = []
    for tag, i1, i2, j1, j2 in _opcodes(before, after):
        if tag != "equal":
            out += after[j1:j2]
            continue
        for i in range(i1, i2):
            cut = any(a <= i < b and (a < i1 or b > i2) for a, b in whole.items())
            out += [before[i]] if cut else as_written[i]
    return out


def _opcodes(a: list[str], b: list[str]) -> Sequence[tuple[str, int, int, int, int]]:
    return difflib.SequenceMatcher(None, a, b, autojunk=False).get_opcodes()


def _tops(document: Document) -> list[int]:
    """Lines at which top-level parts begin, in order."""
    return sorted(line - 1 for loc, (line, _) in document.key_places.items() if len(loc) == 1)


def _span(document: Document, part: str, lines: list[str]) -> tuple[int, int]:
    """First line of a top-level part and the line after its last; the file's end when missing."""
    if (part,) not in document.key_places:
        return len(lines), len(lines)
    start = document.key_places[(part,)][0] - 1
    end = next((line for line in _tops(document) if line > start), len(lines))
    # A comment right above the next key, not indented, belongs to that key.
    while end < len(lines) and end > start + 1 and re.match(r"(#|\s*$)", lines[end - 1]):
        end -= 1
    return start, end


def _round_trip(text: str) -> YAML:
    """A round-trip parser that indents lists as the text does."""
    yaml = YAML()
    yaml.Representer = _Representer
    yaml.width = _WIDTH
    yaml.preserve_quotes = True
    indented = re.search(
        r"^\w[^\n]*:\s*(#[^\n]*)?\n(?:\s*(?:#[^\n]*)?\n)*( *)- ", text, re.MULTILINE
    )
    offset = len(indented.group(2)) if indented else 2
    yaml.indent(mapping=2, sequence=offset + 2, offset=offset)
    return yaml


def step_called(name: str, steps: tuple[EntryStep, ...]) -> EntryStep:
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


def change(path: Path, step: EntryStep, value: Any) -> Visit:
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
        document = read_document(path)
        with _told_where_readers_differ(document, key):
            text = _with_line(document, key, value)
        visit = validate_unwritten(parse_document(text, str(path)))
        write_atomically(path, text)
    return visit


def _with_line(document: Document, key: str, value: Any) -> str:
    if _is_json(document):
        data = {**json.loads(document.text), key: value}
        if value is None:
            del data[key]
        return json.dumps(data, indent=2, ensure_ascii=False) + "\n"
    lines = document.text.splitlines(keepends=True)
    new = [] if value is None else [f"{key}: {_written(value)}\n"]
    if (key,) not in document.key_places:
        first = next((at for at in _tops(document) if lines[at].startswith("feet")), len(lines))
        return "".join([*lines[:first], *new, *lines[first:]])
    start, end = _span(document, key, lines)
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


def answers_in(data: dict[str, Any], steps: tuple[EntryStep, ...]) -> list[tuple[EntryStep, str]]:
    """Every step that has an answer in the data of a visit, with that answer in words."""
    return [(s, s.standing(data) or "") for s in steps if get(data, s.path) is not None]
