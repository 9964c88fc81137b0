"""A worked example as it is written: one foot, and what must come of it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from recommend.measure.model import Side
from recommend.reading import Strict
from recommend.rulebook.comparisons import Comparison
from recommend.rulebook.models import NoteLevel, Strength, Weight
from recommend.visit.models import Answer, PainSite, Visit


class Reading(Strict):
    """A reading with its standard error, or with qualifiers other than the usual ones."""

    value: float
    error: Annotated[float, Field(ge=0)] | None = None
    where: dict[str, str] = {}


Given = dict[str, float | str | Reading]


class NeedShown(Strict):
    """A need that rule `by` must give, in figures: `value` is a number or a word of the scale."""

    by: str
    attribute: str
    is_: Comparison = Field(alias="is")
    value: float | str
    strength: Strength
    weight: Weight = "usual"


class Expect(Strict):
    """What must come out; what is left out is not looked at.

    `notes` are the notes that are due, by id of their rule, each with its level; `asks` are the
    rules of needs that hold: all of those that some example of the same file speaks of, so that
    a new rule breaks no example that was there before. `needs` must be among what is needed.
    """

    axes: dict[str, str] = {}
    type: str | None = None
    notes: dict[str, NoteLevel] | None = None
    asks: list[str] | None = None
    needs: list[NeedShown] = []


class Example(Strict):
    """One foot and what must come of it.

    The foot is put together from named `parts` of the file and from facts of its own:
    readings by measure, `answers`, `pain` (painful sites; an empty list is 'asked, none'),
    or it is a whole `visit` as in a visit file. `why` says in a sentence why it must come so.
    """

    name: str
    why: str = ""
    of: list[str] = []
    given: Given = {}
    age_band: str | None = None
    purpose: str | None = None
    socks: str | None = None
    answers: dict[str, Answer] = {}
    pain: list[PainSite] | None = None
    visit: Visit | None = None
    side: Side = "left"
    expect: Expect
