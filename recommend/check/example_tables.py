"""Worked examples as rows of a table: the truth table of foot types, and the pins of each rule.

A table names in `given` what its first columns hold and in `expect` what must come of it; a row is
one example. In `given` a column is a measure, a question, ``age-band``, ``purpose``, ``socks``,
``pain``, ``of`` (parts of the file), ``foot``, which holds several of these at once, or the row's
``name``. In `expect` it is an axis, ``type``, ``notes``, ``asks``, ``needs``, or a rule: ``x``
where a need holds, its level where a note is due. A cell with a dot is left out: not taken, not
asked, not due, not looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field, ValidationError

from recommend.errors import InputError, Place, nearest
from recommend.measure.model import Side
from recommend.reading import Document, Strict
from recommend.reading.document import Loc
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NoteLevel, Strength, Weight
from recommend.rulebook.terms import Comparison
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


LEFT_OUT = "."
HOLDS = "x"
_OF_EXAMPLE = ("name", "age-band", "purpose", "socks", "pain", "side")
_OF_EXPECT = ("type", "notes", "asks", "needs")
_NEED = ("by", "attribute", "is", "value", "strength", "weight")


class Table(Strict):
    """Rows of examples under common heads."""

    title: str
    given: list[str] = Field(min_length=1)
    expect: list[str] = Field(min_length=1)
    rows: list[list[Any]] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class Row:
    """A row as an example, where it stands, and the rules that its table has columns of."""

    example: Example
    loc: Loc
    rules: frozenset[str]


def rows_of(table: Table, at: Document, loc: Loc, book: Rulebook) -> Iterator[Row | InputError]:
    """Every row of `table` as an example, or what is wrong with it."""
    rules = frozenset(head for head in table.expect if head in book.by_id)
    for index, cells in enumerate(table.rows):
        where: Loc = (*loc, "rows", index)
        try:
            yield Row(_example(table, cells, at, where, book), where, rules)
        except InputError as error:
            yield error


def _example(table: Table, cells: list[Any], at: Document, loc: Loc, book: Rulebook) -> Example:
    heads = [*table.given, *table.expect]
    if len(cells) != len(heads):
        raise InputError(
            at.place(loc),
            f"the row has {len(cells)} cells, its table {len(heads)} columns",
            ", ".join(heads),
        )
    split = len(table.given)
    foot: dict[str, Any] = {}
    for head, cell in zip(table.given, cells[:split], strict=True):
        parts = cell if head == "foot" and isinstance(cell, dict) else {head: cell}
        for name, value in parts.items():
            if value != LEFT_OUT:
                _give(foot, name, value, at.place(loc), book)
    expect: dict[str, Any] = {}
    for head, cell in zip(table.expect, cells[split:], strict=True):
        _await(expect, head, cell, at.place(loc), book)
    written = ", ".join(_cell_words(cell) for cell in cells[:split])
    told = {"name": f"{table.title}: {written}", **foot, "expect": expect}
    return _checked(told, at.place(loc))


def _give(foot: dict[str, Any], name: str, value: Any, place: Place, book: Rulebook) -> None:
    """Put one cell into the foot that an example is of."""
    if name == "of":
        foot.setdefault("of", []).extend(value if isinstance(value, list) else [value])
    elif name in _OF_EXAMPLE:
        foot[name] = value
    elif name in book.measures:
        foot.setdefault("given", {})[name] = value
    elif name in book.questions:
        foot.setdefault("answers", {})[name] = value
    else:
        known = ["foot", "of", *_OF_EXAMPLE, *book.measures, *book.questions]
        raise InputError(
            place, f"`{name}` is nothing that a foot can have", mend=nearest(name, known)
        )


def _await(expect: dict[str, Any], name: str, value: Any, place: Place, book: Rulebook) -> None:
    """Put one cell into what must come out."""
    if name in book.by_id:
        kind = "notes" if book.by_id[name].note else "asks"
        listed = expect.setdefault(kind, {} if kind == "notes" else [])
        if value == LEFT_OUT:
            return
        if kind == "notes":
            listed[name] = value
        elif value == HOLDS:
            listed.append(name)
        else:
            raise InputError(place, f"`{value}` stands under `{name}`", f"`{HOLDS}` or a dot")
    elif value == LEFT_OUT:
        return
    elif name == "needs":
        expect["needs"] = [dict(zip(_NEED, need, strict=False)) for need in value]
    elif name in _OF_EXPECT:
        expect[name] = value
    elif name in book.axes:
        expect.setdefault("axes", {})[name] = value
    else:
        known = [*_OF_EXPECT, *book.axes, *book.by_id]
        raise InputError(place, f"`{name}` is nothing that comes out", mend=nearest(name, known))


def _checked(data: dict[str, Any], place: Place) -> Example:
    try:
        return Example.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(map(str, first["loc"]))
        raise InputError(place, f"`{where}` does not fit: {first['msg']}") from None


def _cell_words(cell: Any) -> str:
    if cell == {}:
        return "nothing"
    if isinstance(cell, dict):
        return ", ".join(f"{name} {_cell_words(value)}" for name, value in cell.items())
    if isinstance(cell, list):
        return " ".join(map(_cell_words, cell))
    return "not given" if cell == LEFT_OUT else str(cell)
