"""A compiled rulebook for zen-engine: one expression a rule, one node a stratum."""

from __future__ import annotations

import itertools
import json
from typing import Any

import zen

from recommend.infer.conclusions import last_stratum_of_axes
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import AxisThen
from recommend.rulebook.terms import Disjunction, Number, Term

_SIGN = {"gt": ">", "ge": ">=", "lt": "<", "le": "<="}


class Zen:
    """The rules of `book`, being true only, as a decision of zen-engine."""

    def __init__(self, book: Rulebook) -> None:
        self.book = book
        self._engine = zen.ZenEngine()
        self._decision = self._engine.create_decision(json.dumps(self._model()))

    def conclude(self, facts: dict[str, Any]) -> tuple[set[str], dict[str, str | None]]:
        """Ids of the true rules, and the axes, of one foot given by `named` facts."""
        result = self._decision.evaluate(facts)["result"]
        true = {rule.id for rule in self.book.rules if result[_name(f"rule_{rule.id}")]}
        return true, {axis: result.get(_name(f"axis_{axis}")) for axis in self.book.axes}

    def _model(self) -> dict[str, Any]:
        contents: list[dict[str, str]] = []
        last = last_stratum_of_axes(self.book)
        for depth, rules in enumerate(self.book.strata):
            contents.append({_name(f"rule_{rule.id}"): _form(rule.holds) for rule in rules})
            axes = [axis for axis in self.book.axes if last.get(axis, 0) == depth]
            contents.append({_name(f"axis_{axis}"): self._axis(axis) for axis in axes})
            decided = {_name(f"decided_{a}"): f"{_name(f'axis_{a}')} == null ? 'no' : 'yes'"
                       for a in axes}  # fmt: skip
            contents.append(decided)
        nodes = [_node("in", "inputNode"), *map(_expressions, range(len(contents)), contents)]
        nodes.append(_node("out", "outputNode"))
        pairs = itertools.pairwise(nodes)
        edges = [
            {"id": f"e{n}", "sourceId": one["id"], "targetId": other["id"], "type": "edge"}
            for n, (one, other) in enumerate(pairs)
        ]
        kind = "application/vnd.gorules.decision"
        return {"contentType": kind, "nodes": nodes, "edges": edges}

    def _axis(self, axis: str) -> str:
        text = "null"
        for rule in self.book.rules:
            then = rule.rule.then
            if isinstance(then, AxisThen) and then.axis == axis:
                text = f"{_name(f'rule_{rule.id}')} ? '{then.value}' : ({text})"
        return text


def named(facts: dict[str, Any]) -> dict[str, Any]:
    """Facts under names that an expression may use."""
    return {_name(fact): value for fact, value in facts.items()}


def _name(text: str) -> str:
    return text.replace("-", "_")


def _form(form: Disjunction) -> str:
    branches = ["(" + " and ".join(map(_term, branch)) + ")" for branch in form]
    return " or ".join(branches) or "false"


def _term(term: Term) -> str:
    name = _name(term.fact)
    if isinstance(term, Number):
        return f"{name} != null and {name} {_SIGN[term.op]} {term.value!r}"
    words = ", ".join(f"'{word}'" for word in sorted(term.values))
    return f"{name} in [{words}]"


def _node(name: str, kind: str) -> dict[str, Any]:
    return {"id": name, "type": kind, "name": name, "position": {"x": 0, "y": 0}}


def _expressions(number: int, content: dict[str, str]) -> dict[str, Any]:
    listed = [{"id": key, "key": key, "value": value} for key, value in content.items()]
    inside = {"passThrough": True, "expressions": listed}
    return _node(f"n{number}", "expressionNode") | {"content": inside}
