"""One foot through the rulebook, by forward chaining in durable-rules: the reference engine.

This is the only module that imports durable-rules. Everything that engine cannot bear is kept
away from it here: it gets plain definitions built from checked rules, constant comparisons,
small rulesets, one session per foot and no threads.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from durable.engine import Host

from recommend.errors import InputError, RecommendError
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.compiling import LARGEST
from recommend.rulebook.models import AxisThen
from recommend.rulebook.naming import DECIMALS
from recommend.rulebook.terms import Conjunction, Facts, Number, Term

# At most 64 sibling conditions may be satisfied by one fact, and 512 may stand at one level;
# a ruleset with no more distinct comparisons than this can reach neither.
MAX_COMPARISONS = 60
_OPERATOR = {"gt": "$gt", "ge": "$gte", "lt": "$lt", "le": "$lte"}

# A session in which no action ran is deleted through pointers that were never set, and takes the
# process with it. Every message therefore carries this, and one rule of every ruleset asks for it.
_PRESENT = {"present": "yes"}
# Keeps facts apart from `present`, `sid` and `id`, which mean something to the engine or to us.
_PREFIX = "fact_"

Truth = bool | None
Plain = tuple[str, str, float | str]  # fact, operator, constant


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
        self._one_at_a_time = threading.Lock()
        self._sessions = itertools.count()
        self._host = _QuietHost()
        # Name of each ruleset of a stratum, and the facts that it reads.
        self._rulesets: list[dict[str, frozenset[str]]] = []
        for depth, rules in enumerate(book.strata):
            named = {f"s{depth}c{index}": group for index, group in enumerate(chunks(rules, book))}
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
            If a fact is not one the vocabulary allows, or is one that rules conclude.
        """
        with self._one_at_a_time:
            return self._conclude(facts)

    def _conclude(self, facts: Facts) -> Conclusions:
        known: dict[str, float | str] = dict(checked_facts(facts, self.book))
        truth: dict[str, Truth] = {}
        axes: dict[str, str | None] = dict.fromkeys(self.book.axes)
        last = last_stratum_of_axes(self.book)
        known |= {f"decided_{axis}": "no" for axis in axes if axis not in last}
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
            message = {_PREFIX + name: value for name, value in facts.items() if name in reads}
            self._host.assert_fact(ruleset, {"sid": session, **_PRESENT, **message})
            self._host.delete_state(ruleset, session)
        if self._current.errors:
            raise self._current.errors[0]
        verdicts = set(self._current.fired)
        for rule, verdict in verdicts:
            if verdict and (rule, False) in verdicts:
                raise RecommendError(f"rule `{rule}` came out true and false for the same foot")
        return dict(verdicts)

    def _define(self, name: str, rules: list[CompiledRule]) -> None:
        definition: dict[str, Any] = {"present": {"all": [{"m": _PRESENT}], "run": _nothing}}
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

    def _plain(self, conjunction: Conjunction) -> Iterator[Plain]:
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


def _nothing(_closure: Any) -> None:
    """The action of the rule that is always true."""


def plain_comparisons(term: Term, book: Rulebook) -> Iterator[Plain]:
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


def _comparison(plain: Plain) -> dict[str, Any]:
    fact, operator, constant = plain
    named = {_PREFIX + fact: constant}
    return named if operator == "==" else {operator: named}


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
    """`facts`, if every one is of the vocabulary and every number is as engines compare it.

    Raises
    ------
    RecommendError
        Otherwise.
    """
    for name, value in facts.items():
        if name.startswith(("axis_", "decided_")):
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


_ENGINES: dict[int, Engine] = {}


def engine_of(book: Rulebook) -> Engine:
    """The engine of `book`, built at its first use: what durable-rules builds is never freed."""
    engine = _ENGINES.get(id(book))  # an engine keeps its book, so its id is not given again
    if engine is None:
        engine = _ENGINES[id(book)] = Engine(book)
    return engine
