"""Writing a file so that a crash at any instant leaves the old or the new one, never half.

And holding a file while it is read, changed and written, so that no other program's change to it
is lost between the reading and the writing.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from recommend.errors import InputError, Place

PATIENCE = (1.0, 30.0)  # seconds until it is said that we wait, and until we give up


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Keep `path` to this program while it is read, changed and written; freed when it is killed.

    The lock lies in the platform's cache, not beside the file, so that nothing is left there; it
    belongs to the file that a symbolic link points to. Holding a file that is held already by
    this program is no harm.

    Raises
    ------
    InputError
        If another program does not let go of it.
    """
    from filelock import FileLock, Timeout
    from platformdirs import user_cache_path  # only here: what only reads needs neither

    folder = user_cache_path("recommend", appauthor=False) / "locks"
    name = hashlib.sha256(os.fsencode(path.resolve())).hexdigest()[:32]
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = FileLock(folder / f"{name}.lock", is_singleton=True, mode=0o600)
        try:
            lock.acquire(timeout=PATIENCE[0])
        except Timeout:
            print(f"Waiting for another program that writes {path} ...", file=sys.stderr)
            lock.acquire(timeout=PATIENCE[1])
    except Timeout:
        raise InputError(
            Place(str(path)),
            "another program is writing this file and does not let go of it",
            mend="finish there, then do this again; nothing was changed",
        ) from None
    except OSError as error:
        raise InputError(Place(str(folder)), f"cannot be written ({error.strerror})") from error
    try:
        yield
    finally:
        lock.release()


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
