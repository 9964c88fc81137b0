"""Two versions of a rulebook: what changed, and what it does to the modelled population."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.loading import Catalogue
from recommend.check.changes import stops_of, weakened
from recommend.check.examples import need_keys
from recommend.check.feet import STRIDES, foot_words, visit_text
from recommend.check.finding import Finding
from recommend.coverage.columns import FactColumns
from recommend.coverage.population import Population, load_population
from recommend.coverage.sampling import Customers, Sampler
from recommend.infer.facts import quantize
from recommend.infer.many import Column, ManyConclusions, conclude_many
from recommend.match.judge import judge
from recommend.match.needs import needs_of
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NeedsThen, NoteThen
from recommend.rulebook.vocabulary import FOOT_TYPE
from recommend.rulebook.words import code, limit_words, then_lines

UNDETERMINED = "undetermined"


@dataclass(frozen=True, slots=True)
class Moved:
    """Feet that go from one outcome to another, and the most ordinary foot among them."""

    was: str
    now: str
    count: int
    foot: str
    visit: str


@dataclass(frozen=True, slots=True)
class Difference:
    """What changed in words, and over the population in numbers.

    Attributes
    ----------
    said : changes in words, in the order of the files.
    feet, customers : how many were drawn.
    types : feet that change type, by transition.
    gained, lost : feet that gain or lose a note, by rule; with the note's level.
    firsts : customers whose first product changes, by kind and transition; empty without a
        catalogue.
    weakened : stops of the old version that the new one weakens.
    """

    said: tuple[str, ...]
    customers: int
    types: tuple[Moved, ...]
    gained: Mapping[str, int]
    lost: Mapping[str, int]
    firsts: Mapping[str, tuple[tuple[str, str, int], ...]]
    weakened: tuple[Finding, ...]


def difference(
    old: Rulebook, new: Rulebook, catalogue: Catalogue | None, count: int, seed: int
) -> Difference:
    """Compare two versions over `count` customers drawn from the new version's population."""
    population = load_population(Path(new.folder) / "population.yaml")
    customers = next(Sampler(population).blocks(count, seed))
    crowds = [_Crowd(book, population, customers) for book in (old, new)]
    gained, lost = _notes(*crowds)
    firsts = {} if catalogue is None else _firsts(crowds[0], crowds[1], catalogue)
    return Difference(
        said=tuple(said_changes(old, new)),
        customers=customers.count,
        types=tuple(_types(*crowds)),
        gained=gained,
        lost=lost,
        firsts=firsts,
        weakened=tuple(_weakened(old, new)),
    )


class _Crowd:
    """The same customers under one version of the rulebook; rows are left feet, then right."""

    def __init__(self, book: Rulebook, population: Population, customers: Customers) -> None:
        self.book, self.count = book, customers.count
        builder = FactColumns(book, population)
        self.errors = builder.errors
        self.columns: dict[Side, dict[str, Column]] = {
            side: builder.of_foot(customers, side) for side in SIDES
        }
        self.done: dict[Side, ManyConclusions] = {
            side: conclude_many(book, self.columns[side], self.count) for side in SIDES
        }

    def types(self, side: Side) -> NDArray[np.str_]:
        names = [*self.book.axes[FOOT_TYPE].values, UNDETERMINED]
        return np.array(names)[self.done[side].axes[FOOT_TYPE]]

    def facts(self, side: Side, row: int) -> dict[str, float | str]:
        out: dict[str, float | str] = {}
        for name, column in self.columns[side].items():
            value = column[row if len(column) > 1 else 0]
            words = self.book.vocabulary.words.get(name)
            if words is None and not np.isnan(value):
                out[name] = float(value)
            elif words is not None and value >= 0:
                out[name] = words[int(value)]
        return {**dict(self._readings(out)), **{n: v for n, v in out.items() if _of_person(n)}}

    def _readings(self, facts: dict[str, float | str]) -> Iterator[tuple[str, float | str]]:
        """Readings made whole again, where the rules read only one of their ends."""
        clearly = self.book.parameters["noise.clearly"]
        for name, definition in self.book.measures.items():
            margin = clearly * self.errors.get(name, 0.0)
            ends = {name: 0.0, f"{name}_low": margin, f"{name}_high": -margin}
            found = [float(facts[n]) + shift for n, shift in ends.items()
                     if isinstance(facts.get(n), float)]  # fmt: skip
            if definition.values and name in facts:
                yield name, facts[name]
            elif found:
                yield name, quantize(found[0])
                if name in STRIDES:
                    yield f"{name}_low", quantize(found[0] - margin)
                for qualifier in definition.qualifiers:
                    fact = f"{name}_{qualifier}"
                    if fact in facts:
                        yield fact, facts[fact]

    def asked(self, row: int) -> dict[Side, tuple[str, ...]]:
        """Rules of needs that hold for both feet of a customer."""
        needs = [r.id for r in self.book.rules if isinstance(r.rule.then, NeedsThen)]
        return {s: tuple(r for r in needs if self.done[s].holds[r][row]) for s in SIDES}


