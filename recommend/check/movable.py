"""Every figure that is not known well, and how a rulebook and a population are with it moved.

Exempt are limits that only notes, stops and nevers read (healthy adults do not reach them), and
the figures of captures and trials, which decide nothing here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from recommend.check.mutants import with_limit
from recommend.coverage.population import Population
from recommend.parameters import Figure
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NeedsThen, NoteThen
from recommend.rulebook.terms import Number
from recommend.rulebook.vocabulary import about

# Groups of parameters that decide what a customer is told.
_DECIDE = ("noise", "rank", "sizing")
_KNOWN = ("published", "common-practice")


@dataclass(frozen=True, slots=True)
class World:
    """A rulebook, and the people it is held against."""

    book: Rulebook
    population: Population


@dataclass(frozen=True, slots=True)
class Movable:
    """One figure with its plausible range.

    Attributes
    ----------
    name : file and figure, such as ``limits peak-upper (walking, vertical)``.
    value, low, high : as it is, and within what it may plausibly lie; both None without a range.
    moved : the world with the figure at another value.
    ranks_anew : whether products must be judged anew, not only feet.
    note : what the file says of it.
    """

    name: str
    kind: str
    value: float
    low: float | None
    high: float | None
    moved: Callable[[World, float], World]
    ranks_anew: bool = False
    note: str = ""


def movables(world: World) -> Iterator[Movable]:
    """Every figure that is assumed, from memory or derived, in the order of the files."""
    yield from _limits(world.book)
    yield from _errors(world.book)
    yield from _parameters(world.book)
    yield from _tolerances(world.book)
    yield from _figures(world.population)


def _ends(figure: Figure) -> tuple[float | None, float | None]:
    return (figure.range_[0], figure.range_[1]) if figure.range_ else (None, None)


def _limits(book: Rulebook) -> Iterator[Movable]:
    for name, limit in book.limits.items():
        targets, compared = _uses(book, name)
        for index, value in enumerate(limit.values if targets or compared else ()):
            if value.kind in _KNOWN or (value.kind == "derived" and value.range_ is None):
                continue
            where = ", ".join(value.where.values())
            change = partial(_with_limit, name=name, index=index)
            yield Movable(f"limits {name}" + (f" ({where})" if where else ""), value.kind,
                          value.value, *_ends(value), change, targets)  # fmt: skip


def _uses(book: Rulebook, limit: str) -> tuple[bool, bool]:
    """Whether it is the target of a need but a never; whether a rule but a note compares it."""
    targets = compared = False
    for rule in book.rules:
        then = rule.rule.then
        if isinstance(then, NeedsThen):
            if all(need.strength == "never" for need in then.needs):
                continue
            targets |= any(n.limit == limit and n.strength != "never" for n in then.needs)
        if not isinstance(then, NoteThen):
            terms = (term for branch in (*rule.holds, *rule.fails) for term in branch)
            compared |= any(isinstance(t, Number) and t.limit == limit for t in terms)
    return targets, compared


def _with_limit(world: World, to: float, *, name: str, index: int) -> World:
    return replace(world, book=with_limit(world.book, name, index, to))


def _errors(book: Rulebook) -> Iterator[Movable]:
    read = {about(fact).of for fact in book.read if about(fact).part in ("low", "high")}
    for name, definition in book.measures.items():
        error = definition.error
        if error is None or error.kind in _KNOWN or name not in read:
            continue
        low, high = error.range_ or (None, None)
        yield Movable(f"measures {name} error", error.kind, error.single, low, high,
                      partial(_with_error, name=name))  # fmt: skip


def _with_error(world: World, to: float, *, name: str) -> World:
    book, old = world.book, world.book.measures[name]
    assert old.error is not None
    error = old.error.model_copy(update={"single": to})
    measures = {**book.measures, name: old.model_copy(update={"error": error})}
    return replace(world, book=replace(book, measures=measures))


def _parameters(book: Rulebook) -> Iterator[Movable]:
    for name, figure in book.parameters.sourced.items():
        if name.partition(".")[0] in _DECIDE and (figure.range_ or figure.kind not in _KNOWN):
            yield Movable(f"parameters {name}", figure.kind, figure.value, *_ends(figure),
                          partial(_with_parameter, name=name), True)  # fmt: skip


def _with_parameter(world: World, to: float, *, name: str) -> World:
    changed = world.book.parameters.changed({name: to})
    return replace(world, book=replace(world.book, parameters=changed))


def _tolerances(book: Rulebook) -> Iterator[Movable]:
    factor = book.parameters.lean.tolerance_factor
    for name, one in book.attributes.items():
        if one.kind not in _KNOWN:
            yield Movable(f"attributes {name} tolerance", one.kind, one.tolerance,
                          one.tolerance / factor, one.tolerance * factor,
                          partial(_with_tolerance, name=name), True)  # fmt: skip


def _with_tolerance(world: World, to: float, *, name: str) -> World:
    book = world.book
    one = book.attributes[name].model_copy(update={"tolerance": to})
    return replace(world, book=replace(book, attributes={**book.attributes, name: one}))


def _figures(population: Population) -> Iterator[Movable]:
    data = population.model_dump(by_alias=True)
    data.pop("agreement", None)  # nothing is drawn from it
    for path, figure in _found(data, ()):
        if figure["kind"] in _KNOWN or path[0] == "fixed":
            continue
        low, high = figure["range"] or (None, None)
        if figure["kind"] == "derived" and low is None:
            continue
        yield Movable("population " + _words(path, data), figure["kind"], figure["value"],
                      low, high, partial(_with_figure, path=path),
                      note=figure["note"] or "")  # fmt: skip


def _found(data: Any, path: tuple[Any, ...]) -> Iterator[tuple[tuple[Any, ...], dict[str, Any]]]:
    if isinstance(data, dict) and {"value", "kind"} <= set(data):
        yield path, data
    elif isinstance(data, (dict, list)):
        for key, part in data.items() if isinstance(data, dict) else enumerate(data):
            yield from _found(part, (*path, key))


def _words(path: tuple[Any, ...], data: Any) -> str:
    """A figure's path in words: pairs by what they are between."""
    if path[:2] == ("correlations", "pairs"):
        return "correlation " + " with ".join(data["correlations"]["pairs"][path[2]]["between"])
    if path[-1] == "otherwise":
        return "correlation of pairs that are not listed"
    left_out = ("quantities", "norm", "everyone", "correlations", "classes", "shares", "words")
    return " ".join(str(step) for step in path if step not in left_out)


def _with_figure(world: World, to: float, *, path: tuple[Any, ...]) -> World:
    data = _without_ranges(world.population.model_dump(by_alias=True))
    holder = data
    for step in path[:-1]:
        holder = holder[step]
    was = holder[path[-1]]["value"]
    holder[path[-1]]["value"] = to
    if path[0] in ("sex", "words") or "shares" in path:  # shares go on adding up to 1
        for key, other in holder.items():
            if key != path[-1]:
                other["value"] *= (1 - to) / (1 - was)
    return replace(world, population=Population.model_validate(data))


def _without_ranges(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _without_ranges(v) for key, v in data.items() if key != "range"}
    return [_without_ranges(part) for part in data] if isinstance(data, list) else data
