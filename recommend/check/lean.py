"""What outcomes lean on: each figure moved within its range, one at a time and all together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.loading import Catalogue
from recommend.check.movable import Movable, World, movables
from recommend.check.people import FILE, SEED, People
from recommend.coverage.crowd import Crowd
from recommend.coverage.population import load_population
from recommend.coverage.run import Question
from recommend.coverage.sampling import Sampler
from recommend.errors import InputError, Place
from recommend.infer.many import ManyConclusions
from recommend.match.cases import cases_of
from recommend.match.ranking import Ranking
from recommend.match.sizes import longer_lengths
from recommend.match.weighing import Way
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NoteThen
from recommend.rulebook.vocabulary import FOOT_TYPE

_GROUP: Way = "pair"
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Moves:
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
    moves: Moves


@dataclass(frozen=True, slots=True)
class Lean:
    """All of it: figures by how much they matter, those without a range, and all together."""

    adults: int
    figures: tuple[Leaning, ...]
    without_range: tuple[str, ...]
    together: tuple[Moves, ...]

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

    def against(self, base: _Outcome) -> Moves:
        differ = [a != b for a, b in zip(self.firsts, base.firsts, strict=True)]
        return Moves(
            float((self.types != base.types).any(axis=0).mean()),
            float((self.notes != base.notes).any(axis=0).mean()),
            float(np.mean(differ)) if differ else 0.0,
            self.headline - base.headline,
        )


class _Judge:
    """Judges the same adults in one world after another."""

    def __init__(self, world: World, catalogue: Catalogue, adults: int) -> None:
        self.catalogue, self.adults = catalogue, adults
        self._ranking = Ranking(world.book, catalogue)
        self.base = self.outcome(world)

    def outcome(self, world: World, ranks_anew: bool = False) -> _Outcome:
        book = world.book
        customers = next(Sampler(world.population).blocks(self.adults, SEED))
        people = People(book, world.population, customers)
        feet = people.feet
        types = np.stack([feet[side].axes[FOOT_TYPE] for side in SIDES])
        rules = [rule.id for rule in book.rules if isinstance(rule.rule.then, NoteThen)]
        notes = np.stack([feet["left"].holds[r] | feet["right"].holds[r] for r in rules])
        ranking = Ranking(book, self.catalogue) if ranks_anew else self._ranking
        return _Outcome(types, notes, _firsts(ranking, people, feet), self._served(world))

    def _served(self, world: World) -> float:
        crowd = Crowd("modelled", world.population, self.adults, SEED)
        question = Question(world.book, self.catalogue, crowd, sensitivity=False)
        assessor = question.assessor()
        tally = crowd.tally(world.book, assessor.classes, count=self.adults)
        return assessor.headline(self.catalogue, tally).value


def _firsts(
    ranking: Ranking, people: People, feet: Mapping[Side, ManyConclusions]
) -> list[tuple[str, ...]]:
    """The group of pairs that comes first for each adult."""
    cases = cases_of(ranking, feet, _lengths(people))
    groups = cases.first_groups(_GROUP)
    return [groups[at] for at in cases.case]


def _lengths(people: People) -> NDArray[np.float64]:
    """The length in mm a pair is made for: the longer foot, and what its purpose adds."""
    customers, parameters = people.customers, people.book.parameters
    left, right = (np.asarray(customers.feet[side]["foot-length"], np.float64) for side in SIDES)
    purposes, ages = customers.texts("purpose"), customers.texts("age-band")
    return longer_lengths([left, right], purposes, ages, parameters)


def lean_of(book: Rulebook, catalogue: Catalogue, progress: Progress | None = None) -> Lean:
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
    judge = _Judge(world, catalogue, book.parameters.lean.adults)
    every = list(movables(world))
    ranged = [one for one in every if one.low is not None and one.high is not None]
    draws = book.parameters.lean.together
    found = []
    for done, one in enumerate(ranged, 1):
        found.append(Leaning(one, _worst(judge, world, one)))
        if progress:
            progress(done, len(ranged) + draws)
    found.sort(key=lambda one: (-one.moves.most, one.figure.name))
    return Lean(
        adults=judge.adults,
        figures=tuple(found),
        without_range=tuple(one.name for one in every if one.low is None),
        together=tuple(_together(judge, world, ranged, draws)),
    )


def _worst(judge: _Judge, world: World, one: Movable) -> Moves:
    """The larger change of the two ends, each count by itself."""
    ends = [end for end in (one.low, one.high) if end is not None and end != one.value]
    made = [
        judge.outcome(one.moved(world, end), one.ranks_anew).against(judge.base) for end in ends
    ]
    if not made:
        return Moves(0.0, 0.0, 0.0, 0.0)
    return Moves(
        max(m.types for m in made),
        max(m.notes for m in made),
        max(m.firsts for m in made),
        max((m.headline for m in made), key=abs),
    )


def _together(
    judge: _Judge, world: World, figures: Iterable[Movable], draws: int
) -> Iterator[Moves]:
    """Every figure drawn evenly within its range at once, so many times, seeded."""
    ends = [(one, one.low, one.high) for one in figures]
    stream = np.random.default_rng(SEED)
    for _ in range(draws):
        moved = world
        for one, low, high in ends:
            if low is not None and high is not None:
                moved = one.moved(moved, float(stream.uniform(low, high)))
        yield judge.outcome(moved, True).against(judge.base)
