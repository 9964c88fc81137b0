"""What is installed here and where, what is not, and the command that adds it."""

from __future__ import annotations

import shlex
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from recommend.errors import RecommendError

# The distribution is not called like the package: strangers hold that name in the registry.
DISTRIBUTION: Final = "footwear-fitting-rules"

_PACKAGE = Path(__file__).resolve().parent


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


def how_to_add(extra: str) -> str:
    """The command that adds an extra to the running installation.

    From a checkout it names the checkout (`.` inside it), else the installed distribution, so
    that it never fetches a package of the same name from somewhere else.
    """
    root = _PACKAGE.parent
    if not (root / "pyproject.toml").is_file():
        source = DISTRIBUTION
    elif root == Path.cwd().resolve():
        source = "."
    else:
        source = str(root)
    return f"pip install {shlex.quote(f'{source}[{extra}]')}"


def need(what: str, extra: str, *modules: str) -> None:
    """Ask for the modules of an extra before they are imported.

    Raises
    ------
    RecommendError
        If one of them is not installed.
    """
    if any(find_spec(module) is None for module in modules):
        raise not_installed(what, extra)


def not_installed(what: str, extra: str) -> RecommendError:
    """The error for `what` (such as "a picture") where its extra is not installed."""
    command = how_to_add(extra)
    return RecommendError(f"{what} needs the extra `{extra}`; add it with: {command}")
