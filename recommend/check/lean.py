"""What outcomes lean on: each figure moved within its range, one at a time and all together.

What moves is every figure that is not known well. Exempt are limits that only notes, stops and
nevers read (healthy adults do not reach them), and the figures of captures and trials, which
decide nothing here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.loading import Catalogue
from recommend.check.mutants import with_limit
from recommend.check.people import FILE, SEED, People
from recommend.coverage.crowd import Crowd
from recommend.coverage.population import Population, figures_in, load_population
from recommend.coverage.run import CoverageQuestion
from recommend.coverage.sampling import Sampler
from recommend.errors import InputError, Place
from recommend.match.ranking import Ranking
from recommend.match.weighing import Way
from recommend.measure.model import SIDES
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE, about

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


def _ends(range_: list[float] | None) -> tuple[float | None, float | None]:
    return (range_[0], range_[1]) if range_ else (None, None)


def _in_book(change: Callable[[Rulebook, float], Rulebook]) -> Callable[[World, float], World]:
    """The world with another rulebook."""
    return lambda world, to: replace(world, book=change(world.book, to))


def _limits(book: Rulebook) -> Iterator[Movable]:
    for name, limit in book.limits.items():
        targets, compared = _uses(book, name)
        for index, value in enumerate(limit.values if targets or compared else ()):
            if value.kind in _KNOWN or (value.kind == "derived" and value.range_ is None):
                continue
            where = ", ".join(value.where.values())
            change = _in_book(partial(with_limit, name, index))
            yield Movable(f"limits {name}" + (f" ({where})" if where else ""), value.kind,
                          value.value, *_ends(value.range_), change, targets)  # fmt: skip


def _uses(book: Rulebook, limit: str) -> tuple[bool, bool]:
    """Whether it is the target of a need but a never; whether a rule but a note compares it."""
    targets = compared = False
    for rule in book.rules:
        wishes = [need for need in rule.asks if need.strength != "never"]
        targets |= any(need.limit == limit for need in wishes)
        if rule.concludes or wishes:
            compared |= limit in rule.limits
    return targets, compared


def _errors(book: Rulebook) -> Iterator[Movable]:
    read = {about(fact).of for fact in book.read if about(fact).margins}
    for name, definition in book.measures.items():
        error = definition.error
        if error is None or error.kind in _KNOWN or name not in read:
            continue
        yield Movable(f"measures {name} error", error.kind, error.single, *_ends(error.range_),
                      _in_book(partial(_with_error, name)))  # fmt: skip


def _with_error(name: str, book: Rulebook, to: float) -> Rulebook:
    old = book.measures[name]
    assert old.error is not None
    error = old.error.model_copy(update={"single": to})
    measures = {**book.measures, name: old.model_copy(update={"error": error})}
    return replace(book, measures=measures)


def _parameters(book: Rulebook) -> Iterator[Movable]:
    for name, figure in book.parameters.sourced.items():
        if name.partition(".")[0] in _DECIDE and (figure.range_ or figure.kind not in _KNOWN):
            yield Movable(f"parameters {name}", figure.kind, figure.value, *_ends(figure.range_),
                          _in_book(partial(_with_parameter, name)), True)  # fmt: skip


def _with_parameter(name: str, book: Rulebook, to: float) -> Rulebook:
    return replace(book, parameters=book.parameters.changed({name: to}))


def _tolerances(book: Rulebook) -> Iterator[Movable]:
    factor = book.parameters.lean.tolerance_factor
    for name, one in book.attributes.items():
        if one.kind not in _KNOWN:
            yield Movable(f"attributes {name} tolerance", one.kind, one.tolerance,
                          one.tolerance / factor, one.tolerance * factor,
                          _in_book(partial(_with_tolerance, name)), True)  # fmt: skip


def _with_tolerance(name: str, book: Rulebook, to: float) -> Rulebook:
    one = book.attributes[name].model_copy(update={"tolerance": to})
    return replace(book, attributes={**book.attributes, name: one})


def _figures(population: Population) -> Iterator[Movable]:
    data = population.model_dump(by_alias=True)
    data.pop("agreement", None)  # nothing is drawn from it
    for path, figure in figures_in(data):
        if figure["kind"] in _KNOWN or path[0] == "fixed":
            continue
        if figure["kind"] == "derived" and not figure["range"]:
            continue
        yield Movable("population " + _words(path, data), figure["kind"], figure["value"],
                      *_ends(figure["range"]), partial(_with_figure, path=path),
                      note=figure["note"] or "")  # fmt: skip


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
    if path[0] in ("sex", "words") or {"shares", "purpose"} & set(path):  # they go on adding up
        for key, other in holder.items():
            if key != path[-1]:
                other["value"] *= (1 - to) / (1 - was)
    return replace(world, population=Population.model_validate(data))


def _without_ranges(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _without_ranges(v) for key, v in data.items() if key != "range"}
    return [_without_ranges(part) for part in data] if isinstance(data, list) else data


_GROUP: Way = "pair"
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class LeanMoves:
    """What changes when figures are moved, over the same adults.

    Attributes
    ----------
    types, notes, firsts : share of the adults of whom a foot changes its type, whose notes
        change, and to whom other pairs are offered first.
    headline : change of the share of adults whom the catalogue serves.
    """

    types: float
    notes: float
    firsts: float
    headline: float

    @property
    def most(self) -> float:
        """The largest of them, by which figures are put in order."""
        return max(self.types, self.notes, self.firsts, abs(self.headline))


@dataclass(frozen=True, slots=True)
class Leaning:
    """One figure, and the larger of what its two ends change."""

    figure: Movable
    moves: LeanMoves


@dataclass(frozen=True, slots=True)
class LeanReport:
    """All of it: figures by how much they matter, those without a range, and all together."""

    adults: int
    figures: tuple[Leaning, ...]
    without_range: tuple[str, ...]
    together: tuple[LeanMoves, ...]

    @property
    def idle(self) -> tuple[Leaning, ...]:
        """Figures that change nothing, wherever in their range they lie."""
        return tuple(one for one in self.figures if not one.moves.most)


@dataclass(frozen=True, slots=True)
class _Outcome:
    types: NDArray[np.int8]
    notes: NDArray[np.bool_]
    firsts: list[tuple[str, ...]]
    headline: float

    def against(self, base: _Outcome) -> LeanMoves:
        differ = [a != b for a, b in zip(self.firsts, base.firsts, strict=True)]
        return LeanMoves(
            float((self.types != base.types).any(axis=0).mean()),
            float((self.notes != base.notes).any(axis=0).mean()),
            float(np.mean(differ)) if differ else 0.0,
            self.headline - base.headline,
        )


class _Worlds:
    """Judges the same adults in one world after another."""

    def __init__(self, world: World, catalogue: Catalogue, adults: int) -> None:
        self.catalogue, self.adults = catalogue, adults
        self._ranking = Ranking(world.book, catalogue)
        self.base = self.outcome(world)

    def outcome(self, world: World, ranks_anew: bool = False) -> _Outcome:
        book = world.book
        customers = Sampler(world.population).block(SEED, 0, self.adults)
        people = People(book, world.population, customers)
        feet = people.feet
        types = np.stack([feet[side].axes[FOOT_TYPE] for side in SIDES])
        rules = [rule.id for rule in book.noting()]
        notes = np.stack([feet["left"].holds[r] | feet["right"].holds[r] for r in rules])
        ranking = Ranking(book, self.catalogue) if ranks_anew else self._ranking
        cases = people.cases(ranking)
        groups = cases.first_groups(_GROUP)
        return _Outcome(types, notes, [groups[at] for at in cases.case], self._served(world))

    def _served(self, world: World) -> float:
        crowd = Crowd("modelled", world.population, self.adults, SEED)
        question = CoverageQuestion(world.book, self.catalogue, crowd, sensitivity=False)
        assessor = question.assessor()
        tally = crowd.tally(world.book, assessor.classes, count=self.adults)
        return assessor.headline(self.catalogue, tally).value


def lean_of(book: Rulebook, catalogue: Catalogue, progress: Progress | None = None) -> LeanReport:
    """Move every figure within its range over modelled adults, and say what changes.

    Raises
    ------
    InputError
        If the rulebook has no population, or its file does not fit.
    """
    file = Path(book.folder) / FILE
    if not file.is_file():
        raise InputError(Place(book.folder), f"no {FILE} is here, so nobody can be modelled")
    world = World(book, load_population(file, set(book.sources)))
    judge = _Worlds(world, catalogue, book.parameters.lean.adults)
    every = list(movables(world))
    ranged = [one for one in every if one.low is not None and one.high is not None]
    draws = book.parameters.lean.together
    found = []
    for done, one in enumerate(ranged, 1):
        found.append(Leaning(one, _worst(judge, world, one)))
        if progress:
            progress(done, len(ranged) + draws)
    found.sort(key=lambda one: (-one.moves.most, one.figure.name))
    return LeanReport(
        adults=judge.adults,
        figures=tuple(found),
        without_range=tuple(one.name for one in every if one.low is None),
        together=tuple(_together(judge, world, ranged, draws)),
    )


def _worst(judge: _Worlds, world: World, one: Movable) -> LeanMoves:
    """The larger change of the two ends, each count by itself."""
    ends = [end for end in (one.low, one.high) if end is not None and end != one.value]
    made = [
        judge.outcome(one.moved(world, end), one.ranks_anew).against(judge.base) for end in ends
    ]
    if not made:
        return LeanMoves(0.0, 0.0, 0.0, 0.0)
    return LeanMoves(
        max(m.types for m in made),
        max(m.notes for m in made),
        max(m.firsts for m in made),
        max((m.headline for m in made), key=abs),
    )


def _together(
    judge: _Worlds, world: World, figures: Iterable[Movable], draws: int
) -> Iterator[LeanMoves]:
    """Every figure drawn evenly within its range at once, so many times, seeded."""
    ends = [(one, one.low, one.high) for one in figures]
    stream = np.random.default_rng(SEED)
    for _ in range(draws):
        moved = world
        for one, low, high in ends:
            if low is not None and high is not None:
                moved = one.moved(moved, float(stream.uniform(low, high)))
        yield judge.outcome(moved, True).against(judge.base)
