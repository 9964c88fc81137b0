"""Kinds of answer: what may be typed, and what it means. Independent of any terminal."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from typing import Any, Protocol, get_args

from recommend.dataclass import dataclass
from recommend.errors import RecommendError, nearest
from recommend.visit.models import PainSite, SizeSystem

MAX_SHOWN = 60


class RefusedError(RecommendError):
    """What was typed cannot be an answer to this question; the message says what can."""


class Kind(Protocol):
    """One kind of answer.

    `hint` tells what may be typed; `keys` are the single keys that answer at once (empty when
    the answer is typed and ended with Enter).
    """

    @property
    def hint(self) -> str:
        """What may be typed."""

    @property
    def keys(self) -> frozenset[str]:
        """Single keys that answer at once."""

    def parse(self, text: str) -> Any:
        """The value that `text` means.

        Raises
        ------
        RefusedError
            If it means nothing here.
        """

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words, each with its key: ``Choice({"y": "yes", "n": "no"})``."""

    by_key: Mapping[str, str]

    @property
    def hint(self) -> str:
        """What may be typed."""
        return "   ".join(f"{key} {word}" for key, word in self.by_key.items())

    @property
    def keys(self) -> frozenset[str]:
        """Single keys that answer at once."""
        return frozenset(self.by_key)

    def parse(self, text: str) -> str:
        """The value that `text` means; RefusedError when it means nothing here."""
        word = text.strip().lower()
        if word in self.by_key:
            return self.by_key[word]
        if word in self.by_key.values():
            return word
        raise RefusedError(f"`{_short(text)}` is no answer here; allowed: {self.hint}")

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        return str(value)


# Five keys under one hand, in the order of the scale; a digit means what it says.
ITEM_KEYS = {"a": -2, "s": -1, "d": 0, "f": 1, "g": 2, "0": 0, "1": 1, "2": 2}


@dataclass(frozen=True, slots=True)
class PostureItem:
    """A score of -2 to +2 by one key."""

    hint: str = "a -2   s -1   d 0   f +1   g +2   (or type -2 -1 0 1 2)"
    keys: frozenset[str] = frozenset(ITEM_KEYS)

    def parse(self, text: str) -> int:
        """The value that `text` means; RefusedError when it means nothing here."""
        word = text.strip().lower()
        if word in ITEM_KEYS:
            return ITEM_KEYS[word]
        if re.fullmatch(r"[-+\u2212]?[0-2]", word):
            return int(word.replace("\u2212", "-"))
        raise RefusedError(f"`{_short(text)}` is no score of one item; allowed: -2, -1, 0, +1, +2")

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        return f"{value:+d}" if value else "0"