def _types(old: _Crowd, new: _Crowd) -> Iterator[Moved]:
    moves: Counter[tuple[str, str]] = Counter()
    where: dict[tuple[str, str], list[tuple[Side, int]]] = {}
    for side in SIDES:
        was, now = old.types(side), new.types(side)
        for row in np.flatnonzero(was != now):
            key = (str(was[row]), str(now[row]))
            moves[key] += 1
            where.setdefault(key, []).append((side, int(row)))
    for (was_type, now_type), count in moves.most_common():
        near, at = min(where[was_type, now_type][:200], key=lambda one: _oddness(new, *one))
        facts = new.facts(near, at)
        facts = {n: v for n, v in facts.items() if not n.endswith("-difference")}
        heading = f"Was {was_type}, is {now_type}."
        words = foot_words({n: v for n, v in facts.items() if not n.startswith(("answer", "pain"))},
                           new.book)  # fmt: skip
        yield Moved(was_type, now_type, count, words, visit_text(facts, new.book, heading))


def _oddness(crowd: _Crowd, side: Side, row: int) -> float:
    """How far a foot is from the norms, in standard deviations, summed over its measures."""
    total = 0.0
    for name, measure in crowd.book.measures.items():
        column = crowd.columns[side].get(name)
        if measure.norm is not None and column is not None and not measure.values:
            value = column[row if len(column) > 1 else 0]
            total += abs(float(value) - measure.norm.mean) / measure.norm.sd
    return total


def _notes(old: _Crowd, new: _Crowd) -> tuple[dict[str, int], dict[str, int]]:
    gained: Counter[str] = Counter()
    lost: Counter[str] = Counter()
    empty = np.zeros(old.count, np.bool_)
    names = {r.id for c in (old, new) for r in c.book.rules if isinstance(r.rule.then, NoteThen)}
    for name in names:
        for side in SIDES:
            was = old.done[side].holds.get(name, empty)
            now = new.done[side].holds.get(name, empty)
            gained[name] += int((now & ~was).sum())
            lost[name] += int((was & ~now).sum())
    return (
        {n: k for n, k in gained.most_common() if k},
        {n: k for n, k in lost.most_common() if k},
    )


def _firsts(
    old: _Crowd, new: _Crowd, catalogue: Catalogue
) -> dict[str, tuple[tuple[str, str, int], ...]]:
    """First shoe and insole of each customer, sizes and stock aside, where it changes."""
    rankers = (_Ranker(old.book, catalogue), _Ranker(new.book, catalogue))
    moves: dict[str, Counter[tuple[str, str]]] = {"shoe": Counter(), "insole": Counter()}
    needs_stay = _contents(old.book) == _contents(new.book)
    for row in range(old.count):
        if needs_stay and old.asked(row) == new.asked(row):
            continue  # the same is asked for, so the same comes first
        was, now = (r.first(c.asked(row)) for r, c in zip(rankers, (old, new), strict=True))
        for kind, counter in moves.items():
            if was[kind] != now[kind]:
                counter[was[kind], now[kind]] += 1
    return {k: tuple((a, b, n) for (a, b), n in c.most_common()) for k, c in moves.items()}


def _contents(book: Rulebook) -> tuple[object, ...]:
    """All that ranking reads besides which rules hold."""
    needs = {r.id: list(need_keys(r, book)) for r in book.rules}
    return needs, dict(book.parameters), dict(book.attributes)


