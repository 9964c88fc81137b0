"""Promises of a rulebook: what must hold for every possible foot, written beside the rules.

``rules/promises/*.yaml``. A promise has the same `when` as a rule, and says in `then` what is
promised of every foot for which it holds (of every foot at all when there is none).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from recommend.check.finding import files_of
from recommend.errors import InputError, Place
from recommend.reading import Document, Id, Strict, told_apart
from recommend.reading.document import Loc
from recommend.rulebook.book import Rulebook
from recommend.rulebook.compiling import leaves
from recommend.rulebook.conditions import Condition
from recommend.rulebook.models import Basis, NeedThen, NoteLevel
from recommend.rulebook.naming import all_known, check_leaf, check_need, known
from recommend.rulebook.terms import Comparison

EVERY_AXIS = "every-axis"


class AtMostOne(Strict):
    """No two rules conclude different values of the axis; ``every-axis`` means each of them."""

    at_most_one: str


class Decides(Strict):
    """The axis has exactly one value whenever the measures `given` are known.

    Known means measured in a way that the limits are meant for (gait, zero reference, kind).
    """

    decides: str
    given: list[str] = Field(min_length=1)


class Notes(Strict):
    """A note at least as grave as this is due."""

    note: NoteLevel


class Forbidden(Strict):
    """A product attribute beyond a limit or level."""

    attribute: str
    is_: Comparison = Field(alias="is")
    limit: str | None = None
    level: str | None = None

    def as_need(self) -> NeedThen:
        """The same as a never, which checks that one of `limit` and `level` is given."""
        return NeedThen(attribute=self.attribute, is_=self.is_, limit=self.limit,
                        level=self.level, strength="never")  # fmt: skip


class Forbids(Strict):
    """No shoe, insole or pair with such an attribute gets past the musts and the nevers.

    With `under` this is promised of the feet for which a note of that level is due.
    """

    forbids: Forbidden
    under: NoteLevel | None = None


class Keeps(Strict):
    """Making a measure more extreme takes none of these notes away.

    `higher` or `lower` names the measure; reading, low and high end all move, the rest stays.
    """

    higher: str | None = None
    lower: str | None = None
    keeps: list[NoteLevel] = Field(min_length=1)

    @model_validator(mode="after")
    def _one_way(self) -> Keeps:
        if (self.higher is None) == (self.lower is None):
            raise ValueError("write exactly one of `higher` and `lower`")
        return self


class Adding(Strict):
    """Taking one more reading, `but` these measures, takes none of these notes away."""

    adding: Literal["reading"]
    but: list[str] = []
    keeps: list[NoteLevel] = Field(min_length=1)


class Unasked(Strict):
    """What was not asked is treated no less cautiously than the answer no.

    No note that a 'no' gives is missing, and no product is let through that a 'no' keeps out.
    """

    unasked: Literal["answers", "pain"]


class Alarming(Strict):
    """An alarming answer lets no product through that the harmless one keeps out.

    Of feet that no stop withholds: more alarming answers never lengthen the list.
    """

    alarming: Literal["answers"]
    lengthens: Literal["never"]


class NeverWins(Strict):
    """Where a must asks for what a never forbids, the never stays and the must gives way."""

    wins: Literal["never"]
    over: Literal["must"]


_KINDS: dict[str, tuple[Any, ...]] = {
    "at-most-one": (AtMostOne, "at-most-one"),
    "decides": (Decides, "decides"),
    "note": (Notes, "note"),
    "forbids": (Forbids, "forbids"),
    "adding": (Adding, "adding"),
    "alarming": (Alarming, "alarming"),
    "keeps": (Keeps, "higher", "lower", "keeps"),
    "unasked": (Unasked, "unasked"),
    "wins": (NeverWins, "wins"),
}


Promised = Annotated[
    Annotated[AtMostOne, Tag("at-most-one")]
    | Annotated[Decides, Tag("decides")]
    | Annotated[Notes, Tag("note")]
    | Annotated[Forbids, Tag("forbids")]
    | Annotated[Adding, Tag("adding")]
    | Annotated[Alarming, Tag("alarming")]
    | Annotated[Keeps, Tag("keeps")]
    | Annotated[Unasked, Tag("unasked")]
    | Annotated[NeverWins, Tag("wins")],
    Discriminator(
        told_apart(_KINDS),
        custom_error_type="promise",
        custom_error_message="a promise with one of the keys "
        + ", ".join(key for _, *keys in _KINDS.values() for key in keys),
    ),
]


class Promise(Strict):
    """One promise."""

    id: Id
    title: str
    when: Condition | None = None
    then: Promised
    because: str
    basis: Basis


class PromisesFile(Strict):
    """A file of promises."""

    title: str
    promises: list[Promise] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class Given:
    """A promise with its place."""

    promise: Promise
    place: Place


@dataclass(frozen=True, slots=True)
class PromiseResult:
    """What came of one promise.

    Attributes
    ----------
    outcome : proved, broken or undecided.
    seconds : how long it took.
    why : how it is broken, in words.
    foot, visit : the smallest foot that breaks it, in words and as the text of a visit file.
    """

    given: Given
    outcome: Literal["proved", "broken", "undecided"]
    seconds: float
    why: str = ""
    foot: str = ""
    visit: str = ""


def load_promises(book: Rulebook) -> tuple[tuple[Given, ...], tuple[InputError, ...]]:
    """All promises of a rulebook, and everything in them that does not fit."""
    found: list[Given] = []
    problems: list[InputError] = []
    seen: dict[str, Place] = {}
    for file, document in files_of(book, "promises", PromisesFile, problems):
        for index, promise in enumerate(file.promises):
            loc: Loc = ("promises", index)
            place = document.place((*loc, "id"))
            try:
                if promise.id in seen:
                    first = seen[promise.id]
                    raise InputError(place, f"`{promise.id}` stands twice (first at {first})")
                seen[promise.id] = place
                _check(promise, document, loc, book)
                found.append(Given(promise, document.place(loc)))
            except InputError as error:
                problems.append(error)
    return tuple(found), tuple(problems)


def _check(promise: Promise, at: Document, loc: Loc, book: Rulebook) -> None:
    if promise.when is not None:
        for leaf, where in leaves(promise.when, (*loc, "when")):
            check_leaf(leaf, where, at, book)
    then, where = promise.then, (*loc, "then")
    if isinstance(then, AtMostOne):
        axes = [*book.axes, EVERY_AXIS]
        known("axis", then.at_most_one, axes, at.place((*where, "at-most-one")))
    elif isinstance(then, Decides):
        known("axis", then.decides, book.axes, at.place((*where, "decides")))
        all_known("measure", then.given, book.measures, at, (*where, "given"))
    elif isinstance(then, Forbids):
        check_need(_need_of(then, at.place(where)), (*where, "forbids"), at, book)
    elif isinstance(then, Adding):
        all_known("measure", then.but, book.measures, at, (*where, "but"))
    elif isinstance(then, Keeps):
        key = "higher" if then.higher else "lower"
        known("measure", then.higher or then.lower or "", book.measures, at.place((*where, key)))


def _need_of(then: Forbids, place: Place) -> NeedThen:
    try:
        return then.forbids.as_need()
    except ValueError:
        raise InputError(
            place, "`forbids` has neither a limit nor a level", "exactly one of the two"
        ) from None
