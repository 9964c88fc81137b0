"""Read one YAML or JSON file into plain data, keeping where each part stands; and write such data.

The reader accepts the core schema of YAML 1.2: ``yes`` and ``no`` stay words, ``010`` is ten,
dates stay text. Anchors, aliases and tags are refused: a visit or a rule needs none, and they
are how a small file grows without bound in memory.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import yaml

from recommend.dataclass import dataclass
from recommend.errors import InputError, Place
from recommend.reading.plain_data import Builder, is_bare_text
from recommend.reading.plain_data import Loc as Loc

MAX_BYTES = 8_000_000  # a guard of memory, not a limit of the trade

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ufffe\uffff]")
# What tools write before the text when they save in another encoding than UTF-8.
_OTHER_MARKS = {
    b"\xff\xfe\x00\x00": "UTF-32", b"\x00\x00\xfe\xff": "UTF-32",
    b"\xff\xfe": "UTF-16", b"\xfe\xff": "UTF-16",
}  # fmt: skip
# A character beyond U+FFFF as JSON escapes it (two halves), which YAML does not know.
_JSON_HALVES = re.compile(r"(?<!\\)((?:\\\\)*)\\u(d[89ab][0-9a-f]{2})\\u(d[c-f][0-9a-f]{2})", re.I)


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


def read_document(path: Path | str) -> Document:
    """Read `path` (YAML, or JSON, which YAML contains).

    Raises
    ------
    InputError
        If the file is missing, empty, binary, too large or too deep, or not YAML, or holds
        duplicate keys, anchors, tags, several documents or numbers that are not finite.
    """
    path = Path(path)
    return parse_document(decoded(read_bytes(path), str(path)), str(path))


def parse_document(text: str, file: str) -> Document:
    """Parse `text` as `read_document` does; `file` is the name used in messages."""
    is_json = text.lstrip()[:1] in ("{", "[")
    builder = Builder(file, _JSON_HALVES.sub(_joined_halves, text) if is_json else text)
    data = builder.document()
    return Document(file, data, builder.places, builder.keys, text)


def _joined_halves(found: re.Match[str]) -> str:
    high, low = int(found[2], 16) - 0xD800, int(found[3], 16) - 0xDC00
    return f"{found[1]}\\U{0x10000 + (high << 10) + low:08X}"


def read_bytes(path: Path) -> bytes:
    """The content of an ordinary file of bounded size.

    Raises
    ------
    InputError
        If it is missing, a folder, a device or a pipe, unreadable or too large.
    """
    refuse_no_file(path, MAX_BYTES)
    with _failures(path):
        return path.read_bytes()


def refuse_no_file(path: Path, most: int | None = None, what: str = "a file") -> None:
    """Refuse a path at which no ordinary file of at most `most` bytes stands.

    Raises
    ------
    InputError
        If nothing is there, a folder, a device or a pipe, or something larger.
    """
    place = Place(str(path))
    with _failures(path):
        if path.is_dir():
            raise InputError(place, "this is a folder", what, "name a file in it")
        size = path.stat().st_size
        if not path.is_file():
            raise InputError(
                place, "this is a device or a pipe", "an ordinary file", "save it as a file first"
            )
    if most is not None and size > most:
        raise InputError(
            place,
            f"the file is larger than {most // 1_000_000} MB",
            f"files up to {most // 1_000_000} MB",
            "check that this is the file you mean",
        )


@contextmanager
def _failures(path: Path) -> Iterator[None]:
    """What the file system says of `path`, as a sentence."""
    place = Place(str(path))
    try:
        yield
    except FileNotFoundError:
        raise InputError(
            place, "there is no such file", mend="check the spelling of the path"
        ) from None
    except PermissionError:
        raise InputError(
            place, "you may not read this file", mend="ask its owner for the right to read it"
        ) from None
    except (OSError, ValueError) as error:  # a name with a zero in it is the second
        raise InputError(
            place,
            f"the file cannot be read ({getattr(error, 'strerror', None) or error})",
            mend="check the path and the disk",
        ) from error


def read_text(path: Path) -> str:
    """The text of an ordinary file of bounded size in UTF-8, without control characters.

    Raises
    ------
    InputError
        If it is not such a file, with the line.
    """
    return decoded(read_bytes(path), str(path))


def decoded(raw: bytes, file: str) -> str:
    """The text of a file in UTF-8; `file` is the name used in messages.

    Raises
    ------
    InputError
        If it is saved in another encoding, or holds what no text holds.
    """
    for mark, encoding in _OTHER_MARKS.items():
        if raw.startswith(mark):
            raise InputError(
                Place(file), f"the file is saved as {encoding}", "UTF-8", "save it as UTF-8"
            )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(
            Place(file, line), "the file is not text in UTF-8", "UTF-8", "save it as UTF-8"
        ) from error
    bad = _CONTROL.search(text)
    if bad:
        raise InputError(
            Place(file, text[: bad.start()].count("\n") + 1),
            f"the file holds the control character U+{ord(bad.group()):04X}",
            "plain text",
            "delete it; if there are many, this is no text file: name a YAML or JSON file",
        )
    # One spelling for a letter with its accent, whichever way the keyboard wrote it.
    return text if text.isascii() else unicodedata.normalize("NFC", text)


def written(data: Any, **layout: Any) -> str:
    """`data` as YAML: keys in their order, nothing referred back to, text that is read as text.

    YAML 1.1, by which the library writes, takes ``0812`` and ``1e3`` for text and leaves them bare;
    the reader here takes them for numbers, so they are quoted.

    Parameters
    ----------
    layout : what ``yaml.dump`` takes beside, such as `width`.
    """
    text: str = yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, **layout)
    return text


class _Dumper(yaml.SafeDumper):
    """Writes things out each time, as our files have no anchors."""

    def ignore_aliases(self, _data: Any) -> bool:
        return True


def _text(dumper: yaml.SafeDumper, text: str) -> yaml.ScalarNode:
    style = None if is_bare_text(text) else "'"
    return dumper.represent_scalar("tag:yaml.org,2002:str", text, style=style)


_Dumper.add_representer(str, _text)
