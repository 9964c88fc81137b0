"""Runs the program as on a platform without what only POSIX has: ``python -m`` this, then words."""

from __future__ import annotations

import os
import signal
import sys

ABSENT = (
    "termios",
    "tty",
    "pty",
    "fcntl",
    "resource",
    "pwd",
    "grp",
    "readline",
    "curses",
    "syslog",
)
# Not `getuid` and the like: libraries that choose by the platform's name need them on this one.
FUNCTIONS = ("fork", "forkpty", "getpgid", "getloadavg", "openpty", "chown", "mkfifo", "killpg")
KEPT = ("SIGINT", "SIGTERM", "SIGABRT", "SIGFPE", "SIGILL", "SIGSEGV")  # as on Windows


def hide() -> None:
    """Take away modules, functions of `os` and signals that Windows does not have."""
    for name in ABSENT:
        sys.modules[name] = None  # type: ignore[assignment]
    for name in FUNCTIONS:
        if hasattr(os, name):
            delattr(os, name)
    for name in dir(signal):
        if name.startswith("SIG") and name not in KEPT and not name.startswith("SIG_"):
            delattr(signal, name)


if __name__ == "__main__":
    import filelock  # chooses its kind of lock by `fcntl`; on Windows it uses the platform's own

    assert filelock
    hide()
    from recommend.cli import main

    main()
