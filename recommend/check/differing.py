"""Two versions of a rulebook: all that changed, and what it does to the same customers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from recommend.catalogue.loading import Catalogue
from recommend.check.cells import space_of, truths
from recommend.check.changes import accepted_since, signature, unseen, weakened
from recommend.check.feet import STRIDES, foot_words, visit_text
from recommend.check.finding import Finding
from recommend.check.logic import fate_of
from recommend.check.people import Mixture, People
from recommend.check.released import page_edited
from recommend.check.same_customers import DrawnShare, Ranked, binding_moved, ranked, shared
from recommend.coverage.population import load_population
from recommend.coverage.sampling import Sampler
from recommend.errors import counted
from recommend.infer.facts import quantize
from recommend.infer.many import facts_at
from recommend.match.shortlist import ranking_of
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.contents import Bearing, Edit, contents_of, edits_between
from recommend.rulebook.models import NOTE_LEVELS
from recommend.rulebook.vocabulary import FOOT_TYPE, about, ends_of, part_of

UNDETERMINED = "undetermined"
K = TypeVar("K")


@dataclass(frozen=True, slots=True)
class Moved:
    """Feet that go from one outcome to another, and the most ordinary foot among them."""

    was: str
    now: str
    feet: DrawnShare
    foot: str
    visit: str


@dataclass(frozen=True, slots=True)
class Moves:
    """What two rulebooks make of the same customers.

    Attributes
    ----------
    customers : how many were drawn.
    mixture : what is unusual about how many of them; shares are weighted back to a shop's.
    silent : rules that fire for none of them under either rulebook.
    types : feet that change type, by transition.
    gained, lost : feet that gain or lose a note, by rule.
    asked, unasked : feet that a need rule asks something for, or does not any more, by rule.
    unbound, bound : nevers and musts that customers' pairs lose or gain, in words.
    ranked : what comes first, in which order, and what is out, by kind of product.
    """

    customers: int
    mixture: str
    silent: tuple[str, ...]
    types: tuple[Moved, ...]
    gained: Mapping[str, DrawnShare]
    lost: Mapping[str, DrawnShare]
    asked: Mapping[str, DrawnShare]
    unasked: Mapping[str, DrawnShare]
    unbound: Mapping[str, int]
    bound: Mapping[str, int]
    ranked: Mapping[str, Ranked]


def moves_between(
    books: tuple[Rulebook, Rulebook],
    catalogues: tuple[Catalogue, Catalogue],
    count: int,
    seed: int,
) -> Moves:
    """Compare over `count` customers of the new rulebook's population.

    Each is asked with its own reading of the catalogue: what a scale means is the rulebook's.
    """
    new = books[1]
    population = load_population(Path(new.folder) / "population.yaml")
    customers = Sampler(population).block(seed, 0, count)
    mixture = Mixture(new, customers.count, seed)
    was, now = crowds = tuple(_Crowd(book, population, customers, mixture) for book in books)
    made = _made_for(crowds)
    for crowd in crowds:
        crowd.meet(made)
    gained, lost = _held(was, now, notes=True)
    asked, unasked = _held(was, now, notes=False)
    before, after = [
        crowd.cases(ranking_of(crowd.book, one))
        for crowd, one in zip(crowds, catalogues, strict=True)
    ]
    unbound, bound = binding_moved(before, after, now.weights)
    return Moves(
        customers=customers.count,
        mixture=", ".join([mixture.words(), *([_made_words(made)] if made else [])]),
        silent=tuple(_silent(crowds)),
        types=tuple(_types(was, now)),
        gained=gained,
        lost=lost,
        asked=asked,
        unasked=unasked,
        unbound=unbound,
        bound=bound,
        ranked=ranked(before, after, now.weights),
    )


class _Crowd(People):
    """The same customers under one version of the rulebook; rows are left feet, then right."""

    def meet(self, made: Sequence[Made]) -> None:
        """Put feet made for rules in the place of as many customers, the last of them."""
        share, self.weights = self.book.parameters.compare.shop_made, self.weights.copy()
        for row, one in zip(range(self.count - len(made), self.count), made, strict=True):
            self.weights[row] = share * self.count
            for fact, value in one.facts.items():
                for side in SIDES if _of_person(fact) else (one.side,):
                    self._put(side, fact, value, row)
        self.__dict__.pop("feet", None)

    def _put(self, side: Side, fact: str, value: float | str | None, row: int) -> None:
        """One fact of one foot; nothing where the rulebook knows no such fact."""
        words = self.book.vocabulary.words.get(fact)
        if words is None and fact not in self.book.vocabulary.numbers:
            return
        missing = np.array([np.nan]) if words is None else np.array([-1], np.int8)
        had = self.columns[side].get(fact, missing)
        column = np.array(np.broadcast_to(had, self.count))
        if words is None:
            column[row] = np.nan if value is None else value
        else:
            column[row] = words.index(str(value)) if value in words else -1
        self.columns[side][fact] = column

    def types(self, side: Side) -> NDArray[np.str_]:
        names = [*self.book.axes[FOOT_TYPE].values, UNDETERMINED]
        return np.array(names)[self.feet[side].axes[FOOT_TYPE]]

    def facts(self, side: Side, row: int) -> dict[str, float | str]:
        out = facts_at(self.columns[side], row, self.book.vocabulary)
        return {**dict(self._readings(out)), **{n: v for n, v in out.items() if _of_person(n)}}

    def _readings(self, facts: dict[str, float | str]) -> Iterator[tuple[str, float | str]]:
        """Readings made whole again, where the rules read only one of their ends."""
        clearly = self.book.parameters.noise.clearly
        for name, definition in self.book.measures.items():
            margin = clearly * self.builder.errors.get(name, 0.0)
            found = [float(facts[n]) + back for n, back in ends_of(name, 0.0, -margin).items()
                     if isinstance(facts.get(n), float)]  # fmt: skip
            if definition.values and name in facts:
                yield name, facts[name]
            elif found:
                yield name, quantize(found[0])
                if name in STRIDES:
                    yield part_of(name, "low"), quantize(found[0] - margin)
                for qualifier in definition.qualifiers:
                    fact = part_of(name, qualifier)
                    if fact in facts:
                        yield fact, facts[fact]


def _of_person(fact: str) -> bool:
    return about(fact).told or about(fact).kind == "asked"


@dataclass(frozen=True, slots=True)
class Made:
    """A foot for which a rule fires that fires for nobody drawn: its facts, None where missing."""

    rule: str
    side: Side
    facts: Mapping[str, float | str | None]


_FEET = 3  # made for each such rule, as unlike as its ways to fire allow
_LOOKED_AT = 20_000  # feet among which they are found


def _made_for(crowds: Sequence[_Crowd]) -> list[Made]:
    """Feet for the rules, of whichever rulebook, that fire for none of the customers drawn."""
    silent = set(_silent(crowds))
    made = [
        one
        for crowd in crowds
        for rule in crowd.book.rules
        if rule.id in silent
        for one in _made(crowd.book, rule)
    ]
    unlike = {(one.rule, repr(sorted(one.facts.items()))): one for one in made}
    return list(unlike.values())[: crowds[0].count // 2]


def _made(book: Rulebook, rule: CompiledRule) -> Iterator[Made]:
    space = space_of(book, (rule,), _LOOKED_AT)
    rows = np.flatnonzero(truths(book, (rule,), space).holds[rule.id])
    if not len(rows):
        return
    spread = np.linspace(0, len(rows) - 1, _FEET).astype(int)
    for row in dict.fromkeys(int(rows[n]) for n in spread):
        facts = space.facts(row)
        side: Side = "right" if facts.pop("side", "left") == "right" else "left"
        names = [name for name in space.columns if name != "side"]
        yield Made(rule.id, side, {name: facts.get(name) for name in names})


def _made_words(made: Sequence[Made]) -> str:
    rules = counted(len({one.rule for one in made}), "rule")
    return f"{len(made)} made for {rules} that fire for nobody drawn"


def _silent(crowds: Sequence[_Crowd]) -> Iterator[str]:
    """Rules, of whichever rulebook, that fire for none of the feet."""
    fires = {
        (rule.id, bool(crowd.touched(rule.id)[0])) for crowd in crowds for rule in crowd.book.rules
    }
    yield from sorted(name for name, some in fires if not some and (name, True) not in fires)


def _types(old: _Crowd, new: _Crowd) -> Iterator[Moved]:
    moves: dict[tuple[str, str], DrawnShare] = defaultdict(DrawnShare)
    where: dict[tuple[str, str], list[tuple[Side, int]]] = defaultdict(list)
    for side in SIDES:
        was, now = old.types(side), new.types(side)
        for row in np.flatnonzero(was != now):
            key = (str(was[row]), str(now[row]))
            moves[key] += DrawnShare(1, new.weights[row] / (2 * new.count))
            where[key].append((side, int(row)))
    for (was_type, now_type), count in _most_first(moves).items():
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


def _most_first(shares: Mapping[K, DrawnShare]) -> dict[K, DrawnShare]:
    """Those of somebody, the most feet first."""
    ordered = sorted(shares.items(), key=lambda pair: -pair[1].count)
    return {name: share for name, share in ordered if share.count}


def _held(
    old: _Crowd, new: _Crowd, *, notes: bool
) -> tuple[dict[str, DrawnShare], dict[str, DrawnShare]]:
    """Feet for which a note, or a rule of needs, holds now and did not, and the other way round."""
    now_holds: dict[str, DrawnShare] = defaultdict(DrawnShare)
    not_any_more: dict[str, DrawnShare] = defaultdict(DrawnShare)
    rules = [rule for crowd in (old, new) for rule in crowd.book.rules]
    names = {rule.id for rule in rules if (rule.note if notes else rule.asks)}
    for name in sorted(names):
        for side in SIDES:
            was, now = (_as_said(crowd, name, side) for crowd in (old, new))
            for found, feet in ((now_holds, now > was), (not_any_more, was > now)):
                found[name] += shared(feet, new.weights / 2)
    return _most_first(now_holds), _most_first(not_any_more)


def _as_said(crowd: _Crowd, name: str, side: Side) -> NDArray[np.int8]:
    """How grave the note of a rule is, by foot; 1 for a rule of needs; 0 where it is silent."""
    rule = crowd.book.by_id.get(name)
    if rule is None:
        return np.zeros(crowd.count, np.int8)
    weight = len(NOTE_LEVELS) - NOTE_LEVELS.index(rule.level) if rule.level else 1
    return (crowd.feet[side].holds[name] * weight).astype(np.int8)


_CUSTOMERS_TAKE = 60  # steps: about as long as so many notes


@dataclass(frozen=True, slots=True)
class RulebookDifference:
    """What changed, in words and in numbers.

    Attributes
    ----------
    edits : everything that is not the same in the two folders, what decides first.
    moves : what it does to drawn customers; None when nothing that decides has changed.
    weakened : notes of the old version that some foot loses, and that nobody accepted.
    accepted : notes of which less is left, and the change log says why.
    stronger : notes that now come for feet for which they did not.
    unread : bearings that changed and that the new change log has no code for.
    sign : the line of the change log that says who saw the rulebook as it is now.
    same_version : whether both call themselves the same version although they differ.
    page : the version that the page's own texts are no more of; empty where they are.
    turned : questions asked in other words, so that an answer may mean another thing now.
    """

    edits: tuple[Edit, ...]
    moves: Moves | None
    weakened: tuple[Finding, ...]
    accepted: tuple[str, ...]
    stronger: tuple[str, ...]
    unread: tuple[Bearing, ...]
    sign: str
    same_version: bool
    page: str
    turned: tuple[str, ...]


def difference(
    books: tuple[Rulebook, Rulebook],
    catalogues: tuple[Catalogue, Catalogue],
    count: int,
    seed: int,
    told: Callable[[tuple[Edit, ...]], None] = lambda _edits: None,
    done: Callable[[int, int], None] = lambda _done, _of: None,
) -> RulebookDifference:
    """Compare an old and a new rulebook; see `moves_between` for the customers.

    Parameters
    ----------
    told : called with what changed as soon as that is known; the rest takes longer.
    done : called with how many steps of how many are done.
    """
    old, new = books
    contents = contents_of(new.texts)
    edits = edits_between(contents_of(old.texts), contents)
    told(edits)
    touched = {one.bearing for one in edits}
    decides = "decides" in touched
    noting = old.noting() if decides else ()
    steps = len(noting) + _CUSTOMERS_TAKE
    notes = []
    for step, rule in enumerate(noting):
        done(step, steps)
        notes.append(fate_of(new, old, rule))
    accepted = accepted_since(old, new)
    lesser = [one for one in notes if one.lost and one.rule not in accepted]
    return RulebookDifference(
        edits=edits,
        moves=moves_between(books, catalogues, count, seed) if decides else None,
        weakened=tuple(weakened(one, old.by_id[one.rule].place, new) for one in lesser),
        accepted=tuple(one.rule for one in notes if one.lost and one.rule in accepted),
        stronger=tuple(one.rule for one in notes if one.more),
        unread=tuple(b for b in unseen(new, contents) if b in touched),
        sign=signature(contents),
        page=page_edited(new),
        turned=tuple(one.id for one in edits if (one.thing, one.field) == ("question", "ask")),
        same_version=bool(touched - {"guards"}) and old.heading.version == new.heading.version,
    )
