"""Which products suit, asked of rule engines: one rule a binding need, products resident.

A product is ruled out by a need that is asked when its level does not satisfy it, or when the
maker does not state the level.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Protocol

import clips
import zen
from durable.engine import Host, MessageNotHandledException

from recommend.catalogue.loading import Catalogue
from recommend.match.judge import pair_levels
from recommend.match.needs import Need
from recommend.rulebook.book import Rulebook

# How a level breaks a need: a must that is not met, a never that is.
_BROKEN = {
    ("must", "at-least"): "<", ("must", "at-most"): ">", ("must", "above"): "<=",
    ("must", "below"): ">=", ("never", "at-least"): ">=", ("never", "at-most"): "<=",
    ("never", "above"): ">", ("never", "below"): "<",
}  # fmt: skip
_OF_DURABLE = {"<": "$lt", "<=": "$lte", ">": "$gt", ">=": "$gte"}
_WHOLE = {"<": ">=", "<=": ">", ">": "<=", ">=": "<"}  # the opposite, which satisfies


@dataclass(frozen=True, slots=True)
class Product:
    """A product: its id, its kind, and the levels that are stated."""

    id: str
    kind: str
    levels: dict[str, float]


class Suiting(Protocol):
    """An engine that knows some products and the needs that can be asked."""

    def suitable(self, asked: Sequence[Sequence[int]]) -> list[set[str]]:
        """For each customer, given the positions of the needs asked, ids of what suits."""


def products_of(catalogue: Catalogue, book: Rulebook) -> list[Product]:
    """Every product with its own levels and what it adds to a pair."""
    return [
        Product(item.id, item.product.kind, {**item.levels, **pair_levels((item,), book)})
        for item in catalogue.items
    ]


def ask(need: Need) -> tuple[str, str, float, str]:
    """What tells one need from another."""
    return need.attribute, need.comparison, need.target, need.strength


def _sign(need: Need) -> str:
    return _BROKEN[need.strength, need.comparison]


def _slot(attribute: str) -> str:
    return attribute.replace(".", "_").replace("-", "_")


def _concerns(need: Need, kind: str) -> bool:
    return need.attribute.partition(".")[0] in (kind, "pair")


def _unstated(needs: Sequence[Need], product: Product) -> list[str]:
    """Attributes that some need asks of this kind and that the product does not state."""
    asked = {need.attribute for need in needs if _concerns(need, product.kind)}
    return sorted(_slot(name) for name in asked - product.levels.keys())


class _Quiet(Host):  # type: ignore[misc]
    """A host without timer threads."""

    def _run(self) -> None:
        return


class OfDurable:
    """durable-rules: products stay in one session, what is asked comes and is retracted."""

    def __init__(self, needs: Sequence[Need], products: Sequence[Product]) -> None:
        self._ids, self._out = {product.id for product in products}, set[str]()
        rules: dict[str, Any] = {}
        for n, need in enumerate(needs):
            slot = _slot(need.attribute)
            level = {_OF_DURABLE[_sign(need)]: {slot: need.target}}
            for name, test in (("broken", level), ("unstated", {f"no_{slot}": "yes"})):
                rules[f"{name}{n}"] = {
                    "all": [
                        {"asked": {"$and": [{"kind": "asked"}, {"need": n}]}},
                        {"product": {"$and": [{"kind": "product"}, test]}},
                    ],
                    "run": self._rule_out,
                }
        self._host = _Quiet()
        self._host.set_rulesets({"suiting": rules})
        for product in products:
            levels = {_slot(name): level for name, level in product.levels.items()}
            missing = {f"no_{slot}": "yes" for slot in _unstated(needs, product)}
            with suppress(MessageNotHandledException):  # no need can ever rule it out
                self._assert({"kind": "product", "product": product.id, **levels, **missing})

    def _rule_out(self, found: Any) -> None:
        self._out.add(found.product.product)

    def _assert(self, fact: dict[str, Any]) -> None:
        self._host.assert_fact("suiting", {"sid": "shop", **fact})

    def suitable(self, asked: Sequence[Sequence[int]]) -> list[set[str]]:
        """See `Suiting`."""
        suit = []
        for needs in asked:
            self._out = set()
            facts = [{"kind": "asked", "need": n} for n in needs]
            for fact in facts:
                self._assert(fact)
            for fact in facts:
                self._host.retract_fact("suiting", {"sid": "shop", **fact})
            suit.append(self._ids - self._out)
        return suit


class OfClips:
    """CLIPS: products are facts that stay, what a customer asks is retracted afterwards."""

    def __init__(self, needs: Sequence[Need], products: Sequence[Product]) -> None:
        self._ids, self._out = [product.id for product in products], set[int]()
        slots = sorted({_slot(need.attribute) for need in needs})
        self._env = env = clips.Environment()
        env.define_function(self._out.add, name="rule-out")
        env.build(f"(deftemplate product (slot id) (slot kind) {_slots(slots)})")
        env.build("(deftemplate asked (slot need))")
        for n, need in enumerate(needs):
            slot, kind = _slot(need.attribute), need.attribute.partition(".")[0]
            of_kind = "" if kind == "pair" else f"(kind {kind})"
            test = f"?v&:(or (eq ?v nil) ({_sign(need)} ?v {need.target!r}))"
            env.build(
                f"(defrule need{n} (asked (need {n})) (product (id ?p) {of_kind} ({slot} {test}))"
                " => (rule-out ?p))"
            )
        for number, product in enumerate(products):
            stated = {_slot(name): level for name, level in product.levels.items()}
            levels = " ".join(f"({s} {stated[s]!r})" for s in slots if s in stated)
            env.assert_string(f"(product (id {number}) (kind {product.kind}) {levels})")

    def suitable(self, asked: Sequence[Sequence[int]]) -> list[set[str]]:
        """See `Suiting`."""
        suit = []
        for needs in asked:
            self._out.clear()
            facts = [self._env.assert_string(f"(asked (need {n}))") for n in needs]
            self._env.run()
            for fact in facts:
                fact.retract()
            suit.append({one for n, one in enumerate(self._ids) if n not in self._out})
        return suit


def _slots(names: Sequence[str]) -> str:
    return " ".join(f"(slot {name} (default nil))" for name in names)


class OfZen:
    """zen-engine: one filter over the products, which are written into the decision."""

    def __init__(self, needs: Sequence[Need], products: Sequence[Product]) -> None:
        self._count = len(needs)
        filters = [_kind_filter(needs, products, kind) for kind in ("shoe", "insole")]
        keyed = {"shoes": filters[0], "insoles": filters[1]}
        listed = [{"id": key, "key": key, "value": value} for key, value in keyed.items()]
        nodes = [
            _node("in", "inputNode", {}),
            _node("suit", "expressionNode", {"expressions": listed}),
            _node("out", "outputNode", {}),
        ]
        edges = [
            {"id": "e0", "sourceId": "in", "targetId": "suit", "type": "edge"},
            {"id": "e1", "sourceId": "suit", "targetId": "out", "type": "edge"},
        ]
        model = {"contentType": "application/vnd.gorules.decision", "nodes": nodes, "edges": edges}
        self._decision = zen.ZenEngine().create_decision(json.dumps(model))

    def suitable(self, asked: Sequence[Sequence[int]]) -> list[set[str]]:
        """See `Suiting`."""
        suit = []
        for needs in asked:
            facts = {f"asked{n}": n in set(needs) for n in range(self._count)}
            found = self._decision.evaluate(facts)["result"]
            suit.append({*found["shoes"], *found["insoles"]})
        return suit


def _kind_filter(needs: Sequence[Need], products: Sequence[Product], kind: str) -> str:
    slots = sorted({_slot(need.attribute) for need in needs if _concerns(need, kind)})
    rows = []
    for product in products:
        if product.kind == kind:
            stated = {_slot(name): level for name, level in product.levels.items()}
            levels = [f"{slot}: {stated.get(slot, 'null')}" for slot in slots]
            rows.append("{" + ", ".join([f"id: '{product.id}'", *levels]) + "}")
    tests = [
        f"(asked{n} == false or (#.{slot} != null and #.{slot} {_WHOLE[_sign(need)]} "
        f"{need.target!r}))"
        for n, need in enumerate(needs)
        if _concerns(need, kind)
        for slot in (_slot(need.attribute),)
    ]
    return f"map(filter([{', '.join(rows)}], {' and '.join(tests)}), #.id)"


def _node(name: str, kind: str, content: dict[str, Any]) -> dict[str, Any]:
    position = {"x": 0, "y": 0}
    return {"id": name, "type": kind, "name": name, "position": position, "content": content}


CREATED: dict[str, type[OfDurable] | type[OfClips] | type[OfZen]] = {
    "durable-rules": OfDurable,
    "CLIPS": OfClips,
    "zen-engine": OfZen,
}
