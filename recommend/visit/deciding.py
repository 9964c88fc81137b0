"""The steps of the decision: what came of the fitting, in which size, by whom, until when."""

from __future__ import annotations

import copy
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from recommend.visit.answers import Choice, RefusedError, Text, TypedNumber, meant
from recommend.visit.entry_steps import EntryStep
from recommend.visit.tree import SIDES, Path, Tree, drop, get, put

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
class OnHand:
    """What can be handed over, and in which sizes.

    Attributes
    ----------
    titles : of all products, by kind (``shoe``, ``insole``) and code.
    boxes : the sizes (Mondopoint, mm) that a number on a box may stand for, in the shop's system.
    system : that system, as it stands on a box (``EU``); empty where boxes bear millimetres.
    """

    titles: Mapping[str, Mapping[str, str]]
    boxes: Mapping[str, Collection[float]] = field(default_factory=dict)
    system: str = ""


@dataclass(frozen=True, slots=True)
class ProductAnswer:
    """A letter of what is offered, the code of a product, or ``own``.

    Answers with the code of it, and for a letter with that of the insole that goes with it too
    (None: no insole); for a code with that alone.
    """

    kind: str
    letters: Mapping[str, tuple[str, str | None]]
    titles: Mapping[str, str]
    keys: frozenset[str] = frozenset()

    @property
    def hint(self) -> str:
        """What may be typed."""
        letters = f"{', '.join(self.letters)} from above, " if self.letters else ""
        return f"{letters}the code of the {self.kind} in the catalogue, or own"

    def parse(self, text: str) -> tuple[str, ...] | tuple[str, str | None]:
        """What `text` means; RefusedError when it means nothing here."""
        word = text.strip().lower()
        if word in self.letters:
            return self.letters[word]
        if word == OWN or word in self.titles:
            return (word,)
        hint = meant(word, {*self.titles, OWN})
        raise RefusedError(f"`{text.strip()[:40]}` is no {self.kind}; write {self.hint}{hint}")

    def show(self, value: Any) -> str:
        """Its title."""
        return self.titles.get(str(value), f"their own {self.kind}")


@dataclass(frozen=True, slots=True)
class BoxSizes:
    """The size on the box, for both feet, or left and right with a space between.

    Answers with millimetres (Mondopoint); what may be typed besides are numbers of the shop's
    own system.
    """

    shelf: OnHand
    keys: frozenset[str] = frozenset()

    @property
    def hint(self) -> str:
        """What may be typed."""
        system = f"{self.shelf.system} or " if self.shelf.system else ""
        return f"{system}mm, as on the box; two for two pairs, left then right, such as 265 270"

    def parse(self, text: str) -> dict[str, float | int]:
        """Left and right in mm; RefusedError when it means nothing here."""
        words = text.lower().replace(self.shelf.system.lower() or " ", " ").split()
        if len(words) not in (1, 2):
            raise RefusedError(f"`{text.strip()[:40]}` is no size; write {self.hint}")
        numbers = [self._one(word) for word in words]
        return dict(zip(SIDES, numbers * (3 - len(numbers)), strict=False))

    def _one(self, word: str) -> float | int:
        number = TypedNumber("mm").parse(word)
        sizes = sorted(self.shelf.boxes.get(f"{number:g}", ()))
        if len(sizes) > 1:
            either = " or ".join(f"{size:g}" for size in sizes)
            raise RefusedError(f"{self.shelf.system} {number:g} is {either} mm here: write which")
        return sizes[0] if sizes else number

    def show(self, value: Any) -> str:
        """`value` as the fitter would write it."""
        found = [self._called(value[side]) for side in SIDES if value.get(side) is not None]
        return ", ".join(dict.fromkeys(found))

    def _called(self, size: float) -> str:
        on_box = next((box for box, sizes in self.shelf.boxes.items() if size in sizes), "")
        return f"{size:g} mm ({self.shelf.system} {on_box})" if on_box else f"{size:g} mm"


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
class NotesRead:
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


