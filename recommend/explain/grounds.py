"""What a statement rests on: sources in full, limits with value and unit, readings, captures."""

from __future__ import annotations

from typing import Any

from recommend.explain.node import Node
from recommend.measure.definitions import MeasureDef, unit_words, value_words
from recommend.measure.model import Measure
from recommend.rulebook import Rulebook
from recommend.rulebook.models import Basis, LimitValue
from recommend.rulebook.words import kind_words

SEEN = {
    "in-source": "seen in the source",
    "second-hand": "seen quoted elsewhere",
    "derived": "derived by arithmetic",
    "from-memory": "from memory, to be verified",
}


def source_node(book: Rulebook, source_id: str) -> Node:
    """A source in full: citation, what it says, how far that was verified, what conflicts."""
    source = book.sources[source_id]
    children = [Node("remark", f"says: {source.says}")]
    if source.conflict:
        children.append(Node("remark", f"in conflict: {source.conflict}"))
    text = f"{source.cite} [{SEEN[source.seen]}]"
    return Node("source", text, id=source_id, children=tuple(children))


def basis_node(book: Rulebook, basis: Basis) -> Node:
    """What stands behind a rule: its kind, its note, its sources in full."""
    words = kind_words(basis.kind, sourced=bool(basis.sources))
    text = f"basis: {words}" + (f"; {basis.note}" if basis.note else "")
    return Node("basis", text, children=tuple(source_node(book, one) for one in basis.sources))


def limit_node(book: Rulebook, limit_id: str, value: LimitValue) -> Node:
    """A limit with its value and unit, the population it is meant for, and its source."""
    limit = book.limits[limit_id]
    words = "".join(f", {name} {word}" for name, word in value.where.items())
    text = f"limit {limit_id} = {value.value:g}{unit_words(limit.unit)}: {limit.title}"
    ground = f"for {limit.population}{words}; {kind_words(value.kind, sourced=bool(value.source))}"
    ground += f"; {value.note}" if value.note else ""
    children = [Node("remark", ground)]
    if value.source:
        children.append(source_node(book, value.source))
    facts: dict[str, Any] = {"value": value.value, "unit": limit.unit, "kind": value.kind}
    return Node("limit", text, id=limit_id, facts=facts, children=tuple(children))


def measure_node(book: Rulebook, measure: Measure) -> Node:
    """A reading: how it was taken, how sure it is, its doubts, and the capture it is from."""
    definition = book.measures[measure.name]
    children = []
    method = f"by: {measure.method or 'not stated'}"
    if measure.n > 1:
        method += f", {measure.n} readings"
    method += "".join(f", {name} {word}" for name, word in measure.qualifiers.items())
    children.append(Node("remark", method))
    children += [
        Node("remark", f"doubt ({flag.effect}): {flag.name}: {flag.detail}")
        for flag in measure.flags
    ]
    if measure.capture:
        children.append(Node("capture", f"capture file, SHA-256 {measure.capture}"))
    text = f"{definition.title}, {measure.side}: {value_words(measure, definition)}"
    facts = {"value": measure.value, "unit": measure.unit, "error": measure.error, "n": measure.n}
    return Node("measure", text, id=measure.name, facts=facts, children=tuple(children))


def short_title(definition: MeasureDef) -> str:
    """A measure's title without what stands in brackets."""
    return definition.title.partition(" (")[0]
