"""Every error the tool raises on purpose, and the exit code that goes with it.

A message is for the person at the counter: one sentence that says where, what was found,
what is allowed and how to mend it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from enum import IntEnum

from recommend.dataclass import dataclass


class Exit(IntEnum):
    """Exit codes of every command."""

    DONE = 0
    BAD_INPUT = 2
    STOP = 3  # see a clinician: the shortlist is withheld
    NOTHING_SUITABLE = 4
    TO_BE_READ = 5  # what decides or is said has changed, and nobody has put a code to it


# The one place where exit codes are told; help, README and the root command repeat it.
EXIT_WORDS = {
    Exit.DONE: "done",
    Exit.BAD_INPUT: "bad input: one sentence says where, what, and how to mend it",
    Exit.STOP: "stop, see a clinician: the shortlist is withheld",
    Exit.NOTHING_SUITABLE: "nothing suitable is in stock",
    Exit.TO_BE_READ: "rules compared: what decides or is read changed; a reader is needed",
}


class RecommendError(Exception):
    """Base of all errors raised on purpose; `exit_code` is what the command returns."""

    exit_code = Exit.BAD_INPUT


@dataclass(frozen=True, slots=True)
class Place:
    """Where in a file something stands; line and column count from 1, 0 means unknown."""

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        parts = [self.file, *(str(n) for n in (self.line, self.column) if n)]
        return ":".join(parts)


class InputError(RecommendError):
    """Something a person wrote cannot be used; says where, what, and how to mend it.

    Parameters
    ----------
    place : where it stands.
    found : what was found, as a clause ("`fpi.total` is 13").
    allowed : what is allowed, as a clause ("whole numbers from -12 to 12").
    mend : what to do about it, as an imperative.
    """

    def __init__(self, place: Place, found: str, allowed: str = "", mend: str = "") -> None:
        self.place, self.found, self.allowed, self.mend = place, found, allowed, mend
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The whole message as one line."""
        text = f"{self.place}: {self.found}"
        if self.allowed:
            text += f"; allowed: {self.allowed}"
        if self.mend:
            text += f". {self.mend[0].upper()}{self.mend[1:]}"
        return readable(text if text.endswith("?") else text.rstrip(".") + ".")


_QUOTED = re.compile(r"`([^`]*)`")
_LONGEST = 60
# Controls, invisible marks (such as right-to-left), halves of characters, odd spaces and breaks.
_INVISIBLE = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def readable(text: str) -> str:
    """`text` on one line: quoted parts shortened, what cannot be seen shown as U+ and a number."""
    text = _QUOTED.sub(_shortened, text)
    return "".join(
        f"<U+{ord(c):04X}>"
        if unicodedata.category(c) in _INVISIBLE or (c.isspace() and c != " ")
        else c
        for c in text
    )


def _shortened(quoted: re.Match[str]) -> str:
    inside = quoted[1]
    return f"`{inside[: _LONGEST - 3]}...`" if len(inside) > _LONGEST else quoted[0]


def counted(count: int, unit: str, many: str = "") -> str:
    """A number of things: ``1 line``, ``2 lines``; `many` where an s does not make them many."""
    return f"{count} {unit if count == 1 else many or f'{unit}s'}"


def is_are(count: int) -> str:
    """The verb that goes with so many things."""
    return "is" if count == 1 else "are"


def nearest(word: str, known: Iterable[str]) -> str:
    """The known spelling nearest to `word` as 'did you mean ...', or '' when none is near."""
    from difflib import get_close_matches  # only here: most runs name nothing that is not there

    close = get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"did you mean `{close[0]}`?" if close else ""
