"""Writing a page, table or picture that was asked for, without writing over something else."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from recommend.atomic import write_atomically
from recommend.door import visible
from recommend.errors import InputError, Place

_HEAD = 4096  # bytes in which a file shows what it is


@dataclass(frozen=True, slots=True)
class FileKind:
    """A kind of file: its endings, and how a file that is there shows that it is one."""

    suffixes: tuple[str, ...]
    is_one: Callable[[bytes], bool]


def _says(*marks: bytes) -> Callable[[bytes], bool]:
    return lambda head: any(mark in head.lower() for mark in marks)


PAGE = FileKind((".html", ".htm"), _says(b"<!doctype html"))
SVG = FileKind((".svg",), _says(b"<svg"))
PICTURE = FileKind((".svg", ".png", ".pdf"), _says(b"<svg", b"<?xml", b"\x89png", b"%pdf-"))
FINDINGS = FileKind((".sarif", ".json"), _says(b"sarif"))
SCHEMA = FileKind((".json",), _says(b"json-schema.org"))
REQUEST = FileKind((".tsq",), lambda head: head.startswith(b"\x30"))  # of RFC 3161: a sequence
CATALOGUE = FileKind(
    (".yaml", ".yml"), lambda head: re.search(rb"(?m)^products:", head) is not None
)


def table(first_column: str) -> FileKind:
    """The kind of a CSV file whose first column is called so."""
    return FileKind((".csv",), lambda head: head.startswith(first_column.encode()))


MARKS = table("# capture: marks")  # found in a film


def is_output(path: Path) -> bool:
    """Whether a file is a page, a picture or the marks of a film, as are written of a customer.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    return any(_is_one(path, kind) for kind in (PAGE, PICTURE, MARKS))


def write_output(
    path: Path, content: str | bytes, kind: FileKind, *, private: bool = False, force: bool = False
) -> None:
    """Write `content` to `path`; what is there is replaced only when it is of the same kind.

    So that a page can be written anew, and a visit or rule named by mistake is never lost.

    Parameters
    ----------
    kind : what is written, and may be written over.
    private : a new file is readable by its owner alone, as is fit for anything of a customer.
    force : write over a file of any kind.

    Raises
    ------
    InputError
        If another kind of file is there, its folder is not, or it cannot be written.
    """
    refuse_other_kinds(path, kind, force=force)
    shown = visible(content) if isinstance(content, str) else content
    write_atomically(path, shown, private=private)


def refuse_other_kinds(path: Path | None, kind: FileKind, *, force: bool = False) -> None:
    """Refuse `path` when something is there that is not of the `kind`; before hours are spent.

    Nothing is refused where nothing is to be written.

    Raises
    ------
    InputError
        If so, or if the folder is not there.
    """
    if path is None:
        return
    endings = " or ".join(kind.suffixes)
    if not _folder_of(path).is_dir():
        raise InputError(Place(str(path)), "cannot be written (there is no such folder)")
    if not path.exists() or (force and path.is_file()):
        return
    if not path.is_file():
        raise InputError(Place(str(path)), "this is not a file", "the name of a file")
    if path.suffix.lower() not in kind.suffixes or not _is_one(path, kind):
        raise InputError(
            Place(str(path)),
            "a file of another kind is there already",
            f"a new file, or one of ours that ends in {endings}",
            "name another, or write over it with --force",
        )


def _folder_of(path: Path) -> Path:
    """The folder of a file, or of what a link points to."""
    try:
        return path.resolve().parent
    except (OSError, RuntimeError) as error:
        raise InputError(Place(str(path)), f"cannot be written ({error})") from error


def _is_one(path: Path, kind: FileKind) -> bool:
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEAD)
    except OSError as error:
        raise InputError(Place(str(path)), f"cannot be read ({error.strerror})") from error
    return not head or kind.is_one(head)
