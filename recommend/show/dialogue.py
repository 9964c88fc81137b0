"""The terminal side of guided entry: asks, reads a key or a line, says what became of it.

Plain text only: no colour, no mouse, no cursor movement, so that it works over any line. The
thinking is done by the state machine it is handed.
"""

from __future__ import annotations

import contextlib
import os
import select
import shutil
import signal
import sys
import textwrap
from collections.abc import Callable, Collection, Iterator
from typing import TYPE_CHECKING, Any

from recommend.door import typed
from recommend.errors import InputError, Place
from recommend.infer.adviser import Progress
from recommend.show.console import NARROWEST
from recommend.show.labels import LEVEL_WORDS
from recommend.visit.answers import BothFeet, Kind, PostureItem
from recommend.visit.entry import COMMANDS, Entry, Reply
from recommend.visit.entry_steps import EntryStep

if TYPE_CHECKING:
    from recommend.coverage.settling import ReadingPlan


WIDEST = 100
LEAVE = "q"
SHORT_HINT = 20  # characters of a hint that stand on the line of the answer
_ROOM = 6  # columns of two keys that are typed, each a sign, the key, a space
_APART = "   "  # between the answers of a hint
_REFUSED = 20  # answers in a row after which nobody is there who reads what is said
_LOCAL = 3  # where the local modes stand among the attributes of a terminal
KEYS = (
    "At any question: ? help, < back, x leave out, > rest of this block, q stop for now. "
    "Enter leaves a typed question out, or keeps what stands in [brackets]; x leaves out any."
)
SAVED = " Saved after every answer."

try:
    import termios
    import tty
except ImportError:  # a platform without termios: every answer is a line
    termios = tty = None  # type: ignore[assignment]


class LeftError(Exception):
    """The fitter leaves; everything answered is saved."""


def run(
    entry: Entry,
    save: Callable[[], None],
    after_block: Callable[[str], str],
    intro: str = KEYS + SAVED,
    answer: Callable[[EntryStep], str] | None = None,
) -> None:
    """Ask until the entry ends.

    Parameters
    ----------
    entry : the state machine.
    save : called after every answer.
    after_block : one line of what is known, for the name of the block that ended.
    intro : what is said before the first question.
    answer : answers in place of the fitter, each printed; None to read what is typed.

    Raises
    ------
    LeftError
        If the fitter leaves, with Ctrl-C, Ctrl-D or q.
    """
    say(intro)
    try:
        with _keys_unseen():
            _converse(entry, save, after_block, answer)
    except (KeyboardInterrupt, EOFError):
        save()
        raise LeftError from None


@contextlib.contextmanager
def _keys_unseen() -> Iterator[None]:
    """Keep the terminal from printing keys by itself; what is typed ahead is read all the same."""
    if not _can_read_keys():
        yield
        return
    before = termios.tcgetattr(sys.stdin.fileno())

    def unseen(*_signal: Any) -> None:
        tty.setcbreak(sys.stdin.fileno(), termios.TCSADRAIN)

    unseen()
    try:
        with _when_continued(unseen):  # a shell does not give the mode back
            yield
    finally:
        termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, before)


@contextlib.contextmanager
def _line_edited() -> Iterator[None]:
    """Give the terminal its usual way of typing a line, for one line."""
    if not _can_read_keys():
        yield
        return
    before = termios.tcgetattr(sys.stdin.fileno())
    usual = termios.tcgetattr(sys.stdin.fileno())
    usual[_LOCAL] |= termios.ICANON | termios.ECHO
    termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, usual)
    try:
        with _when_continued(signal.SIG_DFL):  # the shell's own mode is right
            yield
    finally:
        termios.tcsetattr(sys.stdin.fileno(), termios.TCSADRAIN, before)


@contextlib.contextmanager
def _when_continued(act: Any) -> Iterator[None]:
    """Have `act` called when the program goes on after Ctrl-Z, where a platform has that."""
    continued = getattr(signal, "SIGCONT", None)
    if continued is None:
        yield
        return
    before = signal.signal(continued, act)
    try:
        yield
    finally:
        signal.signal(continued, before)


