"""Opening a foreign file in a process of its own, with limits of time and memory.

A library that crashes on damaged bytes, hangs, or asks for all memory, ends that process and not
the program. A module that is run so calls `limit_memory` first; the lines it prints as
``DONE TOTAL`` are progress; what it prints last on the error stream is the reason it gives up.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from typing import IO

_LOOK_S = 0.05  # between two looks at whether it goes on


class GaveUpError(Exception):
    """The process ended without its work done; says why in a few words."""


def run_apart(
    module: str,
    arguments: Sequence[str],
    *,
    quiet_s: float,
    tell: Callable[[int, int], None] | None = None,
) -> None:
    """Run ``python -m MODULE ARGUMENTS`` and wait for it; `tell` hears of its progress.

    Raises
    ------
    GaveUpError
        If it fails, crashes, or says nothing for `quiet_s` seconds.
    """
    command = [sys.executable, "-m", module, *arguments]
    paths = os.pathsep.join(filter(None, sys.path))
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as said:
        child = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=said, text=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": paths},
        )  # fmt: skip
        heard = _Heard()
        assert child.stdout is not None
        threading.Thread(target=heard.listen, args=(child.stdout,), daemon=True).start()
        try:
            while child.poll() is None:
                heard.pass_on(tell)
                if time.monotonic() - heard.last > quiet_s:
                    raise GaveUpError(f"nothing came of it for {quiet_s:g} s")
                time.sleep(_LOOK_S)
        finally:
            child.kill()
            child.wait()
        if child.returncode:
            said.seek(0)
            words = said.read().strip().splitlines()[-1:] if child.returncode > 0 else []
            raise GaveUpError(words[0][:200] if words else "opening it crashed the reader")


class _Heard:
    """What a process says while it works."""

    def __init__(self) -> None:
        self.last = time.monotonic()
        self._progress: tuple[int, int] | None = None

    def listen(self, stream: IO[str]) -> None:
        """Read lines until the process closes its output."""
        for line in stream:
            done, _, total = line.partition(" ")
            self.last = time.monotonic()
            if done.strip().isdigit() and total.strip().isdigit():
                self._progress = int(done), int(total)

    def pass_on(self, tell: Callable[[int, int], None] | None) -> None:
        """Tell the progress heard since last asked."""
        progress, self._progress = self._progress, None
        if tell is not None and progress is not None:
            tell(*progress)


def limit_memory(megabytes: int) -> None:
    """Let this process have no more memory than so much, where the system knows such a limit."""
    try:
        import resource
    except ImportError:  # the limit of time remains
        return
    limit = megabytes * 1_000_000
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
