"""One foot through the rulebook, by forward chaining in durable-rules: the reference engine.

This is the only module that imports durable-rules. Everything that engine cannot bear is kept
away from it here: it gets plain definitions built from checked rules, constant comparisons,
small rulesets, one session per foot and no threads.
"""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import field
from typing import Any

from durable import engine as durable_engine

from recommend.dataclass import dataclass
from recommend.errors import RecommendError
from recommend.infer.engine import (
    Conclusions,
    Plain,
    Truth,
    checked_facts,
    chunks,
    last_stratum_of_axes,
    plain_comparisons,
    settle,
)
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.terms import Conjunction, Facts
from recommend.rulebook.vocabulary import Fact

# Its clock only measures how long an action has run. As it ships it calls a function that Python
# warns of since 3.12 and will remove, once for each action.
durable_engine._unix_now = time.time

# A session in which no action ran is deleted through pointers that were never set, and takes the
# process with it. Every message therefore carries this, and one rule of every ruleset asks for it.
_PRESENT = {"present": "yes"}
# Keeps facts apart from `present`, `sid` and `id`, which mean something to the engine or to us.
_PREFIX = "fact_"


class _QuietHost(durable_engine.Host):  # type: ignore[misc]
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

    name = "durable-rules"

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
        known |= {Fact("decided", axis).name: "no" for axis in axes if axis not in last}
        for depth, rules in enumerate(self.book.strata):
            fired = self._fire(depth, known)
            truth |= {rule.id: fired.get(rule.id) for rule in rules}
            concluded = settle(self.book.rules, truth)
            axes |= concluded
            known |= {Fact("axis", axis).name: value for axis, value in concluded.items()}
            done = [axis for axis, stratum in last.items() if stratum == depth]
            known |= {
                Fact("decided", axis).name: "no" if axes[axis] is None else "yes" for axis in done
            }
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


def _comparison(plain: Plain) -> dict[str, Any]:
    fact, operator, constant = plain
    named = {_PREFIX + fact: constant}
    return named if operator == "==" else {operator: named}
