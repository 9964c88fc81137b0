"""Checking that every name a rule uses is known, and that its unit fits."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from functools import partial

from recommend.errors import InputError, Place, nearest
from recommend.reading import Document
from recommend.reading.document import Loc
from recommend.rulebook.book import Rulebook
from recommend.rulebook.compiling import Leaf, word_of
from recommend.rulebook.conditions import (
    NOT_MEASURED,
    ORDERS,
    UNDETERMINED,
    OfAnswer,
    OfAxis,
    OfMeasure,
    OfNote,
    OfPain,
)
from recommend.rulebook.models import (
    AxisThen,
    Limit,
    NeedsThen,
    NeedThen,
    NoteThen,
)
from recommend.rulebook.vocabulary import about

# Engines compare exactly; four decimals keep every constant free of exponents.
DECIMALS = 4


def limit_problems(
    book: Rulebook, at: Document, written: Mapping[str, Limit]
) -> Iterator[InputError]:
    """What keeps limits as written from being used.

    An unknown source or measure, too many decimals for exact comparison, or no value in the
    systems that the rulebook names.
    """
    for name, limit in written.items():
        if not book.limits[name].values:
            yield InputError(
                at.place(("limits", name), key=True),
                f"limit `{name}` has no value in the systems of rulebook.yaml "
                f"({', '.join(f'`{one}`' for one in book.heading.systems)})",
                mend="add a value with that `system`; systems are never mixed",
            )
        if limit.marks is not None and limit.marks not in book.measures:
            place = at.place(("limits", name, "marks"))
            yield _unknown("measure", limit.marks, book.measures, place)
        for index, value in enumerate(limit.values):
            loc: Loc = ("limits", name, "values", index)
            if value.source and value.source not in book.sources:
                yield _unknown("source", value.source, book.sources, at.place((*loc, "source")))
            if round(value.value, DECIMALS) != value.value:
                yield InputError(
                    at.place((*loc, "value")),
                    f"limit `{name}` is {value.value!r}",
                    f"up to {DECIMALS} decimals",
                    "round it",
                )


def check_sums(book: Rulebook, at: Document) -> None:
    """Raise InputError for an attribute that is a sum of something unknown."""
    for full, attribute in book.attributes.items():
        loc: Loc = (*full.split(".", 1), "sum-of")
        all_known("attribute", attribute.sum_of, book.attributes, at, loc)


def check_leaf(leaf: Leaf, loc: Loc, at: Document, book: Rulebook) -> None:
    """Raise InputError for a name in a comparison that is not known or does not fit."""
    if isinstance(leaf, OfMeasure):
        known("measure", leaf.measure, book.measures, at.place((*loc, "measure")))
        if leaf.is_[0] in ORDERS:
            _check_limit(leaf, loc, at, book)
            return
        if leaf.is_ == [NOT_MEASURED]:
            return
        if not book.measures[leaf.measure].values:
            choices = (*ORDERS, NOT_MEASURED)
            raise InputError(
                at.place((*loc, "is")),
                f"`{leaf.measure}` is a number, and `is` says `{leaf.is_[0]}`",
                ", ".join(choices),
                nearest(leaf.is_[0], choices) or "compare it with a limit",
            )
    _check_subject(leaf, loc, at, book)
    fact, values = word_of(leaf)
    if isinstance(leaf, OfPain):
        sites = [about(w).of for w in book.vocabulary.words if about(w).kind == "pain"]
        known("painful site", leaf.pain, sites, at.place((*loc, "pain")))
    key = "is-not" if isinstance(leaf, OfAxis) and leaf.is_not is not None else "is"
    if isinstance(leaf, OfAxis):
        values -= {UNDETERMINED}
    for value in sorted(values):
        known(f"value of {_plain(fact)}", value, book.vocabulary.words[fact], at.place((*loc, key)))


def _check_subject(leaf: Leaf, loc: Loc, at: Document, book: Rulebook) -> None:
    """Raise InputError when the axis, question or note that is asked about does not exist."""
    if isinstance(leaf, OfAxis):
        known("axis", leaf.axis, book.axes, at.place((*loc, "axis")))
    elif isinstance(leaf, OfAnswer):
        known("question", leaf.answer, book.questions, at.place((*loc, "answer")))
    elif isinstance(leaf, OfNote):
        known("note that can be read here", leaf.note, (), at.place((*loc, "note")))


def _plain(fact: str) -> str:
    """The name of a word fact for people: the axis, measure or fact of the visit it stands for."""
    one = about(fact)
    if one.kind == "measure":
        return f"`{one.part or one.of}`"
    return f"axis `{one.of}`" if one.kind == "axis" else f"`{one.of}`"


def _check_limit(leaf: OfMeasure, loc: Loc, at: Document, book: Rulebook) -> None:
    assert leaf.limit is not None
    place = at.place((*loc, "limit"))
    known("limit", leaf.limit, book.limits, place)
    measure, limit = book.measures[leaf.measure], book.limits[leaf.limit]
    if measure.values:
        raise InputError(
            place,
            f"`{leaf.measure}` is a class of words and has no limits",
            f"`is` with {', '.join(measure.values)}",
            "write one of these words in `is` and no `limit`",
        )
    if measure.unit != limit.unit:
        raise InputError(
            place,
            f"limit `{leaf.limit}` is in {limit.unit} but `{leaf.measure}` is in {measure.unit}",
            f"a limit in {measure.unit}",
            "name another limit, or correct its unit in limits.yaml",
        )
    for value in limit.values:
        for qualifier, word in value.where.items():
            if qualifier not in measure.qualifiers:
                raise InputError(
                    place,
                    f"limit `{leaf.limit}` is meant for certain `{qualifier}`, which "
                    f"`{leaf.measure}` does not have",
                    ", ".join(measure.qualifiers) or "a limit without `where`",
                    nearest(qualifier, measure.qualifiers)
                    or "correct `where` in limits.yaml, or the qualifiers in measures.yaml",
                )
            anywhere = {
                w for one in book.measures.values() for w in one.qualifiers.get(qualifier, [])
            }
            known(f"`{qualifier}` of a measure", word, anywhere, place)
    if not any(
        all(word in measure.qualifiers[name] for name, word in value.where.items())
        for value in limit.values
    ):
        raise InputError(
            place,
            f"no value of limit `{leaf.limit}` is meant for what `{leaf.measure}` can be",
            mend="add a value with its qualifiers, or name another limit",
        )


def then_checks(
    then: AxisThen | NoteThen | NeedsThen, stage: str, loc: Loc, at: Document, book: Rulebook
) -> Iterator[Callable[[], None]]:
    """Checks that raise InputError when a conclusion does not fit its stage, or a name is wrong.

    One for each thing that can be wrong by itself.
    """
    yield lambda: _check_stage(then, stage, at.place(loc))
    if isinstance(then, AxisThen):
        yield lambda: _check_axis_then(then, loc, at, book)
    elif isinstance(then, NeedsThen):
        for index, need in enumerate(then.needs):
            yield partial(check_need, need, (*loc, "needs", index), at, book)


def _check_stage(then: AxisThen | NoteThen | NeedsThen, stage: str, place: Place) -> None:
    fits = {"screen": NoteThen, "classify": AxisThen, "need": NeedsThen}[stage]
    words = {"screen": "`note` and `say`", "classify": "`axis` and `value`", "need": "`needs`"}
    if not isinstance(then, fits):
        raise InputError(
            place,
            f"this conclusion does not belong in the folder `{stage}`",
            words[stage],
            "move the rule to the folder of its stage",
        )


def _check_axis_then(then: AxisThen, loc: Loc, at: Document, book: Rulebook) -> None:
    known("axis", then.axis, book.axes, at.place((*loc, "axis")))
    values = book.axes[then.axis].values
    known(f"value of axis `{then.axis}`", then.value, values, at.place((*loc, "value")))


def check_need(need: NeedThen, loc: Loc, at: Document, book: Rulebook) -> None:
    """Raise InputError when a need book something unknown or its unit does not fit."""
    known("attribute", need.attribute, book.attributes, at.place((*loc, "attribute")))
    attribute = book.attributes[need.attribute]
    if need.level is not None:
        if not attribute.scale:
            raise InputError(
                at.place((*loc, "level")),
                f"`{need.attribute}` is a number and has no levels",
                "a `limit`",
                f"write `limit:` with a limit in {attribute.unit}",
            )
        known(
            f"level of `{need.attribute}`", need.level, attribute.scale, at.place((*loc, "level"))
        )
        return
    assert need.limit is not None
    place = at.place((*loc, "limit"))
    if attribute.scale:
        raise InputError(
            place,
            f"`{need.attribute}` is a scale of words and has no limits",
            f"a `level`: {', '.join(attribute.scale)}",
            "write `level:` with one of these words",
        )
    known("limit", need.limit, book.limits, place)
    if book.limits[need.limit].unit != attribute.unit:
        raise InputError(
            place,
            f"limit `{need.limit}` is in {book.limits[need.limit].unit} but "
            f"`{need.attribute}` is in {attribute.unit}",
            f"a limit in {attribute.unit}",
        )
    if len(book.limits[need.limit].values) > 1 or book.limits[need.limit].values[0].where:
        raise InputError(place, f"limit `{need.limit}` has conditions", "one plain value")


def all_known(
    what: str, words: Iterable[str], among: Collection[str], at: Document, loc: Loc
) -> None:
    """As `known`, of each in a list at `loc`."""
    for index, word in enumerate(words):
        known(what, word, among, at.place((*loc, index)))


def known(what: str, word: str, among: Iterable[str], place: Place) -> None:
    """Raise InputError, with the nearest spelling, when `word` is not `among` what is known."""
    names = sorted(among)
    if word not in names:
        raise _unknown(what, word, names, place)


def _unknown(what: str, word: str, known: Iterable[str], place: Place) -> InputError:
    names = sorted(known)
    shown = ", ".join(names) if len(names) <= 12 else f"one of {len(names)} known names"
    mend = nearest(word, names) or "correct it, or define it first"
    return InputError(place, f"no {what} is called `{word}`", shown, mend)
