"""Drawn customers as the columns of facts that the vectorised rulebook reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import hypot, sqrt

import numpy as np

from recommend.coverage.population import Population
from recommend.coverage.rows import Array
from recommend.coverage.sampling import Customers, Words
from recommend.infer.facts import number_facts, told_facts
from recommend.infer.many import Column, ManyConclusions, columns_of, conclude_many
from recommend.measure.definitions import MeasureDef
from recommend.measure.derived import derivations, error_of, parts_of, reckoned
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import YES_NO, Fact, part_of

NO, YES = (np.array([YES_NO.index(word)], np.int8) for word in ("no", "yes"))


class FactColumns:
    """Builds, for one rulebook and population, only the facts that some rule reads."""

    def __init__(self, book: Rulebook, population: Population) -> None:
        self.book, self.population = book, population
        self.errors = _errors(book, population)
        self.shared = dict(self._same_for_all())

    def of_foot(self, customers: Customers, side: Side) -> dict[str, Column]:
        """Fact columns of the feet on `side`, as `infer.many` describes them."""
        codes = self.book.vocabulary.words["side"].index(side)
        out = {**self.shared, "side": np.array([codes], np.int8)}
        for name, column in {**customers.own, **customers.feet[side]}.items():
            if isinstance(column, Words):
                fact = name if name in self.book.measures else Fact("visit", name).name
                if fact in self.book.read:
                    out[fact] = column.codes_in(self.book.vocabulary.words[fact])
                if name in self.book.measures:
                    out[Fact("known", name).name] = (column.codes >= 0).astype(np.int8)
            elif name in self.book.measures:
                out |= dict(self._numbers(name, column))
        for name, values in self._derived(customers, side):
            out |= dict(self._numbers(name, values))
        child = np.array(customers.texts("age-band")) == "child"
        out |= age_columns(self.book, child)
        return out

    def concluded(self, customers: Customers, side: Side) -> ManyConclusions:
        """What the rulebook says of those feet."""
        return conclude_many(self.book, self.of_foot(customers, side), customers.count)

    def _derived(self, customers: Customers, side: Side) -> Iterator[tuple[str, Array]]:
        """Measures that follow from those of the customers, and are not there themselves."""
        values = {
            foot: {n: c for n, c in customers.feet[foot].items() if not isinstance(c, Words)}
            for foot in SIDES
        }
        for name, how in derivations(self.book.measures).items():
            if name not in customers.feet[side]:
                found = reckoned(how, side, values)
                if found is not None:
                    values[side][name] = found
                    yield name, found

    def _numbers(self, name: str, values: Array) -> Iterator[tuple[str, Column]]:
        error, known = self.errors.get(name, 0.0), self.book.measures[name].error
        if known and known.most is not None and error > known.most:
            return  # too unsure for any rule to read, as at the counter
        yield from number_facts(name, values, error, self.book.parameters, self.book.read).items()
        if Fact("known", name).name in self.book.read:
            yield Fact("known", name).name, np.isfinite(values).astype(np.int8)

    def _same_for_all(self) -> Iterator[tuple[str, Column]]:
        words = self.book.vocabulary.words
        for name in self.book.measures:
            yield Fact("known", name).name, NO
        yield from self._told()
        for name, qualifiers in _qualifiers(self.book, self.population).items():
            for qualifier, word in qualifiers.items():
                fact = part_of(name, qualifier)
                if fact in words:
                    yield fact, np.array([words[fact].index(word)], np.int8)
        for name, figure in self.population.fixed.items():
            yield Fact("known", name).name, YES
            value, parameters = np.array([figure.value]), self.book.parameters
            yield from number_facts(name, value, 0.0, parameters).items()

    def _told(self) -> Iterator[tuple[str, Column]]:
        """What everybody answers and where nobody hurts, unless nobody was asked."""
        asked = self.population.answers == "no"
        answers = {name: one.calm for name, one in self.book.questions.items() if asked}
        facts = told_facts(self.book, answers, () if asked else None)
        yield from columns_of([facts], self.book.vocabulary).items()


def age_columns(book: Rulebook, child: Array) -> dict[str, Column]:
    """What follows from being a child or not, (n,): the norm of the posture, and that it grows."""
    aged, grows = part_of("fpi", "age"), Fact("known", "growing").name
    found: dict[str, Column] = {grows: child.astype(np.int8)}
    if words := book.vocabulary.words.get(aged):
        age = np.where(child, words.index("child"), words.index("grown"))
        found[aged] = age.astype(np.int8)
    return found


def _qualifiers(book: Rulebook, population: Population) -> dict[str, Mapping[str, str]]:
    """By measure, the qualifiers of every reading of it; derived ones have those of a part."""
    found: dict[str, Mapping[str, str]] = {
        n: q.qualifiers for n, q in population.quantities.items()
    }
    found |= {name: one.qualifiers for name, one in population.derived.items()}
    for name, how in derivations(book.measures).items():
        found.setdefault(name, found.get(how.parts[0], {}))
    return found


def _errors(book: Rulebook, population: Population) -> dict[str, float]:
    """Standard error of each measure, from the rulebook and the usual number of readings."""
    found: dict[str, float] = {}
    for name, definition in book.measures.items():
        drawn = population.quantities.get(name) or population.derived.get(name)
        readings = drawn.readings.value if drawn and drawn.readings else 1.0
        found[name] = error_of_mean(definition, readings)
    for name, how in derivations(book.measures).items():
        if name not in population.quantities and name not in population.derived:
            parts = [found.get(part, 0.0) for _, part in parts_of(how, "left")]
            found[name] = error_of(how, found[name], parts)
    return found


def error_of_mean(definition: MeasureDef, readings: float) -> float:
    """Standard error of the mean of so many readings, in the unit of the measure."""
    if definition.error is None:
        return 0.0
    return hypot(definition.error.single / sqrt(readings), definition.error.floor)
