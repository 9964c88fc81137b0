"""Two versions of a rulebook: what changed, and what it does to the published population."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.loading import Catalogue
from recommend.check.changes import accepted_since, signature, unseen, weakened
from recommend.check.contents import Bearing, Edit, contents_of, edits_between
from recommend.check.examples import need_keys
from recommend.check.feet import STRIDES, foot_words, visit_text
from recommend.check.finding import Finding
from recommend.check.weaker import compared, note_of
from recommend.coverage.columns import FactColumns
from recommend.coverage.population import Population, load_population
from recommend.coverage.sampling import Customers, Sampler
from recommend.infer.facts import quantize
from recommend.infer.many import Column, ManyConclusions, conclude_many
from recommend.match.judge import judge
from recommend.match.needs import PairNeeds, asked_words, needs_of
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NOTE_LEVELS, NeedsThen, NoteThen
from recommend.rulebook.vocabulary import FOOT_TYPE

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
class Ranked:
    """What becomes of the products of one kind.

    Attributes
    ----------
    firsts : customers whose first product changes, by transition.
    order : customers for whom the products come in another order, the first ones among them.
    out, back : customers for whom a product is now excluded, or is not any more, by product.
    why : customers for whom a product is excluded for another reason.
    """

    firsts: tuple[tuple[str, str, int], ...]
    order: int
    out: Mapping[str, int]
    back: Mapping[str, int]
    why: int


@dataclass(frozen=True, slots=True)
class Difference:
    """What changed in words, and over the population in numbers.

    Attributes
    ----------
    edits : everything that is not the same in the two folders, what decides first.
    customers : how many were drawn.
    types : feet that change type, by transition.
    gained, lost : feet that gain or lose a note, by rule.
    asked, unasked : feet that a need rule asks something for, or does not any more, by rule.
    ranked : products by kind; empty without a catalogue.
    weakened : notes of the old version that some foot loses, and that nobody accepted.
    accepted : notes of which less is left, and the change log says why.
    stronger : notes that now come for feet for which they did not.
    unread : bearings that changed and that the new change log has no code for.
    sign : the line of the change log that says who saw the rulebook as it is now.
    same_version : whether both call themselves the same version although they differ.
    """

    edits: tuple[Edit, ...]
    customers: int
    types: tuple[Moved, ...]
    gained: Mapping[str, int]
    lost: Mapping[str, int]
    asked: Mapping[str, int]
    unasked: Mapping[str, int]
    ranked: Mapping[str, Ranked]
    weakened: tuple[Finding, ...]
    accepted: tuple[str, ...]
    stronger: tuple[str, ...]
    unread: tuple[Bearing, ...]
    sign: str
    same_version: bool


def difference(
    books: tuple[Rulebook, Rulebook],
    catalogues: tuple[Catalogue, Catalogue] | None,
    count: int,
    seed: int,
) -> Difference:
    """Compare an old and a new rulebook over `count` customers of the new one's population.

    Each is asked with its own reading of the catalogue: what a scale means is the rulebook's.
    """
    old, new = books
    population = load_population(Path(new.folder) / "population.yaml")
    customers = next(Sampler(population).blocks(count, seed))
    crowds = (_Crowd(old, population, customers), _Crowd(new, population, customers))
    gained, lost = _held(*crowds, notes=True)
    asked, unasked = _held(*crowds, notes=False)
    contents = contents_of(new.folder)
    edits = edits_between(contents_of(old.folder), contents)
    notes = [compared(new, old, rule) for rule in old.rules if note_of(rule)]
    accepted = accepted_since(old, new)
    lesser = [one for one in notes if one.lost and one.rule not in accepted]
    touched = {one.bearing for one in edits}
    return Difference(
        edits=edits,
        customers=customers.count,
        types=tuple(_types(*crowds)),
        gained=gained,
        lost=lost,
        asked=asked,
        unasked=unasked,
        ranked=_ranked(crowds, catalogues) if catalogues else {},
        weakened=tuple(weakened(one, old.by_id[one.rule].place, new) for one in lesser),
        accepted=tuple(one.rule for one in notes if one.lost and one.rule in accepted),
        stronger=tuple(one.rule for one in notes if one.more),
        unread=tuple(b for b in unseen(new, contents) if b in touched),
        sign=signature(contents),
        same_version=bool(edits) and old.heading.version == new.heading.version,
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


def _held(old: _Crowd, new: _Crowd, *, notes: bool) -> tuple[dict[str, int], dict[str, int]]:
    """Feet for which a note, or a rule of needs, holds now and did not, and the other way round."""
    kind = NoteThen if notes else NeedsThen
    now_holds: Counter[str] = Counter()
    not_any_more: Counter[str] = Counter()
    empty = np.zeros(old.count, np.bool_)
    names = {r.id for c in (old, new) for r in c.book.rules if isinstance(r.rule.then, kind)}
    for name in sorted(names):
        for side in SIDES:
            was, now = (_as_said(crowd, name, side, empty) for crowd in (old, new))
            now_holds[name] += int((now > was).sum())
            not_any_more[name] += int((was > now).sum())
    return (
        {n: k for n, k in now_holds.most_common() if k},
        {n: k for n, k in not_any_more.most_common() if k},
    )


def _as_said(crowd: _Crowd, name: str, side: Side, empty: NDArray[np.bool_]) -> NDArray[np.int8]:
    """How grave the note of a rule is, by foot; 1 for a rule of needs; 0 where it is silent."""
    rule = crowd.book.by_id.get(name)
    if rule is None:
        return empty.astype(np.int8)
    level = note_of(rule)
    weight = 1 if level is None else len(NOTE_LEVELS) - NOTE_LEVELS.index(level)
    return (crowd.done[side].holds[name] * weight).astype(np.int8)


def _ranked(
    crowds: tuple[_Crowd, _Crowd], catalogues: tuple[Catalogue, Catalogue]
) -> dict[str, Ranked]:
    """The whole order of shoes and insoles of each customer, and what is out and why.

    Sizes and stock are left aside.
    """
    rankers = [_Ranker(crowd.book, one) for crowd, one in zip(crowds, catalogues, strict=True)]
    stays = _contents(crowds[0].book) == _contents(crowds[1].book)
    counts = {kind: _Counts() for kind in KINDS}
    for row in range(crowds[0].count):
        asked = [crowd.asked(row) for crowd in crowds]
        if stays and asked[0] == asked[1]:
            continue  # the same is asked for, so the same comes out
        was, now = (ranker.order(one) for ranker, one in zip(rankers, asked, strict=True))
        for kind, one in counts.items():
            one.add(was[kind], now[kind])
    return {kind: one.ranked() for kind, one in counts.items()}


KINDS = ("shoe", "insole")
NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class _Order:
    """Products of one kind as one customer would see them, and why others are out."""

    ids: tuple[str, ...]
    out: Mapping[str, tuple[str, ...]]

    @property
    def first(self) -> str:
        return self.ids[0] if self.ids else NOTHING


@dataclass
class _Counts:
    firsts: Counter[tuple[str, str]] = field(default_factory=Counter)
    out: Counter[str] = field(default_factory=Counter)
    back: Counter[str] = field(default_factory=Counter)
    order: int = 0
    why: int = 0

    def add(self, was: _Order, now: _Order) -> None:
        if was.first != now.first:
            self.firsts[was.first, now.first] += 1
        self.order += was.ids != now.ids
        self.out.update(now.out.keys() - was.out.keys())
        self.back.update(was.out.keys() - now.out.keys())
        self.why += any(was.out[one] != now.out[one] for one in was.out.keys() & now.out.keys())

    def ranked(self) -> Ranked:
        firsts = tuple((was, now, n) for (was, now), n in self.firsts.most_common())
        out, back = (dict(one.most_common()) for one in (self.out, self.back))
        return Ranked(firsts, self.order, out, back, self.why)


def _contents(book: Rulebook) -> tuple[object, ...]:
    """All that ranking reads besides which rules hold."""
    needs = {r.id: list(need_keys(r, book)) for r in book.rules}
    attributes = [(n, one, list(one.scale)) for n, one in sorted(book.attributes.items())]
    return needs, dict(book.parameters), attributes


def _of_person(fact: str) -> bool:
    return fact == "side" or fact.startswith(("answer_", "visit_", "pain_"))


class _Ranker:
    def __init__(self, book: Rulebook, catalogue: Catalogue) -> None:
        self.book, self.catalogue = book, catalogue
        self.known: dict[tuple[tuple[str, ...], ...], dict[str, _Order]] = {}

    def order(self, asked: Mapping[Side, tuple[str, ...]]) -> dict[str, _Order]:
        """Shoes and insoles for these needs, best first, and those that are out."""
        key = tuple(asked[side] for side in SIDES)
        if key not in self.known:
            self.known[key] = self._order(needs_of(self.book, asked))
        return self.known[key]

    def _order(self, needs: PairNeeds) -> dict[str, _Order]:
        places: dict[str, list[tuple[float, str]]] = {kind: [] for kind in KINDS}
        out: dict[str, dict[str, tuple[str, ...]]] = {kind: {} for kind in KINDS}
        for item in self.catalogue.items:
            judged, kind = judge((item,), needs, self.book), item.product.kind
            if judged.suitable:
                score = 100.0 if judged.score is None else judged.score
                places[kind].append((-round(score, 6), item.id))
            else:
                broken = (one for one in judged.verdicts if one.broken)
                out[kind][item.id] = tuple(sorted(asked_words(v.need, self.book) for v in broken))
        return {k: _Order(tuple(name for _, name in sorted(places[k])), out[k]) for k in KINDS}
