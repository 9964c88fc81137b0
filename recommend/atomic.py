"""Writing a file so that a crash at any instant leaves the old or the new one, never half."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from recommend.errors import InputError, Place


def write_atomically(path: Path, text: str) -> None:
    """Write `text` to `path`, readable by its owner alone; on the disk when this returns.

    Raises
    ------
    InputError
        If the folder cannot be made or written to.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as stream:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(name, path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)
    except OSError as error:
        raise InputError(
            Place(str(path)),
            f"cannot be written ({error.strerror})",
            mend="make room, or choose another folder with `recommend setup`",
        ) from error


def _sync_folder(folder: Path) -> None:
    """Make the new name itself outlive a power cut, where the platform can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