def _converse(
    entry: Entry,
    save: Callable[[], None],
    after_block: Callable[[str], str],
    answer: Callable[[EntryStep], str] | None,
) -> None:
    block = ""
    reminded: tuple[str, ...] = ()
    refused = 0
    while step := entry.step:
        if step.block != block:
            block = step.block
            heading(block)
        used = _ask(step, entry, remind=step.reminder != reminded)
        reminded = step.reminder
        by_key = bool(step.kind.keys) and _can_read_keys() and answer is None
        reply = entry.feed(_read(step, by_key) if answer is None else _printed(answer(step)))
        save()
        refused = refused + 1 if reply.kind == "refused" else 0
        if refused > _REFUSED and not _can_read_keys():
            raise InputError(Place("input"), f"{refused} answers in a row were refused")
        _tell(reply, used if by_key else None)
        if reply.kind == "help":
            reminded = ()
        if reply.block_ended and entry.step is not None:
            say(after_block(reply.block_ended))
            block = ""


def width() -> int:
    """Columns to use: those of the terminal, at most as wide as a line reads well."""
    return max(NARROWEST, min(shutil.get_terminal_size().columns, WIDEST))


def say(text: str, indent: str = "") -> None:
    """Print `text` wrapped; a line that is moved in wraps further in."""
    for paragraph in text.splitlines():
        inner = indent + "    " * paragraph.startswith(" ")
        print(textwrap.fill(paragraph, width(), initial_indent=indent, subsequent_indent=inner))


def heading(text: str) -> None:
    """Print a line that begins a block."""
    print(f"\n-- {text} ".ljust(width(), "-"))


def _ask(step: EntryStep, entry: Entry, *, remind: bool) -> int:
    """Put the question; the columns of the last line that are used when the answer is typed."""
    number, count = entry.number
    place = "" if step.block in ("Stop", "Passed over") else f" ({number}/{count})"
    standing = step.standing(entry.draft.tree)
    usual = None if standing else step.usual(entry.draft.tree)
    by_key = bool(step.kind.keys)
    if not by_key and len(step.kind.hint) > SHORT_HINT:
        print()
    say(f"{step.ask}{place}")
    for line in step.reminder if remind else ():
        parts = [line] if len(line) + 2 <= width() else line.split(" | ")
        for part in parts:
            say(part, "  ")
    prompt = f"[{standing or usual}] > " if standing or usual else "> "
    line = f"  {step.kind.hint}   {prompt}"
    if (by_key or len(step.kind.hint) <= SHORT_HINT) and len(line) + _ROOM <= width():
        print(line, end="", flush=True)
        return len(line)
    _say_hint(step.kind.hint)
    print(prompt, end="", flush=True)
    return len(prompt)


def _say_hint(hint: str) -> None:
    """Print what may be typed; a key stays on one line with its word."""
    together = "\xa0"  # textwrap breaks no line at such a space
    parts = [part.replace(" ", together) for part in hint.split(_APART)] if _APART in hint else []
    text = textwrap.fill(
        _APART.join(parts) or hint, width(), initial_indent="  ", subsequent_indent="  "
    )
    print(text.replace(together, " "))


def _tell(reply: Reply, used: int | None) -> None:
    """Say what became of an answer; after a key, on the line of the key where there is room.

    `used` are the columns of that line before the key; None when the answer was a typed line.
    """
    short = {"taken": f"= {reply.say}", "kept": f"= {reply.say}", "left-out": reply.say}
    if reply.kind in short:
        text = short[reply.kind]
        fits = used is not None and used + _ROOM + len(text) <= width()
        if used is not None and not fits:
            print()
        say(text, "" if fits else "  ")
    elif used is not None:
        print()
    if reply.kind in ("help", "refused", "removed"):
        say(reply.say, "  ")
    elif reply.kind == "again":
        say(f"Is that so? {reply.say}", "  ")
        say("Type it again, the same or corrected.", "  ")
    for advice in reply.advice:
        say(f"{LEVEL_WORDS['see-clinician']}: {advice}", "  ")
    for stop in reply.stops:
        print("\n" + "!" * width())
        say(f"STOP: {stop}")
        print("!" * width(), flush=True)
    if reply.stops and _can_read_keys():
        # Keys typed ahead were meant for other questions.
        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)


def _printed(text: str) -> str:
    print(text)
    return text


