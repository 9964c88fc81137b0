"""Building durable-rules on this machine, with the flag that newer Pythons need."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, requires

from recommend.errors import InputError, Place
from recommend.extras import DISTRIBUTION
from recommend.infer.engine import ARRAYS, REFERENCE

_LONGEST = 900  # seconds; it is built in some 20
# Its source calls a function that Python 3.13 took away, and its build overwrites CFLAGS.
_RENAMED, _SINCE = "-DPyEval_CallObject=PyObject_CallObject", (3, 13)


def build_engine() -> str:
    """Install the pinned durable-rules; what came of it, as text for the person who asked.

    Raises
    ------
    InputError
        If this program is not installed, or nothing is there to install with.
    """
    if _loads():
        return f"{REFERENCE} is installed and concludes each visit."
    done = _run([*_installer(), _requirement()])
    if done.returncode == 0 and _loads():
        return f"{REFERENCE} was built and concludes each visit."
    return (
        f"{REFERENCE} cannot be built here ({_reason(done.stdout)}).\n"
        f"{ARRAYS} concludes each visit, with the same outcome. With a C compiler and the headers "
        f"of Python\n(on Debian: gcc, python3-dev), `recommend setup engine` tries again."
    )


def _loads() -> bool:
    """Asked in a new process: one that has looked before it was built does not see it."""
    return _run([sys.executable, "-c", "import recommend.infer.one"]).returncode == 0


def _run(command: list[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, env=_environment(os.environ), stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        stdin=subprocess.DEVNULL, encoding="utf-8", errors="replace", timeout=_LONGEST, check=False,
    )  # fmt: skip


def _environment(given: Mapping[str, str]) -> dict[str, str]:
    if sys.version_info < _SINCE:
        return dict(given)
    return {**given, "CPPFLAGS": f"{given.get('CPPFLAGS', '')} {_RENAMED}".strip()}


def _installer() -> list[str]:
    """The command that installs into this environment: pip, or uv where there is no pip."""
    if _run([sys.executable, "-m", "pip", "--version"]).returncode == 0:
        return [sys.executable, "-m", "pip", "install"]
    if uv := shutil.which("uv"):
        return [uv, "pip", "install", "--python", sys.executable]
    raise InputError(
        Place("setup engine"), "neither pip nor uv is there to install it with",
        mend=f"{ARRAYS} goes on concluding each visit",
    )  # fmt: skip


def _requirement() -> str:
    """durable-rules as this program's own package pins it."""
    try:
        wanted = requires(DISTRIBUTION) or []
    except PackageNotFoundError:
        wanted = []
    for one in wanted:
        if one.startswith(REFERENCE):
            return one.partition(";")[0].strip()
    raise InputError(
        Place("setup engine"), "this program is not installed as a package, so nothing says which "
        f"{REFERENCE} it needs", mend="install it first: pip install .",
    )  # fmt: skip


def _reason(output: str) -> str:
    """What the build complained of first."""
    lines = (line.strip() for line in output.splitlines())
    told = (line for line in lines if "error: " in line.lower() and "subprocess-exited" not in line)
    return next(told, "its installation failed")
