"""What is not installed with the rest, and the command that adds it to this installation."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Final

from recommend.errors import RecommendError

# The distribution is not called like the package: strangers hold that name in the registry.
DISTRIBUTION: Final = "footwear-fitting-rules"


def how_to_add(extra: str) -> str:
    """The command that adds an extra to the running installation.

    From a checkout it names the checkout (`.` inside it), else the installed distribution, so
    that it never fetches a package of the same name from somewhere else.
    """
    root = Path(__file__).resolve().parents[1]
    if not (root / "pyproject.toml").is_file():
        source = DISTRIBUTION
    elif root == Path.cwd().resolve():
        source = "."
    else:
        source = str(root)
    return f"pip install {shlex.quote(f'{source}[{extra}]')}"


def not_installed(what: str, extra: str) -> RecommendError:
    """The error for `what` (such as "a picture") where its extra is not installed."""
    command = how_to_add(extra)
    return RecommendError(f"{what} needs the extra `{extra}`; add it with: {command}")
