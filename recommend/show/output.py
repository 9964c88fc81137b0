"""Writing a page or picture to a file, without ever writing over something else."""

from __future__ import annotations

from pathlib import Path

from recommend.atomic import write_atomically
from recommend.errors import InputError, Place


def write_output(
    path: Path, text: str, suffixes: tuple[str, ...], *, private: bool = False
) -> None:
    """Write `text` to `path`; a file that is there is replaced only when its ending fits.

    So that a page can be written anew, and a visit or rule named by mistake is never lost. What
    is `private`, such as what comes out of the record store, is readable by its owner alone.

    Raises
    ------
    InputError
        If another kind of file is there, or it cannot be written.
    """
    if path.exists() and path.suffix.lower() not in suffixes:
        raise InputError(
            Place(str(path)),
            "a file of another kind is there already",
            f"a new file, or one that ends in {' or '.join(suffixes)}",
        )
    if private:
        write_atomically(path, text)
        return
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(Place(str(path)), f"cannot be written ({error.strerror})") from error
