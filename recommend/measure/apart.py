"""Opening a foreign file in a process of its own, with limits of time and memory.

A library that crashes on damaged bytes, hangs, or asks for all memory, ends that process and not
the program. A module that is run so calls `limit_memory` first; the lines it prints as
``DONE TOTAL`` are progress; what it prints last on the error stream is the reason it gives up.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import IO, Any

_LOOK_S = 0.02  # between two looks at whether it goes on
NOT_READ, TOO_LARGE = 3, 4  # exit codes of such a process
_SECONDS, _QUIET_S = 10, 60.0  # of computing; of waiting, on a machine that does much else
_MEGABYTES = 1500  # what opening a file may take: a recording, held twice, and its reader


class GaveUpError(Exception):
    """The process ended without its work done; says why in a few words."""

    def __init__(self, reason: str, code: int = NOT_READ) -> None:
        super().__init__(reason)
        self.too_large = code == TOO_LARGE


def opened(kind: str, path: Path, told: Mapping[str, Any] | None = None) -> tuple[Any, Any]:
    """The array in a foreign file of this `kind` (see `foreign`), and what else it says.

    Raises
    ------
    GaveUpError
        If it is no such file, is damaged, or opening it crashes or takes too much time or memory.
    """
    import numpy as np

    options = {"megabytes": _MEGABYTES, "seconds": _SECONDS, **(told or {})}
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "array.npy"
        words = [kind, str(path), str(out), json.dumps(options)]
        run_apart("recommend.measure.foreign", words, quiet_s=_QUIET_S, speaks=False)
        head = json.loads(Path(f"{out}.json").read_text("ascii"))
        # A large file is mapped where it may vanish while it is: what is changed is a copy.
        large = os.name == "posix" and out.stat().st_size > _MAPPED
        array = np.load(out, mmap_mode="c" if large else None, allow_pickle=False)
        return np.asarray(array), head


_MAPPED = 1_000_000  # bytes


def run_apart(
    module: str,
    arguments: Sequence[str],
    *,
    quiet_s: float,
    tell: Callable[[int, int], None] | None = None,
    speaks: bool = True,
) -> None:
    """Run ``python -m MODULE ARGUMENTS`` and wait for it; `tell` hears of its progress.

    One that does not speak is waited for `quiet_s` in all, and no thread listens to it.

    Raises
    ------
    GaveUpError
        If it fails, crashes, or says nothing for `quiet_s` seconds.
    """
    command = [sys.executable, "-m", module, *arguments]
    paths = os.pathsep.join(filter(None, sys.path))
    output = subprocess.PIPE if speaks else subprocess.DEVNULL
    with tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as said:
        child = subprocess.Popen(
            command, stdout=output, stderr=said, text=True,
            env={
                **os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": paths,
                "PYTHONSAFEPATH": "1",  # no module that lies beside the captures
            },
        )  # fmt: skip
        heard = _Heard()
        if child.stdout is not None:
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
            crashed = _CUT_OFF.get(-child.returncode, "opening it crashed the reader")
            raise GaveUpError(words[0][:200] if words else crashed, child.returncode)


# What a process that was ended by a signal had done; some platforms have no such limit.
_CUT_OFF = {int(getattr(signal, "SIGXCPU", -1)): "opening it takes too long"}


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


def limit(megabytes: int, seconds: int = 0) -> None:
    """Let this process have no more memory and time, where the system knows such limits."""
    try:
        import resource
    except ImportError:  # the limit of waiting remains
        return
    wanted = {resource.RLIMIT_AS: megabytes * 1_000_000, resource.RLIMIT_CPU: seconds}
    for what, most in wanted.items():
        hard = resource.getrlimit(what)[1]
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        if most:
            resource.setrlimit(what, (most, hard))
