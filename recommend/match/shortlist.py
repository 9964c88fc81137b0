"""The shortlist of one visit: shoes, insoles, and pairs of both that fit each other.

What is read here (candidates, verdicts, groups of equals) are views onto the arrays of
`match.ranking`, taken for one customer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field
from functools import cached_property
from itertools import groupby, islice
from typing import Literal, TypeVar, get_args, overload

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.dataclass import dataclass
from recommend.infer.assess import Assessment
from recommend.match.cases import Cases
from recommend.match.judge import Judgement, NeedVerdict, joined
from recommend.match.needs import Active, Bools, Floats, PairNeeds, needs_of, ruling_words
from recommend.match.out import Out, harmful, out_for, own_items
from recommend.match.ranking import Places, Ranking, Standing, ordered
from recommend.match.sizes import Sized, Wanted, size_for, wanted_length
from recommend.match.weighing import KINDS, BeyondAsked
from recommend.measure.model import Side
from recommend.rulebook.book import Rulebook
from recommend.visit.models import Visit

Group = Literal["shoe", "insole", "pair"]
Made = TypeVar("Made")
GROUPS: tuple[Group, ...] = ("shoe", "insole", "pair")
_REASONS = 3  # why nothing suits, told
PlaceOf = Literal["ranked", "missing", "excluded", "will_not_do"]


@dataclass(frozen=True, slots=True)
class Beyond:
    """What a product does that nobody asked for: an attribute, its level (None: not stated)."""

    attribute: str
    level: float | None
    part: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """A shoe, an insole or a pair that was judged.

    Attributes
    ----------
    sized : one entry for each part.
    judgements : of the parts, and of what they come to together.
    unsure : what about their fit with each other is not stated.
    beyond : what it does that nobody asked for.
    fit, function : what speaks against it, in weights of wishes: how it misses the foot, and
        wishes not met with what it does unasked.
    alike : the same for candidates that the measurements cannot tell apart.
    back : whether it stands back because it does not hold when readings are redrawn.
    harm : what a part did to these feet when it was worn, which rules it out.
    close : that a part does as much as one that did harm; it then stands back.
    instead : that it takes the place of the insole that the customer keeps.
    spared : whether an insole is asked for and left out, for the price limit.
    tier : 0 where it fits well, more where it fits worse.
    refused : why it is not wanted: a part the customer would not wear, or the price of all.
    """

    group: Group
    parts: tuple[Item, ...]
    sized: tuple[Sized, ...]
    judgements: tuple[Judgement, ...]
    unsure: tuple[str, ...] = ()
    beyond: tuple[Beyond, ...] = ()
    fit: float = 0.0
    function: float = 0.0
    alike: int = 0
    back: bool = False
    harm: str = ""
    refused: str = ""
    close: str = ""
    instead: str = ""
    spared: bool = False
    tier: float = 0.0

    @property
    def title(self) -> str:
        """The titles of its parts."""
        return " + ".join(part.product.title for part in self.parts)

    @property
    def judgement(self) -> Judgement:
        """All verdicts on it."""
        return joined(*self.judgements)

    @property
    def suitable(self) -> bool:
        """Whether neither its attributes, nor what it did, nor the customer rule it out."""
        return self.judgement.suitable and not self.harm and not self.refused

    @property
    def id(self) -> str:
        """Ids of the parts, joined by +."""
        return "+".join(part.id for part in self.parts)

    @property
    def score(self) -> float:
        """Wishes met, of 100; 100 when nothing was asked of it."""
        score = self.judgement.score
        return 100.0 if score is None else score

    @property
    def price(self) -> float | None:
        """What it costs together; None where a part has no price."""
        prices = [part.product.price for part in self.parts]
        return None if None in prices else sum(p for p in prices if p is not None)

    @property
    def length_step(self) -> int:
        """How many steps longer than wanted the shoe is; an insole is cut to the shoe."""
        both = zip(self.parts, self.sized, strict=True)
        return sum(sized.step for part, sized in both if part.product.kind == "shoe")

    @property
    def against(self) -> tuple[NeedVerdict, ...]:
        """What speaks against it: verdicts that are not fully satisfied, worst first."""
        unmet = [v for v in self.judgement.verdicts if v.satisfaction < 1]
        unmet.sort(key=lambda v: (not v.broken, -v.need.weight * (1 - v.satisfaction)))
        return tuple(unmet)


@dataclass(frozen=True, slots=True)
class Equals:
    """Candidates that the measurements cannot tell apart, the cheaper first.

    `holds` is the share of repeats of the readings in which all of them are still listed and no
    more than the width of the first group behind the best; None where nothing was repeated.
    """

    members: tuple[Candidate, ...]
    holds: float | None = None

    @property
    def first(self) -> Candidate:
        """Any of them stands for all in what was asked; this is the cheapest."""
        return self.members[0]


class Lazily(Sequence[Made]):
    """A sequence whose members are made, in order, when they are first asked for."""

    def __init__(self, makes: Iterable[Made]) -> None:
        self._makes, self._made = iter(makes), list[Made]()

    def _up_to(self, count: int | None) -> list[Made]:
        if count is None or count < 0:
            self._made.extend(self._makes)
        elif count > len(self._made):
            self._made.extend(islice(self._makes, count - len(self._made)))
        return self._made

    @overload
    def __getitem__(self, place: int) -> Made: ...

    @overload
    def __getitem__(self, place: slice) -> tuple[Made, ...]: ...

    def __getitem__(self, place: int | slice) -> Made | tuple[Made, ...]:
        if isinstance(place, slice):
            return tuple(self._up_to(place.stop)[place])
        return self._up_to(place + 1 if place >= 0 else None)[place]

    def __bool__(self) -> bool:
        return bool(self._up_to(1))

    def __len__(self) -> int:
        return len(self._up_to(None))


class Placed(Mapping[Group, Sequence[Made]]):
    """Candidates, or their equals, by group, made when one is asked for: a screen shows few."""

    def __init__(self, make: Callable[[Group], Iterable[Made]]) -> None:
        self._make, self._made = make, dict[Group, Lazily[Made]]()

    def __getitem__(self, group: Group) -> Sequence[Made]:
        if group not in GROUPS:
            raise KeyError(group)
        if group not in self._made:
            self._made[group] = Lazily(self._make(group))
        return self._made[group]

    def __iter__(self) -> Iterator[Group]:
        return iter(GROUPS)

    def __len__(self) -> int:
        return len(GROUPS)


@dataclass(frozen=True)
class Shortlist:
    """All candidates judged for one visit.

    Attributes
    ----------
    needs : what the pair should be.
    wanted : the length it must be made for.
    ranked : by group, suitable and available, best first; equals by price.
    missing : by group, suitable but not in stock in the size, best first.
    excluded : by group, ruled out by a must, a never, or because it was worn and did harm.
    without_place : by group, what would suit, by name, where nothing has a place.
    will_not_do : by group, what the customer has, or no insole, where more is asked for.
    unplaced : why nothing has a place: what must be known first; empty when all have theirs.
    redrawn : the cases that the visit comes to when its readings are redrawn, if they were.
    as_read : the one case that it comes to by the readings as they stand.
    measured : whether any sign of a foot was read; without one no repeat says how sure it is.
    """

    needs: PairNeeds
    wanted: Wanted
    ranked: Mapping[Group, Sequence[Candidate]]
    missing: Mapping[Group, Sequence[Candidate]]
    excluded: Mapping[Group, Sequence[Candidate]]
    without_place: Mapping[Group, Sequence[Candidate]]
    will_not_do: Mapping[Group, Sequence[Candidate]]
    unplaced: tuple[str, ...] = ()
    redrawn: Cases | None = field(default=None, repr=False)
    as_read: Cases | None = field(default=None, repr=False)
    measured: bool = True

    @property
    def empty(self) -> bool:
        """Whether nothing suitable is available at all."""
        tables = (self.ranked, self.without_place)
        # What is shown is asked first: it has been made.
        return not any(table[group] for table in tables for group in reversed(GROUPS))

    def nothing_because(self, group: Group, book: Rulebook) -> tuple[str, ...]:
        """Why nothing of a group is listed: which musts and nevers, which attributes not stated.

        Nothing where something is listed.
        """
        if self.ranked[group] or self.without_place[group]:
            return ()
        if self.missing[group]:
            dear = sum(bool(candidate.refused) for candidate in self.excluded[group])
            wanted = f"; {dear} more are not wanted, or above the price limit" if dear else ""
            return (f"what suits is not in stock in this size{wanted}",)
        reasons: Counter[str] = Counter()
        for candidate in self.excluded[group]:
            reasons.update(dict.fromkeys(_why_out(candidate, book), 1))
        told = tuple(
            f"{words}: rules out {count}" for words, count in reasons.most_common(_REASONS)
        )
        return told or self._no_pair(book)

    def _no_pair(self, book: Rulebook) -> tuple[str, ...]:
        """Why no pair was judged: nothing of one kind suits, or what suits does not fit."""
        for kind in ("shoe", "insole"):
            if not any(table[kind] for table in (self.ranked, self.missing, self.without_place)):
                return (f"no {kind} suits", *self.nothing_because(kind, book))
        return ("no insole that suits goes into a shoe that suits (liner, room or heel seat)",)

    @cached_property
    def groups(self) -> Mapping[Group, Sequence[Equals]]:
        """By group of product, the candidates in groups of equals, best first."""
        return Placed(self._equals)

    def _equals(self, group: Group) -> Iterator[Equals]:
        for _, members in groupby(self.ranked[group], key=lambda c: c.alike):
            same = tuple(members)
            yield Equals(same, self._holding(group, same))

    def _holding(self, group: Group, members: tuple[Candidate, ...]) -> float | None:
        if self.redrawn is None or not self.measured:
            return None
        rows = self.redrawn.ranking.rows(group, (one.id for one in members))
        return self.redrawn.holding(group, rows)


@dataclass(frozen=True)
class _Judge:
    """Takes one customer's candidates out of the arrays."""

    ranking: Ranking
    needs: PairNeeds
    as_read: Cases
    wanted: Wanted
    harm: Mapping[str, str]
    out: Out

    @property
    def active(self) -> Active:
        """What the customer needs."""
        return self.as_read.active

    @property
    def size(self) -> int:
        """The customer's size class."""
        return int(self.as_read.sizes[0])

    def placed(self, place: PlaceOf, redrawn: Cases | None) -> Placed[Candidate]:
        """Candidates by group, best first, of one place."""
        return Placed(lambda group: self._placed(group, place, redrawn))

    def _placed(self, group: Group, place: PlaceOf, redrawn: Cases | None) -> Iterator[Candidate]:
        standing, tie = self.as_read.standing[group], self.ranking.tie_order(group)
        listed, ruled_out = standing.listed[0], standing.ruled_out[0]
        bought = self._bought(group)
        which = {
            "ranked": listed, "missing": ~ruled_out & ~listed, "excluded": ruled_out & bought,
            "will_not_do": ruled_out & ~bought,
        }[place]  # fmt: skip
        rows = self._worth_telling(group, standing)
        rows = rows[which[rows]]
        back = np.zeros(len(tie), np.bool_) if redrawn is None else redrawn.stand_back(group)
        close = self._close[self.ranking.members(group)].any(axis=1)
        costs = (2.0 * close + back, *standing.costs(0))
        signature = self.ranking.signature(group, self.active, self.size, rows)
        for alike, equals in enumerate(ordered(costs, signature, tie, rows)):
            for m in equals:
                yield self._candidate(group, int(m), standing, alike, bool(back[m]))

    def _worth_telling(self, group: Group, standing: Standing) -> Places:
        """Candidates to tell of: pairs of parts that suit, and of what is owned what will do.

        That a pair is ruled out by one of its parts is told of the part.
        """
        if group != "pair":
            return np.arange(standing.ruled_out.shape[1])
        will_do = self._bought(group) | ~standing.ruled_out[0]
        suit = self._suit_alone[self.ranking.members(group)].all(axis=1)
        return np.flatnonzero(will_do & suit)

    def _bought(self, group: Group) -> Bools:
        """Whether every part of each candidate is of the shop."""
        there = np.array([i.offered == "shop" for i in self.ranking.shelf.items], np.bool_)
        return np.asarray(there[self.ranking.members(group)].all(axis=1))

    @cached_property
    def _close(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Whether each item does as much as one that did harm."""
        return np.array([i.id in self.out.close for i in self.ranking.shelf.items], np.bool_)

    @cached_property
    def _suit_alone(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Whether each item's own attributes, apart from a partner, rule it in."""
        shelf = self.ranking.shelf
        spare = self.out.price_limit is not None
        suits = [~shelf.alone_out(kind, self.active, spare=spare)[0] for kind in KINDS]
        return np.concatenate(suits)

    def _candidate(
        self, group: Group, row: int, standing: Standing, alike: int, back: bool
    ) -> Candidate:
        shelf = self.ranking.shelf
        places = self.ranking.members(group)[row]
        parts = tuple(shelf.items[place] for place in places)
        s, i = (int(one[row]) for one in shelf.pairs) if parts[1:] else (0, 0)
        unsure = shelf.fitting[s][i].unsure if parts[1:] else ()
        told = [self._told_of(int(place)) for place in places]
        return Candidate(
            group,
            parts,
            tuple(sized for sized, _ in told),
            tuple(self._judgements(group, row)),
            unsure,
            tuple(beyond for _, found in told for beyond in found),
            float(standing.fit[0, row]),
            float(standing.function[0, row]),
            alike,
            back,
            _reasons(parts, self.harm),
            self._refused(parts),
            _reasons(parts, self.out.close),
            self._instead(parts),
            any(part.offered == "none" for part in parts) and self._asks_for_insole,
            float(standing.tier(0)[row]),
        )

    def _row(self, insole: Item) -> int:
        return self.ranking.shelf.insoles.index(insole)

    @cached_property
    def _asks_for_insole(self) -> bool:
        return bool(self.ranking.table.asks_more("insole", self.active)[0])

    def _instead(self, parts: tuple[Item, ...]) -> str:
        """That the insole which the customer keeps would come out, where it could stay."""
        kept = self.ranking.shelf.kept_insole
        if kept is not None and self.as_read.standing["insole"].ruled_out[0, self._row(kept)]:
            return ""
        others = any(part.product.kind == "insole" and part.offered != "own" for part in parts)
        return f"{kept.product.title} would come out" if kept is not None and others else ""

    @cached_property
    def _not_wanted(self) -> dict[str, str]:
        return {name: why for name, why in self.out.why.items() if name not in self.harm}

    def _refused(self, parts: tuple[Item, ...]) -> str:
        words = [_reasons(parts, self._not_wanted)]
        prices = [part.product.price for part in parts]
        limit = self.out.price_limit
        if limit is not None and (None in prices or sum(p or 0 for p in prices) > limit):
            words.append(f"above the price limit of {limit:g}, or its price is not stated")
        return "; ".join(filter(None, words))

    def _judgements(self, group: Group, row: int) -> Iterator[Judgement]:
        """On what each part is by itself, then on what they come to together."""
        shelf = self.ranking.shelf
        if group != "pair":
            yield self._kept(group, row, group)
            yield self._kept(group, row, "pair")
            return
        s, i = shelf.pairs
        yield self._kept("shoe", int(s[row]), "shoe")
        yield self._kept("insole", int(i[row]), "insole")
        yield self._kept("pair", int(shelf.which[s[row], i[row]]), "pair")

    def _kept(self, kind: Group, row: int, about: Group) -> Judgement:
        """The judgement of one row on the needs about a kind, made once."""
        key = (kind, row, about)
        if key not in self._made:
            judged = self.ranking.shelf.judged(kind)
            self._made[key] = judged.judgement(row, self.needs, about)
        return self._made[key]

    def _told_of(self, place: int) -> tuple[Sized, tuple[Beyond, ...]]:
        """The size that an item is taken in, and what it does unasked; found once."""
        if place not in self._told:
            item = self.ranking.shelf.items[place]
            sized = size_for(item, self.wanted, self.ranking.book.parameters)
            self._told[place] = sized, tuple(self._beyond(place))
        return self._told[place]

    @cached_property
    def _told(self) -> dict[int, tuple[Sized, tuple[Beyond, ...]]]:
        return {}

    @cached_property
    def _made(self) -> dict[tuple[Group, int, Group], Judgement]:
        return {}

    @cached_property
    def _unasked(self) -> list[tuple[BeyondAsked, int, Floats]]:
        """Of every item, where it stands in its table, and how far it goes beyond what is asked."""
        tables = self.ranking.shelf.unasked.values()
        return [
            (table, row, parts)
            for table in tables
            for row, parts in enumerate(table.beyond(self.active)[0])
        ]

    def _beyond(self, place: int) -> Iterator[Beyond]:
        """What an item does unasked."""
        table, row, parts = self._unasked[place]
        if table.items[row].offered != "shop":
            return
        for name, level, part in zip(table.attributes, table.levels[row], parts, strict=True):
            if part > 0:
                yield Beyond(name, None if np.isnan(level) else float(level), float(part))


def ranking_of(book: Rulebook, catalogue: Catalogue, visit: Visit | None = None) -> Ranking:
    """The catalogue made ready to be ranked under `book`, at its first use.

    With the shoes or the insole that a visit describes, it is made for that visit alone.
    """
    own = () if visit is None else own_items(visit, book)
    if own:
        return Ranking(book, catalogue, own)
    key = id(book)  # a ranking keeps its book, so its id is not given again
    if key not in catalogue.made:
        catalogue.made[key] = Ranking(book, catalogue)
    ranking: Ranking = catalogue.made[key]
    return ranking


def shortlist(
    assessment: Assessment,
    book: Rulebook,
    catalogue: Catalogue,
    needs: PairNeeds | None = None,
    redrawn: Cases | None = None,
) -> Shortlist:
    """Judge and rank the catalogue for an assessed visit.

    A stop is not looked at here: who calls this for a stopped visit must not show it.

    Parameters
    ----------
    needs : what the pair should be, when it was worked out before.
    redrawn : what the visit comes to when its readings are redrawn within their errors; what
        does not hold then stands back.
    """
    fired = needs_fired(assessment)
    needs = needs_of(book, fired) if needs is None else needs
    visit = assessment.visit
    ranking = ranking_of(book, catalogue, visit) if redrawn is None else redrawn.ranking
    wanted = wanted_length(assessment.visit, book.parameters)
    length = np.array([np.nan if wanted.length is None else wanted.length])
    size = int(ranking.classes.of_lengths(length)[0])
    out = out_for(assessment.visit, catalogue.items, book)
    as_read = _as_read(ranking, fired, size, out)
    harm = harmful(assessment.visit, book.parameters)
    judge = _Judge(ranking, needs, as_read, wanted, harm, out)
    placed = (judge.placed(place, redrawn) for place in get_args(PlaceOf))
    ranked, missing, excluded, not_do = placed
    none = Placed[Candidate](lambda _: ())
    unplaced = why_unplaced(assessment, wanted, book)
    if unplaced:
        by_name = Placed(lambda g: sorted(ranked[g], key=lambda c: c.id))
        return Shortlist(
            needs, wanted, none, missing, excluded, by_name, not_do, unplaced, None, as_read
        )
    feet = assessment.feet.values()
    measured = any(foot.conclusions.axes[axis] for foot in feet for axis in book.axes)
    return Shortlist(
        needs, wanted, ranked, missing, excluded, none, not_do, (), redrawn, as_read, measured
    )


def why_unplaced(assessment: Assessment, wanted: Wanted, book: Rulebook) -> tuple[str, ...]:
    """What must be known before any product has a place; nothing under earlier rulebooks."""
    if book.parameters.rank.width is None:
        return ()
    due = (book.by_id[note.rule].note for note in assessment.notes)
    unknown = {
        "not-screened": bool(assessment.unscreened),
        "pain-not-looked-at": any(note is not None and note.unplaced for note in due),
        "length-unknown": wanted.length is None,
    }
    return tuple(reason for reason, true in unknown.items() if true)


def needs_fired(assessment: Assessment) -> Mapping[Side, Iterable[str]]:
    """For each foot, the rules that are true."""
    return {
        side: [rule for rule, truth in foot.conclusions.truth.items() if truth]
        for side, foot in assessment.feet.items()
    }


def _why_out(candidate: Candidate, book: Rulebook) -> Iterator[str]:
    """Each must and never that rules a product out, what it did, and what the customer said."""
    for verdict in candidate.judgement.verdicts:
        if verdict.broken:
            unstated = ", which it does not state" if verdict.level is None else ""
            yield ruling_words(verdict.need, book) + unstated
    yield from filter(None, (candidate.harm, candidate.refused))


def _reasons(parts: tuple[Item, ...], why: Mapping[str, str]) -> str:
    return "; ".join(dict.fromkeys(why[part.id] for part in parts if part.id in why))


def _as_read(ranking: Ranking, fired: Mapping[Side, Iterable[str]], size: int, out: Out) -> Cases:
    """The case of one visit by the readings as they stand."""
    true = set().union(*fired.values())
    holds = np.array([[rule in true for rule in ranking.table.rules]], np.bool_)
    none = np.zeros(1, np.intp)
    no_stop = np.zeros(1, np.bool_)
    return Cases(ranking, none, holds, np.array([size]), no_stop, out)
