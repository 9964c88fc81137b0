"""From conditions as written to the normal form that every engine runs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations

from recommend.dataclass import dataclass
from recommend.reading.document import Loc
from recommend.rulebook.conditions import (
    NOT_ANSWERED,
    NOT_MEASURED,
    ORDERS,
    UNDETERMINED,
    AnyOf,
    Condition,
    Group,
    NoneOf,
    OfAnswer,
    OfAxis,
    OfMeasure,
    OfNote,
    OfPain,
    OfVisit,
)
from recommend.rulebook.models import Limit
from recommend.rulebook.terms import (
    COMPARISONS,
    Conjunction,
    Disjunction,
    Number,
    Op,
    Term,
    Word,
    conjoin,
    without_covered,
)
from recommend.rulebook.vocabulary import Fact, Vocabulary

Leaf = OfMeasure | OfAxis | OfAnswer | OfPain | OfVisit | OfNote

# part of the measure compared, and the comparison, for each word of order
_ORDER: dict[str, tuple[str, Op]] = {
    **{word: ("", one.op) for word, one in COMPARISONS.items()},
    "clearly-above": ("low", "gt"),
    "clearly-below": ("high", "lt"),
}
MAX_BRANCHES = 400  # a guard of time and memory, far above what a readable rule needs


LARGEST = 1e9  # a number below this has no exponent, which some engines cannot read


class CannotRunError(ValueError):
    """A condition that no engine can run as it is meant; `mend` says what to do about it."""

    def __init__(self, found: str, mend: str) -> None:
        self.mend = mend
        super().__init__(found)


@dataclass(frozen=True, slots=True)
class Compiler:
    """Compiles conditions given the limits and the vocabulary they refer to."""

    limits: Mapping[str, Limit]
    vocabulary: Vocabulary

    def normal_form(self, condition: Condition) -> tuple[Disjunction, Disjunction]:
        """The disjunctions satisfied when `condition` is true, and when it is false.

        Raises
        ------
        CannotRunError
            If the condition multiplies out to more than `MAX_BRANCHES` branches, or compares
            with a limit that is too large or that means two values for one reading.
        """
        return self._compile(condition, True), self._compile(condition, False)

    def _compile(self, condition: Condition, want: bool) -> Disjunction:
        if isinstance(condition, Group):
            each = not want if isinstance(condition, NoneOf) else want
            parts = [self._compile(part, each) for part in condition.parts]
            return _some(parts) if want == isinstance(condition, AnyOf) else _every(parts)
        # A leaf over no word at all (the negation of every word) can never hold.
        joined = (conjoin(branch) for branch in self._leaf(condition, want))
        return without_covered(branch for branch in joined if branch is not None)

    def _leaf(self, leaf: Leaf, want: bool) -> Iterator[Conjunction]:
        if isinstance(leaf, OfMeasure) and leaf.is_[0] in ORDERS:
            yield from self._against_limit(leaf, want)
            return
        fact, values = word_of(leaf)
        if isinstance(leaf, OfAxis):
            yield from self._of_axis(leaf, values, want)
            return
        yield (Word(fact, values if want else self.vocabulary.others(fact, values)),)

    def _of_axis(self, leaf: OfAxis, values: frozenset[str], want: bool) -> Iterator[Conjunction]:
        """Values of an axis; ``undetermined`` reads the fact that says whether it was decided."""
        if leaf.is_not is not None:
            want = not want
        fact, decided = Fact("axis", leaf.axis).name, Fact("decided", leaf.axis).name
        plain = values - {UNDETERMINED}
        if want:
            if plain:
                yield (Word(fact, plain),)
            if UNDETERMINED in values:
                yield (Word(decided, frozenset({"no"})),)
        else:
            other = Word(fact, self.vocabulary.others(fact, plain))
            both = (other, Word(decided, frozenset({"yes"})))
            yield both if UNDETERMINED in values else (other,)

    def _against_limit(self, leaf: OfMeasure, want: bool) -> Iterator[Conjunction]:
        """One branch per value of the limit, guarded by the qualifiers it is meant for.

        The guards stand in both forms, so a reading whose qualifiers no value is meant for
        (an angle against another zero reference) is neither above nor below: unknown.
        """
        part, op = _ORDER[leaf.is_[0]]
        assert leaf.limit is not None
        _check_values(leaf.limit, self.limits[leaf.limit])
        compared = Fact("measure", leaf.measure, part).name
        for value in self.limits[leaf.limit].values:
            asked = {Fact("measure", leaf.measure, q).name: word for q, word in value.where.items()}
            if any(word not in self.vocabulary.words[fact] for fact, word in asked.items()):
                continue  # meant for readings that this measure never is
            guards: list[Term] = [Word(fact, frozenset({word})) for fact, word in asked.items()]
            number = Number(compared, op, value.value, leaf.limit)
            yield (*guards, number if want else number.negated())


def word_of(leaf: Leaf) -> tuple[str, frozenset[str]]:
    """The word fact a leaf asks about and the words it names."""
    if isinstance(leaf, OfMeasure):
        if leaf.is_ == [NOT_MEASURED]:
            return Fact("known", leaf.measure).name, frozenset({"no"})
        return leaf.measure, frozenset(leaf.is_)
    if isinstance(leaf, OfAxis):
        return Fact("axis", leaf.axis).name, frozenset(leaf.is_ or leaf.is_not or ())
    if isinstance(leaf, OfAnswer):
        if leaf.is_ == NOT_ANSWERED:
            return Fact("asked", leaf.answer).name, frozenset({"no"})
        return Fact("answer", leaf.answer).name, frozenset({leaf.is_})
    if isinstance(leaf, OfNote):
        raise CannotRunError(
            f"asks whether the note `{leaf.note}` is due", "write the condition of that rule out"
        )
    if isinstance(leaf, OfPain):
        return Fact("pain", leaf.pain).name, frozenset({leaf.is_})
    return Fact("visit", leaf.visit).name, frozenset(leaf.is_)


def _check_values(name: str, limit: Limit) -> None:
    """Raise CannotRunError for a value too large, or two values for the same reading."""
    for value in limit.values:
        if abs(value.value) > LARGEST:
            raise CannotRunError(
                f"compares with limit `{name}`, which is {value.value:g}",
                f"keep limits between {-LARGEST:.0f} and {LARGEST:.0f}",
            )
    for one, other in combinations(limit.values, 2):
        shared = one.where.keys() & other.where.keys()
        if all(one.where[qualifier] == other.where[qualifier] for qualifier in shared):
            raise CannotRunError(
                f"compares with limit `{name}`, of which {one.value:g} and {other.value:g} may "
                "both be meant for one reading",
                "give each value a `where` that excludes the others",
            )


def _some(parts: Iterable[Disjunction]) -> Disjunction:
    return without_covered(one for part in parts for one in part)


def _every(parts: list[Disjunction]) -> Disjunction:
    joined: Disjunction = ((),)
    for part in parts:
        pairs = (conjoin([*one, *other]) for one in joined for other in part)
        joined = without_covered(pair for pair in pairs if pair is not None)
        if len(joined) > MAX_BRANCHES:
            raise CannotRunError(
                f"multiplies out to more than {MAX_BRANCHES} branches",
                "split the rule, or name a part of it as an axis of its own",
            )
    return joined


def with_notes(condition: Condition, notes: Mapping[str, Condition]) -> Condition:
    """`condition` with the condition of its rule in the place of each note that it asks about.

    Raises
    ------
    KeyError
        If it asks about a note that is not among `notes`.
    """
    if isinstance(condition, OfNote):
        return notes[condition.note]
    if isinstance(condition, Group):
        return condition.of([with_notes(part, notes) for part in condition.parts])
    return condition


def leaves(condition: Condition, loc: Loc) -> Iterator[tuple[Leaf, Loc]]:
    """Every comparison inside `condition`, with its path below `loc`."""
    if not isinstance(condition, Group):
        yield condition, loc
        return
    for index, part in enumerate(condition.parts):
        yield from leaves(part, (*loc, condition.key, index))
