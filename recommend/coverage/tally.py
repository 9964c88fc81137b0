"""From customers to cases: columns of facts, and customers counted by all that decides.

What a customer can be sold depends only on which need rules hold for each foot, on the size
and on whether a note withholds the shortlist; a million customers come down to some
thousands of such cases. Tallies of parts add up to the tally of the whole, exactly, which is
what makes chunks, several workers and one machine agree.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from recommend.coverage.population import SEXES, Population
from recommend.coverage.rows import Array, together
from recommend.coverage.sampling import Customers, Words
from recommend.infer.facts import number_facts, told_facts
from recommend.infer.many import Column, ManyConclusions, columns_of, conclude_many
from recommend.match.sizes import SizeClasses
from recommend.measure.definitions import MeasureDef
from recommend.measure.derived import derivations, error_of, parts_of, reckoned
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE, YES_NO, Fact, part_of

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


BITS = 64
SMALL = 2**12  # codes below it are taken as they are, others are numbered anew
OF_FOOT = ("foot-type", "width")
PEOPLE = ("purpose", "age-band", "sex")


@dataclass(frozen=True, slots=True)
class Tally:
    """Cases and how many customers each stands for.

    Attributes
    ----------
    cases : shape (g, c), one row per case, int64; see `Layout` for the columns.
    counts : customers of each case, shape (g,).
    """

    cases: Array
    counts: Array

    @property
    def customers(self) -> int:
        """All customers counted."""
        return int(self.counts.sum())


@dataclass(frozen=True, slots=True)
class Layout:
    """What stands in the columns of a case.

    For each foot the need rules that hold, as bits, `words` columns of them; then the foot type and
    the width of each foot; who it is, as codes of `people_of`; the size class; whether a stop
    withholds the shortlist.
    """

    needs: tuple[str, ...]
    stops: tuple[str, ...]

    @property
    def words(self) -> int:
        """Columns that the need rules of one foot take."""
        return -(-len(self.needs) // BITS)

    @property
    def of_needs(self) -> tuple[slice, slice]:
        """Columns of the need rules, left and right."""
        return slice(0, self.words), slice(self.words, 2 * self.words)

    def columns(self, what: str) -> tuple[int, int]:
        """Columns of a way to split the customers, for the left foot and for the right."""
        first = 2 * self.words
        if what in OF_FOOT:
            at = first + 2 * OF_FOOT.index(what)
            return at, at + 1
        one = self.size if what == "size" else first + 4 + PEOPLE.index(what)
        return one, one

    @property
    def size(self) -> int:
        """Column of the size class."""
        return 2 * self.words + 4 + len(PEOPLE)

    @property
    def stop(self) -> int:
        """Column that is 1 when a stop withholds the shortlist."""
        return self.size + 1

    def unpack(self, words: Array) -> Array:
        """The rules that hold, bool, shape (n, rules), from their bits, shape (n, words)."""
        bits = np.unpackbits(np.ascontiguousarray(words).view(np.uint8), axis=1)
        return bits[:, : len(self.needs)].astype(bool)

    def pack(self, holds: Array) -> Array:
        """Bits of (n, rules) as (n, words) int64."""
        packed = np.packbits(holds, axis=1)
        padded = np.zeros((len(holds), self.words * BITS // 8), np.uint8)
        padded[:, : packed.shape[1]] = packed
        return padded.view(np.int64)


def layout_of(book: Rulebook) -> Layout:
    """The layout of cases under `book`."""
    needs = tuple(rule.id for rule in book.rules if rule.stage == "need")
    return Layout(needs, tuple(rule.id for rule in book.noting("stop")))


def people_of(book: Rulebook) -> dict[str, tuple[str, ...]]:
    """Who a customer can be: the words of `PEOPLE`, in the order of their codes."""
    words = book.vocabulary.words
    said = {name: tuple(words.get(Fact("visit", name).name, ())) for name in PEOPLE}
    return {**said, "sex": SEXES}


def cases_of_customers(
    book: Rulebook, facts: FactColumns, customers: Customers, sizes: SizeClasses
) -> Array:
    """The case of each customer, shape (n, c), as `Layout` tells."""
    columns = {side: facts.of_foot(customers, side) for side in SIDES}
    size = sizes.of_lengths(customers.lengths(sizes.parameters))
    return cases_of(book, columns, size, customers.own)


def cases_of(
    book: Rulebook,
    columns: Mapping[Side, Mapping[str, Column]],
    size: Array,
    own: Mapping[str, object],
) -> Array:
    """The case of each customer, shape (n, c), as `Layout` tells; `own` says who they are."""
    layout = layout_of(book)
    stopped = np.zeros(len(size), bool)
    needs: list[Array] = []
    feet: dict[str, list[Array]] = {name: [] for name in OF_FOOT}
    for side in SIDES:
        result = conclude_many(book, columns[side], len(size))
        needs.append(layout.pack(np.array([result.holds[rule] for rule in layout.needs]).T))
        for name, axis in zip(OF_FOOT, (FOOT_TYPE, "width"), strict=True):
            feet[name].append(result.axes.get(axis, np.full(len(size), -1)))
        for rule in layout.stops:
            stopped |= result.holds[rule]
    told = ((own.get(name), words) for name, words in people_of(book).items())
    unknown = np.full(len(size), -1)
    people = [one.codes_in(words) if isinstance(one, Words) else unknown for one, words in told]
    each = [column for name in OF_FOOT for column in feet[name]]
    return np.column_stack([*needs, *each, *people, size, stopped]).astype(np.int64)


def add(tallies: Iterable[Tally]) -> Tally:
    """The tally of all customers together."""
    parts = list(tallies)
    return tally(
        np.concatenate([part.cases for part in parts]),
        np.concatenate([part.counts for part in parts]),
    )


def tally(cases: Array, counts: Array | None = None) -> Tally:
    """Count equal cases, in ascending order of their columns."""
    if counts is None:
        counts = np.ones(len(cases), np.int64)
    first, of = together(*(_small(column) for column in cases.T))
    return Tally(cases[first], np.bincount(of, counts).astype(np.int64))


def _small(column: Array) -> Array:
    """The numbers of a column as numbers from 0 that are not large, in the same order."""
    low, high = int(column.min(initial=0)), int(column.max(initial=0))
    if high - low < SMALL:
        return column - low
    return np.asarray(np.unique(column, return_inverse=True)[1]).ravel()
