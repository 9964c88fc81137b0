"""Writing a file so that a crash at any instant leaves the old or the new one, never half.

And holding a file while it is read, changed and written, so that no other program's change to it
is lost between the reading and the writing.
"""

from __future__ import annotations

import hashlib
import os
import stat
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from recommend.errors import InputError, Place

NO_TEXT = ("names of files that are text in UTF-8", "rename the file or folder it would name")
_HALF = ".part"  # ends the name of a file that is being written
PATIENCE = (1.0, 30.0)  # seconds until it is said that we wait, and until we give up


@contextmanager
def held(path: Path, busy: InputError | None = None) -> Iterator[None]:
    """Keep `path` to this program while it is read, changed and written; freed when it is killed.

    The lock lies in the platform's cache, not beside the file, so that nothing is left there; it
    belongs to the file that a symbolic link points to. Holding a file that is held already by
    this program is no harm.

    Raises
    ------
    InputError
        If another program does not let go of it; with `busy`, that at once.
    """
    from filelock import FileLock, Timeout
    from platformdirs import user_cache_path  # only here: what only reads needs neither

    folder = user_cache_path("recommend", appauthor=False) / "locks"
    try:
        name = hashlib.sha256(os.fsencode(path.resolve())).hexdigest()[:32]
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        lock = FileLock(folder / f"{name}.lock", is_singleton=True, mode=0o600)
        try:
            lock.acquire(timeout=PATIENCE[0] if busy is None else 0)
        except Timeout:
            if busy is not None:
                raise busy from None
            print(f"Waiting for another program that writes {path} ...", file=sys.stderr)
            lock.acquire(timeout=PATIENCE[1])
    except Timeout:
        raise InputError(
            Place(str(path)),
            "another program is writing this file and does not let go of it",
            mend="finish there, then do this again; nothing was changed",
        ) from None
    except (OSError, RuntimeError) as error:  # links that lead in a circle are the second
        found = f"cannot be written ({getattr(error, 'strerror', None) or error})"
        raise InputError(Place(str(folder)), found) from error
    try:
        yield
    finally:
        lock.release()


def write_atomically(path: Path, content: str | bytes, *, private: bool = True) -> None:
    """Write `content` to `path` as it is; on the disk when this returns.

    See `written_whole` for links, rights and errors; text that holds the name of a file whose
    bytes are no text is refused too.
    """
    try:
        raw = content.encode("utf-8") if isinstance(content, str) else content
    except UnicodeEncodeError as error:
        raise InputError(Place(str(path)), "cannot be written", *NO_TEXT) from error
    with written_whole(path, private=private) as stream:
        stream.write(raw)


@contextmanager
def written_whole(path: Path, *, private: bool = True) -> Iterator[BinaryIO]:
    """A stream whose bytes become the file at `path` at the end; not at all if it is not reached.

    A symbolic link stays, and what it points to is written. A file that is there keeps its
    rights; a new one is readable by its owner alone, or as the platform usually does when it is
    not `private`. Halves that killed programs left in the folder are cleared away.

    Raises
    ------
    InputError
        If the folder cannot be made or written to.
    """
    try:
        real = path.resolve()
        make_folder(real.parent, 0o700 if private else 0o777)
        with held(real):
            _clear_halves(real)
            with _replacing(real, _rights(real, private=private)) as stream:
                yield stream
        _sync_folder(real.parent)
    except (OSError, RuntimeError) as error:  # links that lead in a circle are the second
        raise InputError(
            Place(str(path)),
            f"cannot be written ({getattr(error, 'strerror', None) or error})",
            mend="make room, or choose another folder with `recommend setup`",
        ) from error


def make_folder(folder: Path, mode: int) -> None:
    """Make a folder and all above it that are missing, each with these rights."""
    if not folder.is_dir():
        make_folder(folder.parent, mode)
        folder.mkdir(exist_ok=True, mode=mode)


def _rights(path: Path, *, private: bool) -> int:
    if path.exists():
        return stat.S_IMODE(path.stat().st_mode)
    if private:
        return 0o600
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


@contextmanager
def _replacing(path: Path, mode: int) -> Iterator[BinaryIO]:
    import tempfile  # only here: a run that writes nothing needs none of it

    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=_HALF)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, mode)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _clear_halves(path: Path) -> None:
    """Remove what was begun in the folder of `path` and never finished; `path` itself is held.

    A half whose file another program holds is being written, and stays.
    """
    for one in path.parent.iterdir():
        if not (one.name.startswith(".") and one.name.endswith(_HALF)):
            continue
        target = one.name[1:].removesuffix(_HALF).rpartition(".")[0]
        with suppress(InputError), held(path.with_name(target or path.name), _BUSY):
            one.unlink(missing_ok=True)


_BUSY = InputError(Place(""), "another program writes this file")


def _sync_folder(folder: Path) -> None:
    """Make the new name itself outlive a power cut, where the platform can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
