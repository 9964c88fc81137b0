"""The same feet with other readings: many what-ifs at once, concluded by the array engine."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from recommend.dataclass import dataclass
from recommend.infer.assess import Assessment
from recommend.infer.facts import facts_of, reading_facts
from recommend.infer.many import Columns, ManyConclusions, columns_of, compiled, conclude_many
from recommend.infer.program import Program
from recommend.measure.definitions import Derivation
from recommend.measure.derived import derivations, parts_of, reckoned, turning_points
from recommend.measure.model import SIDES, Measure, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.naming import DECIMALS
from recommend.rulebook.vocabulary import about

Floats = NDArray[np.float64]
Key = tuple[Side, str]  # a foot and a measure
Readings = Mapping[Key, Floats]
Feet = Mapping[Side, ManyConclusions]

LENGTH = "foot-length"
STEP = 10.0**-DECIMALS  # what rules compare is rounded to this


@dataclass
class Variations:
    """One assessed visit, to be concluded again with other readings.

    Parameters
    ----------
    assessment : the visit as it was.
    book : the rulebook.
    """

    assessment: Assessment
    book: Rulebook
    _programs: dict[tuple[Side, frozenset[str]], Program] = field(default_factory=dict, repr=False)
    _redraws: dict[tuple[str, int, tuple[float, ...]], dict[Key, Floats]] = field(
        default_factory=dict, repr=False
    )

    @cached_property
    def _base(self) -> Mapping[Side, Columns]:
        """Facts of the visit as it was, as columns of one row."""
        visit, feet = self.assessment.visit, self.assessment.feet
        facts = {s: facts_of(visit, s, feet[s].measures, self.book) for s in SIDES}
        return {s: columns_of([facts[s]], self.book.vocabulary) for s in SIDES}

    @cached_property
    def derived(self) -> tuple[tuple[Side, str, Derivation], ...]:
        """Measures of the visit that follow from others, those that others follow from first."""
        return tuple(
            (side, name, how)
            for name, how in derivations(self.book.measures).items()
            for side in SIDES
            if self._follows(side, name, how)
        )

    def _follows(self, side: Side, name: str, how: Derivation) -> bool:
        measure = self.assessment.feet[side].measures.get(name)
        return measure is not None and measure.follows and all(
            part in self.assessment.feet[foot].measures for foot, part in parts_of(how, side)
        )  # fmt: skip

    @cached_property
    def seed(self) -> str:
        """SHA-256 that readings are redrawn from: the same readings and rules, the same redraws."""
        running = hashlib.sha256(self.book.digest.encode())
        for side, foot in self.assessment.feet.items():
            for name, measure in sorted(foot.measures.items()):
                running.update(f"{side} {name} {measure.value!r} {measure.error!r}\n".encode())
        return running.hexdigest()

    def measure(self, key: Key) -> Measure:
        """The reading as it was taken."""
        return self.assessment.feet[key[0]].measures[key[1]]

    def readings(self) -> tuple[Key, ...]:
        """Readings that were taken, with a number, and do not follow from others.

        One reading that stands for both feet is named once, by the left one.
        """
        following = {(side, name) for side, name, _ in self.derived}
        return tuple(
            (side, name)
            for side in SIDES
            for name, measure in sorted(self.assessment.feet[side].measures.items())
            if not isinstance(measure.value, str) and (side, name) not in following
            if not measure.answer
            if side == SIDES[0] or not measure.shared
        )

    def foot_of(self, key: Key) -> Side | None:
        """The foot a reading is of; None when one reading stands for both."""
        return None if self.measure(key).shared else key[0]

    def possible(self, key: Key) -> tuple[float, float]:
        """The lowest and highest value that a reading can have, by its definition."""
        definition, was = self.book.measures[key[1]], float(self.measure(key).value)
        return min(definition.lowest, was), max(definition.highest, was)

    def conclude(self, readings: Readings, count: int) -> Feet:
        """What the rulebook says of `count` what-ifs; a reading not given stays as it was.

        Parameters
        ----------
        readings : by foot and measure, (count,) values in the measure's unit.
        """
        columns = self._columns(readings)
        return {side: self._concluded(side, columns[side], count) for side in SIDES}

    def _concluded(self, side: Side, columns: Columns, count: int) -> ManyConclusions:
        """As `conclude_many`; readings that vary again are run by the program made before."""
        if count == 1:  # then what varies is compiled in
            return conclude_many(self.book, columns, count)
        varied = frozenset(name for name, column in columns.items() if len(column) > 1)
        if (side, varied) not in self._programs:
            self._programs[side, varied] = compiled(self.book, columns)
        return conclude_many(self.book, columns, count, program=self._programs[side, varied])

    def _columns(self, readings: Readings) -> dict[Side, Columns]:
        columns = {side: dict(self._base[side]) for side in SIDES}
        for side, name, values in self.changed(readings):
            measure = self.assessment.feet[side].measures[name]
            compared = {fact for fact, _ in self.book.constants.get(name, ())}
            columns[side] |= reading_facts(measure, values, self.book.parameters, compared)
        return {side: columns[side] for side in SIDES}

    def changed(self, readings: Readings) -> Iterator[tuple[Side, str, Floats]]:
        """What is given, and what follows from it, foot by foot."""
        given: dict[Side, dict[str, Floats]] = {side: {} for side in SIDES}
        for (of, name), values in readings.items():
            for side in SIDES if self.measure((of, name)).shared else (of,):
                given[side] |= dict.fromkeys(self._of_one_answer(side, name), values)
        for side, name, how in self.derived:
            if any(part in given[foot] for foot, part in parts_of(how, side)):
                whole = {foot: _Filled(given[foot], self, foot) for foot in SIDES}
                given[side][name] = np.asarray(reckoned(how, side, whole), np.float64)
        for side in SIDES:
            yield from ((side, name, values) for name, values in given[side].items())

    def filled(self, key: Key, readings: Readings, count: int) -> Floats:
        """(count,) values of a reading, as given or as it was."""
        values = readings.get(key)
        if values is None:
            values = np.array([float(self.measure(key).value)])
        return np.broadcast_to(values, (count,))

    def longer_foot(self, readings: Readings, count: int) -> Floats | None:
        """(count,) length in mm of the longer foot; None when neither was measured."""
        keys = [(s, LENGTH) for s in SIDES if LENGTH in self.assessment.feet[s].measures]
        if not keys:
            return None
        columns = [self.filled(key, readings, count) for key in keys]
        return np.asarray(np.max(columns, axis=0), np.float64)

    # --- where something can change ----------------------------------------------------------

    def breakpoints(self, key: Key) -> Iterator[float]:
        """Every value of a reading at which a comparison of the rules changes."""
        feet = SIDES if self.measure(key).shared else (key[0],)
        values = {s: {n: m.value for n, m in self._measures(s).items()} for s in SIDES}
        for part in ((foot, name) for foot in feet for name in self._of_one_answer(foot, key[1])):
            yield from self._own(*part)
            for of, derived, how in self.derived:
                if part in parts_of(how, of):
                    for at in self._own(of, derived):
                        yield from turning_points(how, of, part, at, values, STEP)

    def _of_one_answer(self, side: Side, name: str) -> list[str]:
        """The measures that change with a reading because they are its very answer."""
        return [name, *(n for n, one in self._measures(side).items() if one.answer == name)]

    def _measures(self, side: Side) -> Mapping[str, Measure]:
        return self.assessment.feet[side].measures

    def _own(self, side: Side, name: str) -> Iterator[float]:
        """Values at which comparisons that name the measure itself change."""
        margin = self.book.parameters.noise.clearly * (self.measure((side, name)).error or 0.0)
        for fact, limit in self.book.constants.get(name, ()):
            yield limit - about(fact).margins * margin

    # --- redraws ------------------------------------------------------------------------------

    def redrawn(self, seed: str, draws: int, edges: Sequence[float] = ()) -> dict[Key, Floats]:
        """Readings redrawn within their errors, (draws,) each; those that change nothing left out.

        Each is drawn from a normal distribution around the reading with its standard error;
        scores are rounded to whole numbers, as a fitter would write them, and no value leaves
        what its measure can be. Readings are drawn independently of each other, one of the person
        once for both feet; classes carry no error and stay.

        Parameters
        ----------
        seed : a hash in hexadecimal; the same seed gives the same redraws on every machine.
        edges : lengths of foot (mm) at which another size is taken.
        """
        asked = (seed, draws, tuple(edges))
        if asked not in self._redraws:
            stream = np.random.RandomState(0)
            drawn = {key: self._drawn(key, seed, draws, stream) for key in self.readings()}
            self._redraws[asked] = {k: v for k, v in drawn.items() if self._matters(k, v, edges)}
        return dict(self._redraws[asked])

    def _drawn(self, key: Key, seed: str, draws: int, stream: np.random.RandomState) -> Floats:
        """Values of one reading; each has its own seed, so that one reading more changes none.

        The legacy generator is used because its stream is promised never to change.
        """
        measure = self.measure(key)
        digest = hashlib.sha256(f"{seed}/{key[0]}/{key[1]}".encode()).digest()
        stream.seed(np.frombuffer(digest, dtype=">u4").astype(np.uint32))
        values = float(measure.value) + (measure.error or 0.0) * stream.standard_normal(draws)
        whole = np.rint(values) if measure.unit == "score" else values
        return np.clip(whole, *self.possible(key))

    def _matters(self, key: Key, values: Floats, edges: Sequence[float]) -> bool:
        """Whether any redrawn value reaches a limit in play; the others cannot change anything."""
        was = float(self.measure(key).value)
        low, high = min(was, values.min()), max(was, values.max())
        places = [*self.breakpoints(key), *(self.length_edges(key, edges))]
        return any(low <= at <= high for at in places)

    def length_edges(self, key: Key, edges: Sequence[float]) -> Iterator[float]:
        """Values of a foot's length at which another size, or the other foot, decides."""
        side, name = key
        if name != LENGTH:
            return
        yield from edges
        for other in SIDES:  # beyond the other foot's length, this foot is the longer one
            if other != side and LENGTH in self._measures(other):
                yield float(self.measure((other, LENGTH)).value)


class _Filled(dict[str, "Floats | float"]):
    """Readings of one foot: those that are given, else as they were taken."""

    def __init__(self, given: Mapping[str, Floats], of: Variations, side: Side) -> None:
        taken = of.assessment.feet[side].measures
        numbers = {n: float(m.value) for n, m in taken.items() if not isinstance(m.value, str)}
        super().__init__({**numbers, **given})
