"""Rules in groups that durable-rules can bear, found without it, so that every machine agrees."""

from __future__ import annotations

from collections.abc import Iterator

from recommend.errors import InputError
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.terms import Number, Term

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
