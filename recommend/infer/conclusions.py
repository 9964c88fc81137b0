"""What an engine says of one foot, and what durable-rules can bear.

The last is found without it, so that every machine agrees.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from recommend.dataclass import dataclass
from recommend.errors import InputError, RecommendError
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.compiling import LARGEST
from recommend.rulebook.naming import DECIMALS
from recommend.rulebook.terms import Facts, Number, Term
from recommend.rulebook.vocabulary import about

Truth = bool | None


class ContradictionError(RecommendError):
    """Two rules conclude different values of one axis for the same foot."""


@dataclass(frozen=True, slots=True)
class Conclusions:
    """What the rulebook says of one foot.

    Attributes
    ----------
    truth : by rule id, True, False or None (could not be decided).
    facts : the facts given, and those concluded.
    axes : by axis, its value or None (undetermined).
    """

    truth: Mapping[str, Truth]
    facts: Mapping[str, float | str]
    axes: Mapping[str, str | None]


def settle(rules: tuple[CompiledRule, ...], truth: Mapping[str, Truth]) -> dict[str, str]:
    """Values that the true rules conclude, by axis.

    Raises
    ------
    ContradictionError
        If two true rules conclude different values of one axis; it names both.
    """
    concluded: dict[str, tuple[str, CompiledRule]] = {}
    for rule in rules:
        then = rule.concludes
        if then is None or not truth.get(rule.id):
            continue
        before = concluded.get(then.axis)
        if before and before[0] != then.value:
            raise contradiction(before[1], rule)
        concluded[then.axis] = (then.value, rule)
    return {axis: value for axis, (value, _) in concluded.items()}


def contradiction(one: CompiledRule, other: CompiledRule) -> ContradictionError:
    """The error for two rules that conclude different values of one axis for the same foot."""
    first, second = one.concludes, other.concludes
    assert first is not None
    assert second is not None
    return ContradictionError(
        f"rules `{one.id}` ({one.place}) and `{other.id}` ({other.place}) contradict each other: "
        f"axis `{first.axis}` is `{first.value}` and `{second.value}` for the same foot; "
        "make their conditions exclude each other"
    )


def last_stratum_of_axes(book: Rulebook) -> dict[str, int]:
    """The stratum after which an axis is settled."""
    return {axis: max(r.stratum for r in rules) for axis, rules in book.by_axis.items()}


def checked_facts(facts: Facts, book: Rulebook) -> Facts:
    """`facts`, if every one is of the vocabulary and every number is as engines compare it.

    Raises
    ------
    RecommendError
        Otherwise.
    """
    for name, value in facts.items():
        if about(name).concluded:
            raise RecommendError(f"`{name}` is concluded by rules, it cannot be given")
        words = book.vocabulary.words.get(name)
        if words is not None:
            if value not in words:
                raise RecommendError(f"`{name}` is `{value}`; allowed: {', '.join(words)}")
        elif name not in book.vocabulary.numbers:
            raise RecommendError(f"no fact is called `{name}`")
        elif not _comparable(value):
            raise RecommendError(
                f"`{name}` is `{value!r}`; allowed: a decimal number from -{LARGEST:.0f} to "
                f"{LARGEST:.0f} with up to {DECIMALS} decimals"
            )
    return facts


def _comparable(value: object) -> bool:
    """Whether `value` is a float that every engine reads and compares alike (NaN is not)."""
    return isinstance(value, float) and abs(value) <= LARGEST and round(value, DECIMALS) == value


# At most 64 sibling conditions may be satisfied by one fact, and 512 may stand at one level;
# a ruleset with no more distinct comparisons than this can reach neither.
MAX_COMPARISONS = 60
_OPERATOR = {"gt": "$gt", "ge": "$gte", "lt": "$lt", "le": "$lte"}


class _Known(dict["Term", "tuple[Plain, ...]"]):
    """The comparisons of each term of a book, so that they are found once."""


Plain = tuple[str, str, float | str]  # fact, operator, constant


def plain_comparisons(term: Term, book: Rulebook) -> tuple[Plain, ...]:
    """A term as (fact, operator, constant) comparisons that must all hold.

    A word with several values becomes inequality with each other value of its closed
    vocabulary, which the engine reads as false when the fact is missing.
    """
    known: _Known = book.made.setdefault(_Known, _Known())
    found = known.get(term)
    if found is None:  # many rules ask the same
        found = known[term] = tuple(_compared(term, book))
    return found


def _compared(term: Term, book: Rulebook) -> Iterator[Plain]:
    if isinstance(term, Number):
        yield term.fact, _OPERATOR[term.op], float(term.value)
        return
    vocabulary = book.vocabulary.words[term.fact]
    if len(term.values) == 1:
        yield term.fact, "==", next(iter(term.values))
    elif len(term.values) == len(vocabulary):
        yield term.fact, "$ex", 1
    else:
        for value in sorted(set(vocabulary) - term.values):
            yield term.fact, "$neq", value


def chunks(rules: tuple[CompiledRule, ...], book: Rulebook) -> Iterator[list[CompiledRule]]:
    """Split rules into groups with at most `MAX_COMPARISONS` distinct comparisons each.

    Raises
    ------
    InputError
        If one rule alone has more.
    """
    group: list[CompiledRule] = []
    seen: set[Plain] = set()
    for rule in rules:
        own = {
            plain
            for conjunction in (*rule.holds, *rule.fails)
            for term in conjunction
            for plain in plain_comparisons(term, book)
        }
        if len(own) > MAX_COMPARISONS:
            raise InputError(
                rule.place,
                f"rule `{rule.id}` makes {len(own)} different comparisons",
                f"at most {MAX_COMPARISONS}",
                "split it, or name a part of it as an axis of its own",
            )
        if group and len(seen | own) > MAX_COMPARISONS:
            yield group
            group, seen = [], set()
        group.append(rule)
        seen |= own
    if group:
        yield group


def bear(book: Rulebook) -> None:
    """Refuse a rulebook that durable-rules could not run, also where another engine concludes.

    Raises
    ------
    InputError
        If one rule is too large, with its place.
    """
    for rules in book.strata:
        for _ in chunks(rules, book):
            pass