def _of_person(fact: str) -> bool:
    return fact == "side" or fact.startswith(("answer_", "visit_", "pain_"))


class _Ranker:
    def __init__(self, book: Rulebook, catalogue: Catalogue) -> None:
        self.book, self.catalogue = book, catalogue
        self.known: dict[tuple[tuple[str, ...], ...], dict[str, str]] = {}

    def first(self, asked: Mapping[Side, tuple[str, ...]]) -> dict[str, str]:
        """The best shoe and the best insole for these needs, or ``nothing``."""
        key = tuple(asked[side] for side in SIDES)
        if key not in self.known:
            needs = needs_of(self.book, asked)
            best: dict[str, tuple[float, str]] = {}
            for item in self.catalogue.items:
                judged = judge((item,), needs, self.book)
                if judged.suitable:
                    score = 100.0 if judged.score is None else judged.score
                    place = (-round(score, 6), item.id)
                    kind = item.product.kind
                    best[kind] = min(best.get(kind, (1.0, "")), place)
            self.known[key] = {k: best.get(k, (0, "nothing"))[1] for k in ("shoe", "insole")}
        return self.known[key]


def _weakened(old: Rulebook, new: Rulebook) -> Iterator[Finding]:
    for stop in stops_of(old):
        yield from weakened(new, stop.id, stop.rule.when, stop.place)


def said_changes(old: Rulebook, new: Rulebook) -> Iterator[str]:
    """Everything that was added, removed or changed, in words."""
    if old.heading.version != new.heading.version:
        yield f"version {old.heading.version} becomes {new.heading.version}"
    if old.heading.fpi_system != new.heading.fpi_system:
        yield f"the FPI system {old.heading.fpi_system} becomes {new.heading.fpi_system}"
    for what, listed in _LISTS.items():
        yield from _changed(what, listed(old), listed(new))
    yield from _rules(old, new)


_LISTS: dict[str, Callable[[Rulebook], dict[str, str]]] = {
    "limit": lambda book: {n: limit_words(limit) for n, limit in book.limits.items()},
    "parameter": lambda book: {n: f"{value:g}" for n, value in book.parameters.items()},
    "question": lambda book: {n: question.ask for n, question in book.questions.items()},
    "axis": lambda book: {n: axis.title for n, axis in book.axes.items()},
    "attribute": lambda book: {n: one.title for n, one in book.attributes.items()},
    "translation": lambda book: {
        f"{code}, {key.field} of {key.id}": one.translation
        for code, translated in book.translations.items()
        for key, one in translated.items()
    },
}


def _changed(what: str, old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[str]:
    for name in sorted(old.keys() | new.keys()):
        if name not in new:
            yield f"{what} {name} removed (was {old[name]})"
        elif name not in old:
            yield f"{what} {name} added: {new[name]}"
        elif old[name] != new[name]:
            yield f"{what} {name}: {old[name]} becomes {new[name]}"


def _rules(old: Rulebook, new: Rulebook) -> Iterator[str]:
    for name in sorted(old.by_id.keys() | new.by_id.keys()):
        if name not in new.by_id:
            yield f"rule {name} removed ({old.by_id[name].rule.title})"
        elif name not in old.by_id:
            yield f"rule {name} added: {new.by_id[name].rule.title}"
        else:
            yield from _rule(name, old, new)


def _rule(name: str, old: Rulebook, new: Rulebook) -> Iterator[str]:
    was, now = old.by_id[name].rule, new.by_id[name].rule
    if code(was.when) != code(now.when):
        yield f"rule {name} fires when {code(now.when)}; it was when {code(was.when)}"
    before, after = list(then_lines(was.then, old)), list(then_lines(now.then, new))
    yield from (f"rule {name} no longer concludes: {line}" for line in _missing(before, after))
    yield from (f"rule {name} now concludes: {line}" for line in _missing(after, before))
    if was.because != now.because:
        yield f"rule {name} gives another reason: {now.because}"


def _missing(lines: Iterable[str], among: list[str]) -> list[str]:
    return [line for line in lines if line not in among]
