"""The steps of the decision: what came of the fitting, in which size, by whom, until when."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from recommend.errors import nearest
from recommend.visit.answers import Choice, Number, RefusedError, Text
from recommend.visit.steps import Step
from recommend.visit.tree import SIDES, Path, Tree, get

DECISION = "Decision"
OWN = "own"
OUTCOME = Choice({"s": "sold", "o": "ordered", "r": "reserved", "t": "to-try", "n": "nothing"})
_TOLD: Path = ("decision",)
_WHY = {
    "c": "comfort", "p": "price", "l": "look", "s": "not-in-stock", "w": "own-wish",
    "t": "tried-better", "d": "clinician",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Offered:
    """A product or pair that may be chosen by one letter; sizes are Mondopoint (mm)."""

    shoe: str | None
    insole: str | None
    title: str
    shoe_size: float | None
    insole_size: float | None


@dataclass(frozen=True, slots=True)
class Product:
    """A letter of what is offered, the id of a product, or ``own``; answers with the id."""

    kind: str
    letters: Mapping[str, str]
    ids: Collection[str]
    keys: frozenset[str] = frozenset()

    @property
    def hint(self) -> str:
        """What may be typed."""
        letters = f"{', '.join(self.letters)} from above, " if self.letters else ""
        return f"{letters}the id of the {self.kind}, or own"

    def parse(self, text: str) -> str:
        """The id that `text` means; RefusedError when it means nothing here."""
        word = text.strip().lower()
        if word in self.letters:
            return self.letters[word]
        if word == OWN or word in self.ids:
            return word
        hint = nearest(word, {*self.ids, OWN})
        raise RefusedError(f"`{text.strip()[:40]}` is no {self.kind}; write {self.hint}. {hint}")

    def show(self, value: Any) -> str:
        """The id."""
        return str(value)


@dataclass(frozen=True, slots=True)
class BoxSizes:
    """One size for both feet, or left and right with a space between (Mondopoint, mm)."""

    keys: frozenset[str] = frozenset()
    hint: str = "the size in mm, such as 270; or left and right, such as 265 270"

    def parse(self, text: str) -> dict[str, float | int]:
        """Left and right; RefusedError when it means nothing here."""
        words = text.split()
        if len(words) not in (1, 2):
            raise RefusedError(f"`{text.strip()[:40]}` is not {self.hint}")
        numbers = [Number("mm").parse(word) for word in words]
        return dict(zip(SIDES, numbers * (3 - len(numbers)), strict=False))

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        found = [f"{value[side]:g}" for side in SIDES if value.get(side) is not None]
        return " ".join(dict.fromkeys(found))


@dataclass(frozen=True, slots=True)
class Reasons:
    """One or several letters of a short list."""

    keys: frozenset[str] = frozenset()
    hint: str = "letters, such as c p:  " + "  ".join(f"{k} {w}" for k, w in _WHY.items())

    def parse(self, text: str) -> list[str]:
        """The reasons; RefusedError when a letter means nothing here."""
        words = re.split(r"[,;\s]+", text.strip().lower())
        unknown = [word for word in words if word not in _WHY and word not in _WHY.values()]
        if unknown:
            raise RefusedError(f"`{unknown[0]}` is no reason of the list; write {self.hint}")
        return list(dict.fromkeys(_WHY.get(word, word) for word in words))

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        return ", ".join(value)


@dataclass(frozen=True, slots=True)
class ReadOut:
    """Whether notes were read out to the customer: all of their `rules`, or none."""

    rules: tuple[str, ...]
    keys: frozenset[str] = frozenset("yn")
    hint: str = "y yes   n no"

    def parse(self, text: str) -> list[str]:
        """The rules whose notes were read out; RefusedError when it means nothing here."""
        word = text.strip().lower()
        if word not in ("y", "yes", "n", "no"):
            raise RefusedError(f"`{text.strip()[:40]}` is no answer here; allowed: {self.hint}")
        return list(self.rules) if word.startswith("y") else []

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        return "yes" if value else "no"


def reading_out(rules: Collection[str]) -> Iterator[Step]:
    """The step that asks whether the notes of some rules were read out; none without notes."""
    if rules:
        yield Step(
            "read-out", DECISION, "Was this read out to the customer, and understood?",
            ReadOut(tuple(rules)), (*_TOLD, "read-out"),
            "The record says which notes the customer heard, and from whom.",
        )  # fmt: skip


def by_whom(fitter: str) -> Step:
    """The step that asks for the fitter's code; `fitter` stands in brackets."""
    return Step(
        "fitter", DECISION, "Who fitted? (a code, never a name)",
        Text("up to 20 letters, digits, - _ .", r"[\w.-]{1,20}"), (*_TOLD, "fitter"),
        "The code of the fitter in this shop.", usual=lambda _tree: fitter or None,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class DayOrWeeks:
    """A day of the calendar, or in how many weeks from `today`."""

    today: date
    keys: frozenset[str] = frozenset()
    hint: str = "a number of weeks, or a day such as 2026-12-20"

    def parse(self, text: str) -> str:
        """The day; RefusedError when it means none."""
        word = text.strip()
        try:
            if re.fullmatch(r"\d{1,2}", word):
                return (self.today + timedelta(weeks=int(word))).isoformat()
            return date.fromisoformat(word).isoformat()
        except ValueError:
            raise RefusedError(f"`{word[:20]}` is no day; write {self.hint}") from None

    def show(self, value: Any) -> str:
        """The day."""
        return str(value)


def deciding(
    offered: Mapping[str, Offered],
    first_group: Collection[tuple[str | None, str | None]],
    ids: Mapping[str, Collection[str]],
    today: date,
    fitter: str = "",
    notes: Collection[str] = (),
) -> tuple[Step, ...]:
    """The steps of the decision.

    Parameters
    ----------
    offered : by letter, what the shortlist and the try-on put first.
    first_group : shoe and insole of each member of the first group.
    ids : ids of all products by kind, ``shoe`` and ``insole``.
    today : the day that weeks are counted from.
    fitter : the code that stands in brackets.
    notes : rules whose see-a-clinician notes are due, and are to be read out first.
    """
    return (
        *reading_out(notes),
        Step(
            "decision", DECISION, "What came of it?", OUTCOME, (*_TOLD, "outcome"),
            "Sold, ordered, reserved, taken to try at home, or nothing. Only what is sold is taken "
            "off the stock list.",
        ),
        *_chosen(offered, ids),
        Step(
            "departs", DECISION, "Not of the first group: why?", Reasons(), (*_TOLD, "departs"),
            "It is the fitter's choice; the reason is kept, so that the shop and the rules can "
            "learn from it.", asked_if=_departing(first_group),
        ),
        Step(
            "decision-remark", DECISION, "Anything to add? (no names)", Text("one line of text"),
            (*_TOLD, "remark"), "Stands with the decision, and is deleted on request.",
        ),
        by_whom(fitter),
        Step(
            "back-on", DECISION, "When to come back?", DayOrWeeks(today), (*_TOLD, "back-on"),
            "It stands on the customer's page.",
        ),
    )  # fmt: skip


def _chosen(offered: Mapping[str, Offered], ids: Mapping[str, Collection[str]]) -> Iterator[Step]:
    for kind in ("shoe", "insole"):
        letters = {
            letter: chosen
            for letter, one in offered.items()
            if (chosen := one.shoe if kind == "shoe" else one.insole) is not None
        }
        yield Step(
            f"chosen-{kind}", DECISION, f"Which {kind}?", Product(kind, letters, ids[kind]),
            (*_TOLD, kind), f"A letter of the list above, the id of a {kind}, or own for what the "
            f"customer brought. Leave it out when there is no {kind}.",
            asked_if=_something, usual=_with_the_shoe(offered) if kind == "insole" else _none,
        )  # fmt: skip
        yield Step(
            f"chosen-{kind}-size", DECISION, f"Size of the {kind} on the box", BoxSizes(),
            (*_TOLD, f"{kind}-size"), "Mondopoint, the length of the foot in mm. Two numbers when "
            "each foot takes a size of its own: two pairs leave the stock then.",
            asked_if=_not_own(kind), usual=_size_of(kind, offered),
        )  # fmt: skip


def _none(_tree: Tree) -> str | None:
    return None


def _something(tree: Tree) -> bool:
    return get(tree, (*_TOLD, "outcome")) not in (None, "nothing")


def _not_own(kind: str) -> Any:
    def asked(tree: Tree) -> bool:
        return _something(tree) and get(tree, (*_TOLD, kind)) not in (None, OWN)

    return asked


def _with_the_shoe(offered: Mapping[str, Offered]) -> Any:
    """The insole of the first offer that holds the chosen shoe."""

    def usual(tree: Tree) -> str | None:
        shoe = get(tree, (*_TOLD, "shoe"))
        return next((o.insole for o in offered.values() if shoe and o.shoe == shoe), None)

    return usual


def _size_of(kind: str, offered: Mapping[str, Offered]) -> Any:
    def usual(tree: Tree) -> str | None:
        chosen = get(tree, (*_TOLD, kind))
        sizes = (
            one.shoe_size if kind == "shoe" else one.insole_size
            for one in offered.values()
            if chosen in (one.shoe, one.insole)
        )
        found = next((size for size in sizes if size), None)
        return f"{found:g}" if found else None

    return usual


def _departing(first_group: Collection[tuple[str | None, str | None]]) -> Any:
    def asked(tree: Tree) -> bool:
        chosen = (get(tree, (*_TOLD, "shoe")), get(tree, (*_TOLD, "insole")))
        return _something(tree) and chosen not in first_group

    return asked
