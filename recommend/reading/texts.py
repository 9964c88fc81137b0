"""Some files that belong together, held as they are: read from a folder, or kept, or made."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from recommend.dataclass import dataclass
from recommend.errors import InputError, Place
from recommend.reading.document import Document, decoded, parse_document, read_bytes

# Guards of time and memory: entries and bytes of a folder of files that belong together.
MOST_ENTRIES, MOST_BYTES = 20_000, 64_000_000


@dataclass(frozen=True)
class Texts(Mapping[str, bytes]):
    """Files by name within their folder (``classify/motion.yaml``), each as its bytes.

    Attributes
    ----------
    where : the folder, for places in messages; it need not be there any more.
    files : the bytes of each file, in order of name.
    unread : files that could not be read, and why; they are raised when they are asked for.
    """

    where: str
    files: Mapping[str, bytes]
    unread: Mapping[str, InputError]

    @classmethod
    def of_folder(cls, folder: Path | str, pattern: str = "**/*.yaml") -> Texts:
        """Every file of a folder that fits `pattern`.

        Raises
        ------
        InputError
            If the folder holds far more than files that belong together.
        """
        if pattern.startswith("**"):
            _refuse_a_disk(folder)
        files: dict[str, bytes] = {}
        held = 0
        unread: dict[str, InputError] = {}
        for file in sorted(Path(folder).glob(pattern)):
            name = file.relative_to(folder).as_posix()
            try:
                files[name] = read_bytes(file)
            except InputError as error:
                unread[name] = error
                continue
            held += len(files[name])
            if held > MOST_BYTES:
                raise _not_together(folder, f"{MOST_BYTES // 1_000_000} MB of files")
        return cls(str(folder), files, unread)

    @classmethod
    def of(cls, where: str, texts: Mapping[str, str]) -> Texts:
        """Files that are held as text.

        Raises
        ------
        InputError
            If a name leads out of the folder.
        """
        for name in texts:
            if ".." in Path(name).parts or Path(name).is_absolute():
                raise InputError(Place(name), "this name leads out of the folder")
        return cls(where, _in_order({name: text.encode() for name, text in texts.items()}), {})

    def __getitem__(self, name: str) -> bytes:
        return self.files[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self.files)

    def __len__(self) -> int:
        return len(self.files)

    def place(self, name: str = "") -> Place:
        """The place of a file, or of the folder."""
        return Place(str(Path(self.where) / name) if name else self.where)

    def document(self, name: str) -> Document:
        """One file read and parsed; its data are shared, so nobody changes them.

        Raises
        ------
        InputError
            As `read_document` does, and if there is no such file.
        """
        if name in self.unread:
            raise self.unread[name]
        place = self.place(name)
        if name not in self.files:
            raise InputError(place, "there is no such file", mend="check the spelling of the path")
        return _parsed(self.files[name], place.file)

    def under(self, folder: str) -> list[str]:
        """Names of the files directly in `folder`."""
        names = (*self.files, *self.unread)
        return sorted(name for name in names if Path(name).parent.as_posix() == folder)

    def replaced(self, texts: Mapping[str, str]) -> Texts:
        """The same with other text in some of the files."""
        files = {**self.files, **{name: text.encode() for name, text in texts.items()}}
        return Texts(self.where, _in_order(files), self.unread)

    def as_document(self) -> dict[str, Any]:
        """The texts by name, as records keep them.

        Raises
        ------
        InputError
            If a file is not text.
        """
        found = {}
        for name, raw in self.files.items():
            try:
                found[name] = raw.decode()
            except UnicodeDecodeError as error:
                place = self.place(name)
                raise InputError(place, "this can no longer be read as text") from error
        return found


@lru_cache(maxsize=256)  # a check reads the files of a rulebook many times
def _parsed(raw: bytes, file: str) -> Document:
    return parse_document(decoded(raw, file), file)


def digest_of(texts: Texts) -> str:
    """SHA-256 over the names, lengths and contents of all files, in order of name."""
    running = hashlib.sha256()
    for name, body in texts.items():
        running.update(f"{name}\n{len(body)}\n".encode("utf-8", "surrogateescape"))
        running.update(body)
    return running.hexdigest()


def _in_order(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Files folder by folder, as a walk through them goes."""
    return {name: files[name] for name in sorted(files, key=lambda name: name.split("/"))}


def _refuse_a_disk(folder: Path | str) -> None:
    """Refuse a folder that is a whole disk, before it is searched for hours."""
    entries = 0
    for _, folders, files in os.walk(folder):
        entries += len(folders) + len(files)
        if entries > MOST_ENTRIES:
            raise _not_together(folder, f"{MOST_ENTRIES:,} files and folders")


def _not_together(folder: Path | str, found: str) -> InputError:
    return InputError(
        Place(str(folder)),
        f"more than {found} are in this folder",
        "a folder of files that belong together",
        "name that folder itself, not one above it",
    )