def _read(step: EntryStep, by_key: bool) -> str:
    text = _key(step) if by_key else _line()
    if text.strip() == LEAVE:
        raise LeftError
    return text


def _can_read_keys() -> bool:
    return termios is not None and sys.stdin.isatty()


def _line() -> str:
    if sys.stdin.isatty():
        with contextlib.suppress(ImportError):
            import readline  # noqa: F401 - line editing for input()
        with _line_edited():
            return input()
    return typed()


def _key(step: EntryStep) -> str:
    """The key that answers or commands, echoed; two, left then right, where both feet are asked.

    Enter is an empty answer.
    """
    text = _one_key(step.kind)
    if isinstance(step.kind, BothFeet) and text not in (*COMMANDS, LEAVE, ""):
        text += " " + _one_key(step.kind)
    return text


def _one_key(kind: Kind) -> str:
    """One key; a sign waits for its digit where items are scored."""
    descriptor = sys.stdin.fileno()
    inner = kind.inner if isinstance(kind, BothFeet) else kind
    text = _pressed(descriptor)
    if isinstance(inner, PostureItem) and text in ("-", "+"):
        print(text, end="", flush=True)
        text += _pressed(descriptor)
    print(text[-1:], end=" ", flush=True)
    return text


def _pressed(descriptor: int) -> str:
    """The next key; an arrow to the left or up means back, other such keys are passed over."""
    while True:
        raw = os.read(descriptor, 1)
        if not raw or raw == b"\x04":
            raise EOFError
        if raw == b"\x1b":
            if _rest_of_escape(descriptor) in (b"[D", b"[A", b"OD", b"OA"):
                return "<"
            continue
        if raw in (b"\r", b"\n"):
            return ""
        while raw[0] >= 0x80 and _waiting(descriptor):
            raw += os.read(descriptor, 1)
        text = raw.decode("utf-8", "replace")
        if text.isprintable() and text != " ":
            return text.lower() if text not in COMMANDS else text


def _rest_of_escape(descriptor: int) -> bytes:
    rest = b""
    while _waiting(descriptor) and len(rest) < 16:
        rest += os.read(descriptor, 1)
        if rest[-1:].isalpha() and rest != b"O":
            break
    return rest


def _waiting(descriptor: int) -> Any:
    return select.select([descriptor], [], [], 0.02)[0]


def progress_line(progress: Progress, block: str) -> str:
    """One line after a block: what is known, and the next most useful measure."""
    if block == "Screening":
        clear = "" if progress.notes else "; nothing speaks against fitting so far"
        asked = f"{progress.asked} of {progress.questions} screening questions answered"
        return f"So far: {asked}{clear}."
    feet = progress.foot
    known = {"each foot": feet["left"]} if feet["left"] == feet["right"] else feet
    parts = (f"{foot}: {', '.join(told) or 'not known yet'}" for foot, told in known.items())
    line = f"So far: {'; '.join(parts)}."
    # After a stop nothing is measured for a fitting; the fitter may go on for the record.
    stopped = any(note.level == "stop" for note in progress.notes)
    if progress.next_how and not stopped:
        sides = "both feet" if len(progress.next_sides) > 1 else progress.next_sides[0]
        line += f" Next, {sides}: {progress.next_how}."
    return line


def plan_lines(made: ReadingPlan) -> Iterator[str]:
    """What there is time for, what it settles, and what is given up."""
    names = [one.replace("-", " ") for one in made.readings]
    yield (
        f"In about {made.minutes:.0f} minutes: screening, sizes"
        f"{''.join(f', {name}' for name in names)}. Over modelled customers that settles "
        f"{100 * made.settled:.0f} of 100 foot types, notes and needs as every reading would."
    )
    lost = {one: share for one, share in made.given_up.items() if share > 0}
    for one, share in sorted(lost.items(), key=lambda item: -item[1]):
        yield f"Given up: {one.replace('-', ' ')}, which would settle {100 * share:.0f} more."


def note_lines(progress: Progress, said: Collection[str] = ()) -> Iterator[str]:
    """Every note that holds, worst first, but for rules in `said`."""
    for note in progress.notes:
        if note.rule not in said:
            yield f"{LEVEL_WORDS[note.level]}: {note.say}"
