"""One foot through the rulebook, by forward chaining in durable-rules: the reference engine.

This is the only module that imports durable-rules: its core, without the host around it, whose
timer threads run actions on their own and whose actions swallow errors. Everything that engine
cannot bear is kept away from it here: it gets plain definitions built from checked rules, constant
comparisons, small rulesets, one session per foot and no threads.
"""

from __future__ import annotations

import itertools
import json
import threading
from collections.abc import Iterator, Mapping
from typing import Any

import durable_rules_engine as core

from recommend.errors import RecommendError
from recommend.infer.conclusions import (
    Conclusions,
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

# A session in which no rule fired is deleted through pointers that were never set, and takes the
# process with it. Every message therefore carries this, and one rule of every ruleset asks for it.
_PRESENT = {"present": "yes"}
_ALWAYS = "present"  # the rule that is always true

Definition = dict[str, dict[str, Any]]  # by name of a rule, what it asks for


class _Host:
    """The rulesets of one engine in durable-rules' core, by name."""

    def __init__(self) -> None:
        self._rulesets: dict[str, int] = {}

    def define(self, name: str, definition: Definition) -> None:
        """Make a ruleset; it stays until the process ends."""
        self._rulesets[name] = core.create_ruleset(name, json.dumps(definition))

    def fired(self, name: str, fact: Mapping[str, Any]) -> Iterator[str]:
        """Names of the rules of a ruleset that fire on a fact, one for each time.

        Raises
        ------
        RecommendError
            If the core does not take the fact.
        """
        ruleset = self._rulesets[name]
        code, session = core.assert_fact(ruleset, json.dumps(fact))
        if code:
            raise RecommendError(f"durable-rules did not take the facts of a foot (code {code})")
        _, said = core.start_action_for_state(ruleset, session)
        while said:  # {"NAME OF THE RULE": what it matched}
            yield said.split('"', 2)[1]
            said = core.complete_and_start_action(ruleset, session)

    def forget(self, name: str, session: str) -> None:
        """Delete a session, of which there may be few."""
        core.delete_state(self._rulesets[name], session)


class DurableRules:
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
        self._one_at_a_time = threading.Lock()
        self._sessions = itertools.count()
        self._host = _Host()
        # Facts are numbered: a `sid` or `id` means something to the engine, and it reads short
        # names in less time.
        self._names = {fact: f"f{number}" for number, fact in enumerate(sorted(book.read))}
        # By ruleset, which rule each of its own is about, and with which verdict.
        self._verdicts: dict[str, dict[str, tuple[str, bool]]] = {}
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
        verdicts: set[tuple[str, bool]] = set()
        for ruleset, reads in self._rulesets[depth].items():
            session = f"f{next(self._sessions)}"
            # Only what the ruleset reads: a fact may have some 250 properties at most.
            message = {self._names[name]: value for name, value in facts.items() if name in reads}
            fired = self._host.fired(ruleset, {"sid": session, **_PRESENT, **message})
            verdicts.update(self._verdicts[ruleset][rule] for rule in fired if rule != _ALWAYS)
            self._host.forget(ruleset, session)
        for rule, verdict in verdicts:
            if verdict and (rule, False) in verdicts:
                raise RecommendError(f"rule `{rule}` came out true and false for the same foot")
        return dict(verdicts)

    def _define(self, name: str, rules: list[CompiledRule]) -> None:
        definition: Definition = {_ALWAYS: {"all": [{"m": _PRESENT}]}}
        verdicts: dict[str, tuple[str, bool]] = {}
        for rule in rules:
            for verdict, form in ((True, rule.holds), (False, rule.fails)):
                for conjunction in form:
                    number = f"r{len(definition)}"
                    definition[number] = {"all": [{"m": {"$and": self._asked(conjunction)}}]}
                    verdicts[number] = rule.id, verdict
        self._host.define(name, definition)
        self._verdicts[name] = verdicts

    def _asked(self, conjunction: Conjunction) -> list[dict[str, Any]]:
        return [
            {self._names[fact]: constant}
            if operator == "=="
            else {operator: {self._names[fact]: constant}}
            for term in conjunction
            for fact, operator, constant in plain_comparisons(term, self.book)
        ]
