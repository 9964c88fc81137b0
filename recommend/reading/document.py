"""Read one YAML or JSON file into plain data, keeping where each part stands.

The reader accepts the core schema of YAML 1.2: ``yes`` and ``no`` stay words, ``010`` is ten,
dates stay text. Anchors, aliases and tags are refused: a visit or a rule needs none, and they
are how a small file grows without bound in memory.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from recommend.errors import InputError, Place

Loc = tuple[str | int, ...]

MAX_BYTES = 8_000_000  # a guard of memory, not a limit of the trade
MAX_DEPTH = 40

_INT = re.compile(r"[-+]?[0-9]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_NOT_FINITE = re.compile(r"[-+]?\.?(inf|infinity|nan)", re.IGNORECASE)
_WORDS = {"null": None, "~": None, "": None, "true": True, "false": False}


@dataclass(frozen=True, slots=True)
class Document:
    """Plain data of one file and the place of every part of it.

    `places` maps the path of keys and indexes to the line and column of the value;
    `key_places` to that of the key.
    """

    file: str
    data: Any
    places: dict[Loc, tuple[int, int]]
    key_places: dict[Loc, tuple[int, int]]
    text: str

    def place(self, loc: Loc, *, key: bool = False) -> Place:
        """Place of `loc`, or of its nearest ancestor that stands in the file."""
        table = self.key_places if key else self.places
        while loc and loc not in table:
            loc, table = loc[:-1], self.places
        line, column = table.get(loc, (1, 1))
        return Place(self.file, line, column)


def read_document(path: Path | str, name: str | None = None) -> Document:
    """Read `path` (YAML, or JSON, which YAML contains).

    Raises
    ------
    InputError
        If the file is missing, empty, binary, too large or too deep, or not YAML, or holds
        duplicate keys, anchors, tags or numbers that are not finite.
    """
    path = Path(path)
    return parse_document(_read_text(path), name or str(path))


def parse_document(text: str, file: str) -> Document:
    """Parse `text` as `read_document` does; `file` is the name used in messages."""
    try:
        node = yaml.compose(text, Loader=_Composer)
    except yaml.MarkedYAMLError as error:
        raise _syntax_error(error, file) from error
    except yaml.YAMLError as error:
        raise InputError(Place(file), f"the file is not YAML ({_one_line(error)})") from error
    except RecursionError as error:
        raise InputError(Place(file), "the file is nested too deeply", "40 levels") from error
    if node is None:
        raise InputError(
            Place(file, 1), "the file is empty", mend="start from an example in catalogue_demo/"
        )
    places: dict[Loc, tuple[int, int]] = {}
    keys: dict[Loc, tuple[int, int]] = {}
    data = _Builder(file, places, keys).build(node, ())
    return Document(file, data, places, keys, text)


class _Composer(yaml.CSafeLoader):
    """The C parser, with anchors refused while composing."""


def _read_text(path: Path) -> str:
    try:
        if path.is_dir():
            raise InputError(Place(str(path)), "this is a folder", "a file", "name a file in it")
        if not path.is_file() and path.exists():
            raise InputError(Place(str(path)), "this is not an ordinary file")
        if path.stat().st_size > MAX_BYTES:
            raise InputError(
                Place(str(path)),
                f"the file is larger than {MAX_BYTES // 1_000_000} MB",
                mend="name the capture file inside the visit instead of pasting its numbers",
            )
        raw = path.read_bytes()
    except FileNotFoundError:
        raise InputError(
            Place(str(path)), "there is no such file", mend="check the spelling of the path"
        ) from None
    except OSError as error:
        raise InputError(Place(str(path)), f"cannot be read ({error.strerror})") from error
    return _decode(raw, path)


def _decode(raw: bytes, path: Path) -> str:
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(
            Place(str(path), line), "the file is not text in UTF-8", mend="save it as UTF-8"
        ) from error
    bad = re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)
    if bad:
        line = text[: bad.start()].count("\n") + 1
        raise InputError(
            Place(str(path), line),
            f"the file holds the control character U+{ord(bad.group()):04X}",
            "plain text",
            "this looks like a binary file; name a YAML or JSON file",
        )
    return text


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())


def _syntax_error(error: yaml.MarkedYAMLError, file: str) -> InputError:
    mark = error.problem_mark or error.context_mark
    place = Place(file, mark.line + 1, mark.column + 1) if mark else Place(file)
    problem = " ".join(filter(None, (error.context, error.problem)))
    return InputError(
        place,
        f"the file is not YAML here ({problem})",
        mend="look at indentation, colons and quotes on this line and the one above",
    )


class _Builder:
    """Turns composed nodes into plain data and notes where each stands."""

    def __init__(
        self, file: str, places: dict[Loc, tuple[int, int]], keys: dict[Loc, tuple[int, int]]
    ) -> None:
        self.file, self.places, self.keys = file, places, keys
        self._open: set[int] = set()
        self._seen: set[int] = set()

    def build(self, node: yaml.Node, loc: Loc) -> Any:
        place = self._at(node)
        self.places[loc] = (place.line, place.column)
        if len(loc) > MAX_DEPTH:
            raise InputError(place, "this is nested too deeply", f"{MAX_DEPTH} levels")
        if id(node) in self._seen:
            raise InputError(
                place, "an alias (*name) stands here", "values written out", "write it out"
            )
        self._seen.add(id(node))
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, loc)
        if isinstance(node, yaml.SequenceNode):
            self._refuse_tag(node, "tag:yaml.org,2002:seq")
            return [self.build(child, (*loc, i)) for i, child in enumerate(node.value)]
        return self._scalar(node)

    def _mapping(self, node: yaml.MappingNode, loc: Loc) -> dict[str, Any]:
        self._refuse_tag(node, "tag:yaml.org,2002:map")
        out: dict[str, Any] = {}
        for key_node, value_node in node.value:
            key = self._key(key_node)
            here = self._at(key_node)
            if key in out:
                raise InputError(
                    here, f"`{key}` stands twice", "each key once", "remove one of the two"
                )
            self.keys[(*loc, key)] = (here.line, here.column)
            out[key] = self.build(value_node, (*loc, key))
        return out

    def _key(self, node: yaml.Node) -> str:
        if not isinstance(node, yaml.ScalarNode):
            raise InputError(self._at(node), "a list or mapping stands as a key", "a word")
        return str(node.value)

    def _scalar(self, node: yaml.Node) -> Any:
        value = str(node.value)
        if getattr(node, "style", None) in ("'", '"', "|", ">"):
            return value
        if not node.tag.startswith("tag:yaml.org,2002:"):
            raise InputError(self._at(node), f"a tag ({node.tag}) stands here", "plain values")
        if value.lower() in _WORDS:
            return _WORDS[value.lower()]
        if _NOT_FINITE.fullmatch(value):
            raise InputError(
                self._at(node),
                f"`{value}` is not a number",
                "finite numbers",
                "leave the line out if it was not measured",
            )
        return self._number(value, node)

    def _number(self, value: str, node: yaml.Node) -> Any:
        if _INT.fullmatch(value):
            if len(value) > 18:
                raise InputError(self._at(node), "the number is too long", "up to 18 digits")
            return int(value)
        if _FLOAT.fullmatch(value):
            number = float(value)
            if not math.isfinite(number):
                raise InputError(self._at(node), f"`{value}` is too large", "finite numbers")
            return number
        return value

    def _refuse_tag(self, node: yaml.Node, usual: str) -> None:
        if node.tag != usual:
            raise InputError(self._at(node), f"a tag ({node.tag}) stands here", "plain values")

    def _at(self, node: yaml.Node) -> Place:
        mark = node.start_mark
        return Place(self.file, mark.line + 1, mark.column + 1)
