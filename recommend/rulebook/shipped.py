"""Where the rulebook and the demo catalogue that ship with the package are found."""

from __future__ import annotations

from pathlib import Path

from recommend.errors import RecommendError

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder(name: str) -> Path:
    """The folder ``rules`` or ``catalogue_demo``, beside the sources or inside the wheel.

    Raises
    ------
    RecommendError
        If the installation is incomplete.
    """
    for base in (_PACKAGE / "_shipped", _PACKAGE.parent):
        if (base / name).is_dir():
            return base / name
    raise RecommendError(f"the folder `{name}` is missing from this installation; reinstall it")
