"""One foot through the rulebook, by forward chaining in durable-rules: the reference engine.

This is the only module that imports durable-rules. Everything that engine cannot bear is kept
away from it here: it gets plain definitions built from checked rules, constant comparisons,
small rulesets, one session per foot and no threads.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from durable.engine import Host, MessageNotHandledException

from recommend.errors import InputError, RecommendError
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import AxisThen
from recommend.rulebook.terms import Conjunction, Facts, Number, Term

# At most 64 sibling conditions may be satisfied by one fact, and 512 may stand at one level;
# a ruleset with no more distinct comparisons than this can reach neither.
MAX_COMPARISONS = 60
_OPERATOR = {"gt": "$gt", "ge": "$gte", "lt": "$lt", "le": "$lte"}

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


class _QuietHost(Host):  # type: ignore[misc]
    """A host without the two timer threads, which would run our actions on their own."""

    def _run(self) -> None:
        return


@dataclass
class _Run:
    """What fired in the current session."""

    fired: list[tuple[str, bool]] = field(default_factory=list)
    errors: list[BaseException] = field(default_factory=list)


class Engine:
    """A rulebook compiled to durable-rules; build once, use for any number of feet.

    Parameters
    ----------
    book : the rulebook.

    Raises
    ------
    InputError
        If a rule is too large for the engine, with its place.
    """

    def __init__(self, book: Rulebook) -> None:
        self.book = book
        self._current = _Run()
        self._sessions = itertools.count()
        self._host = _QuietHost()
        # Name of each ruleset of a stratum, and the facts that it reads.
        self._rulesets: list[dict[str, frozenset[str]]] = []
        for depth, rules in enumerate(book.strata):
            named = {f"s{depth}c{index}": group for index, group in enumerate(chunks(rules))}
            for name, group in named.items():
                self._define(name, group)
            reads = {n: frozenset().union(*(r.facts for r in g)) for n, g in named.items()}
            self._rulesets.append(reads)

    def conclude(self, facts: Facts) -> Conclusions:
        """Run every stratum over `facts`.

        Raises
        ------
        ContradictionError
            If two rules conclude different values of one axis.
        RecommendError
            If a fact is not one the vocabulary allows.
        """
        known: dict[str, float | str] = dict(checked_facts(facts, self.book))
        truth: dict[str, Truth] = {}
        axes: dict[str, str | None] = dict.fromkeys(self.book.axes)
        last = last_stratum_of_axes(self.book)
        for depth, rules in enumerate(self.book.strata):
            fired = self._fire(depth, known)
            truth |= {rule.id: fired.get(rule.id) for rule in rules}
            concluded = settle(self.book.rules, truth)
            axes |= concluded
            known |= {f"axis_{axis}": value for axis, value in concluded.items()}
            done = [axis for axis, stratum in last.items() if stratum == depth]
            known |= {f"decided_{axis}": "no" if axes[axis] is None else "yes" for axis in done}
        return Conclusions(truth, known, axes)

    def _fire(self, depth: int, facts: Facts) -> dict[str, bool]:
        self._current = _Run()
        for ruleset, reads in self._rulesets[depth].items():
            session = f"f{next(self._sessions)}"
            # Only what the ruleset reads: a fact may have some 250 properties at most.
            message = {name: value for name, value in facts.items() if name in reads}
            try:
                self._host.assert_fact(ruleset, {"sid": session, **message})
            except MessageNotHandledException:
                pass  # no rule of this ruleset reads as true or false: all are undecided
            finally:
                self._host.delete_state(ruleset, session)
        if self._current.errors:
            raise self._current.errors[0]
        return dict(self._current.fired)

    def _define(self, name: str, rules: list[CompiledRule]) -> None:
        definition: dict[str, Any] = {}
        for rule in rules:
            for verdict, form in ((True, rule.holds), (False, rule.fails)):
                for conjunction in form:
                    definition[f"r{len(definition)}"] = {
                        "all": [
                            {"m": {"$and": [_comparison(t) for t in self._plain(conjunction)]}}
                        ],
                        "run": self._action(rule.id, verdict),
                    }
        self._host.set_rulesets({name: definition})

    def _plain(self, conjunction: Conjunction) -> Iterator[tuple[str, str, float | str]]:
        for term in conjunction:
            yield from plain_comparisons(term, self.book)

    def _action(self, rule_id: str, verdict: bool) -> Callable[[Any], None]:
        def act(_closure: Any) -> None:
            # The engine swallows what an action raises, so it is kept and raised after the run.
            try:
                self._current.fired.append((rule_id, verdict))
            except BaseException as error:
                self._current.errors.append(error)

        return act


def plain_comparisons(term: Term, book: Rulebook) -> Iterator[tuple[str, str, float | str]]:
    """A term as (fact, operator, constant) comparisons that must all hold.

    A word with several values becomes inequality with each other value of its closed
    vocabulary, which the engine reads as false when the fact is missing.
    """
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


def _comparison(plain: tuple[str, str, float | str]) -> dict[str, Any]:
    fact, operator, constant = plain
    return {fact: constant} if operator == "==" else {operator: {fact: constant}}


def chunks(rules: tuple[CompiledRule, ...]) -> Iterator[list[CompiledRule]]:
    """Split rules into groups with at most `MAX_COMPARISONS` distinct comparisons each.

    Raises
    ------
    InputError
        If one rule alone has more.
    """
    group: list[CompiledRule] = []
    seen: set[tuple[str, str, str]] = set()
    for rule in rules:
        own = set(_distinct(rule))
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


def _distinct(rule: CompiledRule) -> Iterator[tuple[str, str, str]]:
    """Upper bound of the distinct comparisons a rule becomes (every other word counts)."""
    for form in (rule.holds, rule.fails):
        for conjunction in form:
            for term in conjunction:
                if isinstance(term, Number):
                    yield term.fact, term.op, repr(term.value)
                else:
                    yield from ((term.fact, "word", value) for value in term.values)
                    yield term.fact, "others", ",".join(sorted(term.values))


def settle(rules: tuple[CompiledRule, ...], truth: Mapping[str, Truth]) -> dict[str, str]:
    """Values that the true rules conclude, by axis.

    Raises
    ------
    ContradictionError
        If two true rules conclude different values of one axis; it names both.
    """
    concluded: dict[str, tuple[str, CompiledRule]] = {}
    for rule in rules:
        then = rule.rule.then
        if not isinstance(then, AxisThen) or not truth.get(rule.id):
            continue
        before = concluded.get(then.axis)
        if before and before[0] != then.value:
            raise contradiction(before[1], rule)
        concluded[then.axis] = (then.value, rule)
    return {axis: value for axis, (value, _) in concluded.items()}


def contradiction(one: CompiledRule, other: CompiledRule) -> ContradictionError:
    """The error for two rules that conclude different values of one axis for the same foot."""
    first, second = one.rule.then, other.rule.then
    assert isinstance(first, AxisThen)
    assert isinstance(second, AxisThen)
    return ContradictionError(
        f"rules `{one.id}` ({one.place}) and `{other.id}` ({other.place}) contradict each other: "
        f"axis `{first.axis}` is `{first.value}` and `{second.value}` for the same foot; "
        "make their conditions exclude each other"
    )


def last_stratum_of_axes(book: Rulebook) -> dict[str, int]:
    """The stratum after which an axis is settled."""
    last: dict[str, int] = {}
    for rule in book.rules:
        if isinstance(rule.rule.then, AxisThen):
            last[rule.rule.then.axis] = max(last.get(rule.rule.then.axis, 0), rule.stratum)
    return last


def checked_facts(facts: Facts, book: Rulebook) -> Facts:
    """`facts`, if every one is of the vocabulary and every number finite.

    Raises
    ------
    RecommendError
        Otherwise.
    """
    for name, value in facts.items():
        words = book.vocabulary.words.get(name)
        if words is not None:
            if value not in words:
                raise RecommendError(f"`{name}` is `{value}`; allowed: {', '.join(words)}")
        elif name not in book.vocabulary.numbers:
            raise RecommendError(f"no fact is called `{name}`")
        elif not isinstance(value, float) or value != value or abs(value) > 1e9:
            raise RecommendError(f"`{name}` is `{value}`; allowed: a finite decimal number")
    return facts