def reading_out(rules: Collection[str]) -> Iterator[EntryStep]:
    """The step that asks whether the notes of some rules were read out; none without notes."""
    if rules:
        yield EntryStep(
            "read-out", DECISION, "Was this read out to the customer, and understood?",
            NotesRead(tuple(rules)), (*_TOLD, "read-out"),
            "The record says which notes the customer heard, and from whom.",
        )  # fmt: skip


def by_whom(fitter: str) -> EntryStep:
    """The step that asks for the fitter's code; `fitter` stands in brackets."""
    return EntryStep(
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
    shelf: OnHand,
    today: date,
    fitter: str = "",
    notes: Collection[str] = (),
) -> tuple[EntryStep, ...]:
    """The steps of the decision.

    Parameters
    ----------
    offered : by letter, what the shortlist and the try-on put first.
    first_group : shoe and insole of each member of the first group.
    shelf : all products, and the sizes that boxes bear.
    today : the day that weeks are counted from.
    fitter : the code that stands in brackets.
    notes : rules whose see-a-clinician notes are due, and are to be read out first.
    """
    return (
        *reading_out(notes),
        EntryStep(
            "decision", DECISION, "What came of it?", OUTCOME, (*_TOLD, "outcome"),
            "Sold, ordered, reserved, taken to try at home, or nothing. Only what is sold is taken "
            "off the stock list.",
        ),
        *(step for kind in ("shoe", "insole") for step in _chosen(kind, offered, shelf)),
        EntryStep(
            "departs", DECISION, "Not of the first group: why?", Reasons(), (*_TOLD, "departs"),
            "It is the fitter's choice; the reason is kept, so that the shop and the rules can "
            "learn from it.", asked_if=_departing(first_group),
        ),
        EntryStep(
            "decision-remark", DECISION, "Anything to add? (no names)", Text("one line of text"),
            (*_TOLD, "remark"), "Stands with the decision, and is deleted on request.",
        ),
        by_whom(fitter),
        EntryStep(
            "back-on", DECISION, "When to come back?", DayOrWeeks(today), (*_TOLD, "back-on"),
            "It stands on the customer's page.",
        ),
    )  # fmt: skip


def _chosen(kind: str, offered: Mapping[str, Offered], shelf: OnHand) -> Iterator[EntryStep]:
    """Which shoe or insole, and in which size; a letter says of a pair both."""
    product = ProductAnswer(kind, dict(_by_letter(kind, offered)), shelf.titles[kind])

    def fill(before: Tree, value: tuple[str, ...]) -> tuple[Tree, str]:
        after = copy.deepcopy(before)
        put(after, (*_TOLD, kind), value[0])
        if kind == "shoe" and len(value) > 1:
            drop(after, (*_TOLD, "insole"))
            if value[1]:
                put(after, (*_TOLD, "insole"), value[1])
        return after, product.show(value[0])

    both = " and the insole" if kind == "shoe" else ""
    yield EntryStep(
        f"chosen-{kind}", DECISION, f"Which {kind}?", product, (*_TOLD, kind),
        f"A letter of the list above takes its {kind}{both}; else the code of one in the "
        f"catalogue, or own for what the customer brought. Leave it out when there is no {kind}.",
        asked_if=_something, fill=fill,
    )  # fmt: skip
    yield EntryStep(
        f"chosen-{kind}-size", DECISION, f"Size of the {kind} on the box", BoxSizes(shelf),
        (*_TOLD, f"{kind}-size"), "As on the box, or in mm (Mondopoint, the length of the foot). "
        "Two when each foot takes a size of its own: two pairs leave the stock then.",
        asked_if=_not_own(kind), usual=_size_of(kind, offered),
    )  # fmt: skip


def _by_letter(
    kind: str, offered: Mapping[str, Offered]
) -> Iterator[tuple[str, tuple[str, str | None]]]:
    for letter, one in offered.items():
        if kind == "shoe" and one.shoe:
            yield letter, (one.shoe, one.insole)
        elif kind == "insole" and one.insole:
            yield letter, (one.insole, None)


def _something(tree: Tree) -> bool:
    return get(tree, (*_TOLD, "outcome")) not in (None, "nothing")


def _not_own(kind: str) -> Any:
    def asked(tree: Tree) -> bool:
        return _something(tree) and get(tree, (*_TOLD, kind)) not in (None, OWN)

    return asked


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
