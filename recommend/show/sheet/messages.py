"""The frame texts of the customer's page, in every language, from one file."""

from __future__ import annotations

from datetime import date
from functools import cache
from pathlib import Path
from string import Formatter
from typing import Literal

from pydantic import model_validator

from recommend.errors import InputError, Place, nearest
from recommend.reading import Strict, read_document, validate

FILE = Path(__file__).with_name("messages.yaml")
SOURCE = "en"  # the language that the rulebook is written in


class Language(Strict):
    """A language: its own name, its direction, its decimal sign."""

    name: str
    direction: Literal["ltr", "rtl"]
    decimal: str


class Messages(Strict):
    """The whole file: page texts by key."""

    title: str
    languages: dict[str, Language]
    page: dict[str, dict[str, str]]

    @model_validator(mode="after")
    def _complete(self) -> Messages:
        for key, texts in self.page.items():
            if missing := self.languages.keys() - texts.keys():
                raise ValueError(f"`{key}` lacks the language {', '.join(sorted(missing))}")
            wanted = _fields(texts[SOURCE])
            for code, text in texts.items():
                if _fields(text) != wanted:
                    raise ValueError(f"`{key}` in `{code}` has other {{words}} than in `{SOURCE}`")
        return self


def _fields(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


@cache
def messages(file: Path = FILE) -> Messages:
    """The messages that ship, or those of another file.

    Raises
    ------
    InputError
        If a message lacks a language or its words in braces.
    """
    return validate(Messages, read_document(file))


class Wording:
    """The texts of one language.

    Parameters
    ----------
    code : such as ``de``.
    all_ : the messages.

    Raises
    ------
    InputError
        If there is no such language.
    """

    def __init__(self, code: str, all_: Messages) -> None:
        if code not in all_.languages:
            raise InputError(
                Place("--language"),
                f"the page is not written in `{code}`",
                ", ".join(all_.languages),
                nearest(code, all_.languages),
            )
        self.code, self.language, self._all = code, all_.languages[code], all_

    def day(self, iso: str) -> str:
        """A day (year-month-day) as this language writes it: ``20 December 2026``."""
        day = date.fromisoformat(iso)
        month = self.text("months").split()[day.month - 1]
        return self.text("day", day=str(day.day), month=month, year=str(day.year))

    def text(self, key: str, **words: str) -> str:
        """A text of the page, its words filled in."""
        return self._all.page[key][self.code].format(**words)

    def number(self, value: float, places: int, *, sign: bool = False) -> str:
        """A number with this language's decimal sign, a true minus, and no negative zero."""
        text = f"{abs(value):.{places}f}"
        before = ""
        if float(text) != 0:
            before = "−" if value < 0 else "+" if sign else ""
        return before + text.replace(".", self.language.decimal)