_NUMBER = re.compile(r"([-+\u2212]?\d+(?:[.,]\d+)?)\s*([a-z%°]*)", re.IGNORECASE)
_TO = {  # written unit -> (unit of the question, factor)
    "mm": ("mm", 1.0), "cm": ("mm", 10.0), "kg": ("kg", 1.0), "deg": ("deg", 1.0),
    "°": ("deg", 1.0), "%": ("percent", 1.0), "percent": ("percent", 1.0),
    "weeks": ("weeks", 1.0), "strides": ("strides", 1.0),
    "hours": ("hours", 1.0), "h": ("hours", 1.0),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class TypedNumber:
    """One number in `unit`; a decimal comma and a written unit are understood."""

    unit: str = ""
    whole: bool = False
    keys: frozenset[str] = frozenset()

    @property
    def hint(self) -> str:
        """What may be typed."""
        return f"a {'whole ' if self.whole else ''}number{f' in {self.unit}' if self.unit else ''}"

    def parse(self, text: str) -> float | int:
        """The value that `text` means; RefusedError when it means nothing here."""
        return _number(text, self)

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        many = value if isinstance(value, list) else [value]  # a file may hold several readings
        numbers = " ".join(f"{one:g}" for one in many)
        return f"{numbers}{f' {self.unit}' if self.unit else ''}"


def _number(text: str, kind: TypedNumber) -> float | int:
    match = _NUMBER.fullmatch(text.strip())
    if match is None or len(text.strip()) > 16:
        raise RefusedError(f"`{_short(text)}` is not {kind.hint}")
    digits, unit = match.groups()
    number = float(digits.replace(",", ".").replace("\u2212", "-"))
    if unit:
        to, factor = _TO.get(unit.lower(), ("", 1.0))
        if to != kind.unit:
            raise RefusedError(f"`{unit}` is not a unit of this; write {kind.hint}")
        number = round(number * factor, 6)
    if kind.whole and number != int(number):
        raise RefusedError(f"`{_short(text)}` is not a whole number")
    return int(number) if number == int(number) else number


TWO_WAYS = (
    "can be read in two ways; write decimals with a point (4.5 5.1), or put ; between numbers "
    "with a decimal comma (4,5; 5,1)"
)


def numbers_in(text: str, unit: str = "") -> list[float | int]:
    """Several numbers of one line: blanks, `;` or `, ` between them, a decimal point or comma.

    The one way in which lists of numbers are read wherever a person types them.

    Raises
    ------
    RefusedError
        If a comma could be a decimal sign as well as stand between two numbers, or a word is
        no number.
    """
    body = text.strip().strip("[]").strip()
    tight = re.search(r"\d,\d", body)  # a comma with no blank behind it
    if ";" in body or not tight:
        separator = r"[;\s]+" if tight else r"[,;\s]+"
    elif "." in body and not re.search(r"\d,\d+\s*(?![.\d])", body):
        separator = r"[,\s]+"
    else:
        raise RefusedError(f"`{_short(text)}` {TWO_WAYS}")
    words = [word.strip(",") for word in re.split(separator, body) if word.strip(",")]
    if not words:
        raise RefusedError("nothing to read; write numbers with blanks between")
    return [_number(word, TypedNumber(unit)) for word in words]


@dataclass(frozen=True, slots=True)
class Readings:
    """Several readings in `unit`, such as one angle for each stride, each within `bounds`."""

    unit: str
    keys: frozenset[str] = frozenset()
    bounds: tuple[float, float] | None = None

    @property
    def hint(self) -> str:
        """What may be typed."""
        if self.bounds:
            low, high = self.bounds
            return f"{low:g} to {high:g} {self.unit}, one number or several with spaces between"
        return f"numbers in {self.unit} with spaces between, such as {' '.join(self.examples[:3])}"

    @property
    def examples(self) -> tuple[str, ...]:
        """Numbers as they may be typed."""
        percent = self.unit == "percent"
        return ("38", "41", "40", "39") if percent else ("4.5", "5.1", "4.9", "5.0")

    def parse(self, text: str) -> list[float | int]:
        """The value that `text` means; RefusedError when it means nothing here."""
        found = numbers_in(text, self.unit)
        low, high = self.bounds or (-math.inf, math.inf)
        for one in found:
            if not low <= one <= high:
                raise RefusedError(f"{one:g} cannot be; it is {low:g} to {high:g} {self.unit}")
        return found

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        value = value if isinstance(value, list) else [value]  # one reading stands without brackets
        text = " ".join(f"{one:g}" for one in value)
        return text if len(text) <= MAX_SHOWN else f"{len(value)} readings"


NOT_TAKEN = "-"  # stands for a foot that was not measured, where both are typed at once


@dataclass(frozen=True, slots=True)
class BothFeet:
    """Left and right at once: two words with a blank between, two keys, or lists with a / between.

    ``268 270``; ``268 -`` when the right was not taken; ``4.5 5.1 / 4.9 5.0`` for readings.
    """

    inner: Kind

    @property
    def hint(self) -> str:
        """What may be typed."""
        if self.keys:
            return f"left, then right: {self.inner.hint}"
        if isinstance(self.inner, Readings):
            one, two, three, four = self.inner.examples
            return f"left / right, such as {one} {two} / {three} {four} ({self.inner.unit})"
        return f"left and right, {self.inner.hint} each; - for a foot not taken"

    @property
    def keys(self) -> frozenset[str]:
        """Keys of which two answer, left first."""
        return self.inner.keys

    def parse(self, text: str) -> tuple[Any, Any]:
        """Left and right, None for a foot not taken; RefusedError when it means nothing here."""
        parts = self._parts(text)
        if len(parts) != 2:
            raise RefusedError(f"`{_short(text)}` is not two feet; write {self.hint}")
        left, right = (None if p == NOT_TAKEN else self.inner.parse(p) for p in parts)
        return left, right

    def _parts(self, text: str) -> list[str]:
        if isinstance(self.inner, Readings):
            if "/" in text:
                return [part.strip() or NOT_TAKEN for part in text.split("/")]
            # One number for each foot needs no mark between.
            return [f"{one:g}" for one in numbers_in(text)]
        word = text.strip()
        if self.keys and " " not in word:  # two keys without a blank between
            return re.findall(r"[-+\u2212]\d|.", word)
        return word.split()

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        between = " / " if isinstance(self.inner, Readings) else " "
        return between.join(NOT_TAKEN if one is None else self.inner.show(one) for one in value)


# Any key but those that command opens a group that is read out.
_OPENING = frozenset("abcdefghijklmnoprstuvwyz0123456789")


@dataclass(frozen=True, slots=True)
class ReadTogether:
    """Questions read out together: n says that none of them holds, any other key asks each."""

    hint: str = "n none of these   any other key: one by one"
    keys: frozenset[str] = _OPENING

    def parse(self, text: str) -> str:
        """``in-group`` or ``singly``."""
        return "in-group" if text.strip().lower() in ("n", "in-group") else "singly"

    def show(self, value: Any) -> str:
        """`value` in words."""
        return "none of these" if value == "in-group" else "one by one"


@dataclass(frozen=True, slots=True)
class Text:
    """Free text, or a word that fits `pattern`."""

    hint: str
    pattern: str = ".*"
    keys: frozenset[str] = frozenset()

    def parse(self, text: str) -> str:
        """The value that `text` means; RefusedError when it means nothing here."""
        if not re.fullmatch(self.pattern, text.strip()) or not text.isprintable():
            raise RefusedError(f"`{_short(text)}` cannot be used; write {self.hint}")
        return text.strip()

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        return _short(str(value))


@dataclass(frozen=True, slots=True)
class KnownWord:
    """One of many known words, such as the codes of products, each with its title."""

    hint: str
    words: Mapping[str, str]
    keys: frozenset[str] = frozenset()

    def parse(self, text: str) -> str:
        """The value that `text` means; RefusedError when it means nothing here."""
        word = text.strip().lower()
        if word in self.words:
            return word
        raise RefusedError(
            f"`{_short(text)}` is not known here; write {self.hint}{meant(word, self.words)}"
        )

    def show(self, value: Any) -> str:
        """The title of it."""
        return self.words.get(str(value), str(value))


@dataclass(frozen=True, slots=True)
class Size:
    """A shoe size: a number in the usual system, or with its system in front."""

    usual: str
    keys: frozenset[str] = frozenset()

    @property
    def hint(self) -> str:
        """What may be typed."""
        others = ", ".join(one for one in get_args(SizeSystem) if one != self.usual)
        return f"a number ({self.usual}), or with its system in front ({others})"

    def parse(self, text: str) -> dict[str, Any]:
        """The value that `text` means; RefusedError when it means nothing here."""
        *system, number = text.strip().lower().replace("us men", "us-men").replace(
            "us women", "us-women"
        ).split() or [""]
        name = system[0] if system else self.usual
        if len(system) > 1 or name not in get_args(SizeSystem):
            hint = meant(name, get_args(SizeSystem))
            raise RefusedError(f"`{_short(text)}` is not a size; write {self.hint}{hint}")
        return {"system": name, "value": _number(number, TypedNumber())}

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        return f"{value['system']} {value['value']:g}"


_SIDES = {"left": "left", "l": "left", "right": "right", "r": "right", "both": "both", "b": "both"}


@dataclass(frozen=True, slots=True)
class Pains:
    """Painful sites: ``heel left 4 12, shin both 2``, or ``none``."""

    keys: frozenset[str] = frozenset()
    hint: str = "none, or site side score weeks, such as: heel left 4 12, shin both 2"
    sites: Sequence[str] = field(default=get_args(PainSite))

    def parse(self, text: str) -> list[dict[str, Any]]:
        """The value that `text` means; RefusedError when it means nothing here."""
        if text.strip().lower() in ("none", "no", "n"):
            return []
        return [self._one(part) for part in re.split(r"[,;]", text) if part.strip()]

    def _one(self, part: str) -> dict[str, Any]:
        site, *rest = part.lower().split()
        if site not in self.sites:
            raise RefusedError(
                f"`{_short(site)}` is not a site; allowed: {', '.join(self.sites)}"
                f"{meant(site, self.sites)}"
            )
        if not rest or rest[0] not in _SIDES:
            raise RefusedError(f"say the side of `{site}`: left, right or both")
        if len(rest) > 3:
            raise RefusedError(f"`{_short(part.strip())}` has too many words; write {self.hint}")
        numbers = dict(zip(("score", "weeks"), rest[1:], strict=False))
        read = {
            key: _number(word, TypedNumber(whole=key == "score")) for key, word in numbers.items()
        }
        return {"site": site, "side": _SIDES[rest[0]], **read}

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        parts = (
            " ".join(str(one[key]) for key in ("site", "side", "score", "weeks") if key in one)
            for one in value
        )
        return ", ".join(parts) or "none"


def meant(word: str, known: Iterable[str]) -> str:
    """The nearest spelling as a sentence of its own; empty where none is near."""
    hint = nearest(word, known)
    return f". {hint[:1].upper()}{hint[1:]}" if hint else ""


def _short(text: str) -> str:
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= MAX_SHOWN else f"{text[: MAX_SHOWN - 3]}..."
