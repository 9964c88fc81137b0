"""A program at the other end of a real pseudo-terminal."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from recommend.extras import shipped_folder
from recommend.rulebook import load_rulebook

PATIENCE = 60.0  # seconds; a slow machine is no failure


class Terminal:
    """Runs ``recommend`` with `arguments` at a terminal of 80 columns."""

    def __init__(
        self, arguments: list[str], environment: Mapping[str, str], columns: int = 80
    ) -> None:
        self.seen = ""
        self.pid, self.file = pty.fork()
        if self.pid == 0:  # the child
            try:
                # Who runs the tests in the background may have told them to ignore these.
                for one in (signal.SIGHUP, signal.SIGINT, signal.SIGQUIT, signal.SIGTSTP):
                    signal.signal(one, signal.SIG_DFL)
                os.execve(
                    sys.executable,
                    [sys.executable, "-m", "recommend", *arguments],
                    {**os.environ, "TERM": "dumb", "NO_COLOR": "1", **environment},
                )
            finally:
                os._exit(127)
        fcntl.ioctl(self.file, termios.TIOCSWINSZ, struct.pack("HHHH", 40, columns, 0, 0))

    def wait_for(self, text: str) -> str:
        """Read until `text` appears after what was waited for before; what came, up to it."""
        until = time.monotonic() + PATIENCE
        while text not in self.seen:
            if not self._read(until):
                raise AssertionError(f"{text!r} never came; the screen ends: {self.seen[-800:]!r}")
        before, _, self.seen = self.seen.partition(text)
        return before + text

    def type(self, text: str) -> None:
        """Press the keys of `text`."""
        os.write(self.file, text.encode())

    def type_line(self, text: str) -> None:
        """Type a line once the line editor has the terminal: typed a moment before, it shows twice.

        GNU readline takes the key that quotes the next one (VLNEXT) from the terminal.
        """
        self.wait_for_mode(lambda modes: modes[6][termios.VLNEXT] == b"\0")
        self.type(f"{text}\n")

    def wait_for_mode(self, holds: Callable[[list[Any]], bool]) -> None:
        """Wait until the program has set the terminal so, reading what comes.

        A mode changes only once all that was shown before it has been read.
        """
        until = time.monotonic() + PATIENCE
        while not holds(termios.tcgetattr(self.file)):
            if time.monotonic() >= until:
                raise AssertionError(f"the mode stayed; the screen ends: {self.seen[-800:]!r}")
            self._read(time.monotonic() + 0.01)

    def interrupt(self) -> None:
        """Press Ctrl-C, again when nothing comes of it, as anybody would; read to what comes.

        A signal just before Python waits for a key is heard only with the next one.
        """
        while self._read(time.monotonic() + 0.2):  # what is still being printed
            pass
        until = time.monotonic() + PATIENCE
        while time.monotonic() < until:
            try:
                self.type("\x03")
            except OSError:  # it has ended
                return
            if select.select([self.file], [], [], 2.0)[0]:
                return
        raise AssertionError(f"Ctrl-C does nothing; the screen ends: {self.seen[-800:]!r}")

    def kill(self) -> None:
        """End the program as a crash would: it gets no chance to save."""
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.file)

    def end(self) -> int:
        """Read to the end; the exit code."""
        until = time.monotonic() + PATIENCE
        while self._read(until):
            pass
        if time.monotonic() >= until:
            self.kill()
            raise AssertionError(f"it did not end; the screen ends: {self.seen[-800:]!r}")
        _, status = os.waitpid(self.pid, 0)
        os.close(self.file)
        return os.waitstatus_to_exitcode(status)

    def _read(self, until: float) -> bool:
        if not select.select([self.file], [], [], max(0.0, until - time.monotonic()))[0]:
            return False
        try:
            data = os.read(self.file, 65536)
        except OSError:  # the other end has closed
            return False
        self.seen += re.sub("\r", "", data.decode("utf-8", "replace"))
        return bool(data)


def environment(folder: Path) -> dict[str, str]:
    """Settings and visits in `folder`, none of the user's own."""
    return {
        "RECOMMEND_SETTINGS": str(folder / "settings.toml"),
        "RECOMMEND_VISITS": str(folder / "visits"),
    }


READ_OUT = 5  # questions that are read out together at most


def screened(terminal: Terminal) -> str:
    """Answer every group that is read out, and every question by itself, harmlessly; what came."""
    shown = terminal.wait_for("Age band")
    terminal.type("a")
    questions = load_rulebook(shipped_folder("rules")).questions.values()
    first = [q for q in questions if not (q.after_wear or q.retired or q.only_if)]
    groups = -(-sum(one.alarming == "yes" for one in first) // READ_OUT)
    for number in range(groups + sum(one.alarming == "no" for one in first)):
        shown += terminal.wait_for(f"({number + 2}/")
        asked = terminal.wait_for("> ")
        terminal.type("n" if "none of these" in asked else "y")
        shown += asked
    shown += terminal.wait_for("Where does it hurt?")
    terminal.type_line("heel left 4 2")
    return shown + terminal.wait_for("So far:")
