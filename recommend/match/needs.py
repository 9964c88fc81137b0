"""What the feet of one pair need: needs of both feet gathered, reconciled, contradictions told.

'Never' of either foot binds the pair; 'must' of both feet add up. Where two musts contradict,
or a must asks for what a never forbids, the side that does less to a foot wins and the other
becomes a strong wish; the contradiction is said in words.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from recommend.dataclass import dataclass
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NeedThen, Strength
from recommend.rulebook.terms import COMPARISONS, Comparison, opposite
from recommend.rulebook.vocabulary import PERSON

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Need:
    """One need of the pair.

    Attributes
    ----------
    attribute : such as ``insole.heel-cup``.
    comparison, target : in the attribute's unit, or the step of its scale.
    strength : ``must``, ``prefer`` or ``never`` (the comparison must not hold).
    weight : weight of a preference in the score; 0 for a must or a never.
    sides, rules, because : which feet, by which rules, for which reasons.
    """

    attribute: str
    comparison: Comparison
    target: float
    strength: Strength
    weight: float
    sides: tuple[Side, ...]
    rules: tuple[str, ...]
    because: tuple[str, ...]

    @property
    def key(self) -> tuple[str, Comparison, float, Strength]:
        """What makes it the same need, whoever asks for it and how strongly."""
        return (self.attribute, self.comparison, self.target, self.strength)


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two needs that no pair can meet together, and what was done about it."""

    kept: Need
    eased: Need
    text: str


@dataclass(frozen=True, slots=True)
class PairNeeds:
    """Everything one pair should be: needs in a fixed order, and contradictions.

    `columns` are the places of the needs in the table that they were read from.
    """

    needs: tuple[Need, ...]
    conflicts: tuple[Conflict, ...]
    columns: tuple[int, ...] = ()

    @property
    def of_pair(self) -> tuple[Need, ...]:
        """Needs that speak of shoe and insole together."""
        return tuple(need for need in self.needs if need.attribute.startswith("pair."))

    def of(self, strength: Strength) -> tuple[Need, ...]:
        """Needs of one strength."""
        return tuple(need for need in self.needs if need.strength == strength)


@dataclass(frozen=True, slots=True)
class Active:
    """What g customers need.

    Attributes
    ----------
    asked : whether each need is asked, shape (g, n).
    weights : weight of each need as a wish, 0 where it is none, shape (g, n).
    binding : whether the need rules products out, shape (g, n).
    told : whether something measured or told of the feet asks for it, (g, n).
    """

    asked: Bools
    weights: Floats
    binding: Bools
    told: Bools

    def rows(self, part: slice | NDArray[np.intp]) -> Active:
        """The same of some customers only."""
        return Active(self.asked[part], self.weights[part], self.binding[part], self.told[part])

    def distinct(self) -> tuple[Active, NDArray[np.intp]]:
        """The d customers who need different things, and which of them each of g is, (g,)."""
        words = [self.asked, self.binding, self.told, self.weights.view(np.uint8)]
        rows = np.concatenate([one.view(np.uint8) for one in words], axis=1)
        whole = rows.view(np.dtype((np.void, rows.shape[1]))).ravel()
        _, first, which = np.unique(whole, return_index=True, return_inverse=True)
        return self.rows(first), which.ravel()

    def without_wish(self, need: int) -> Active:
        """The same with one wish not asked."""
        asked, weights = self.asked.copy(), self.weights.copy()
        asked[:, need], weights[:, need] = False, 0.0
        return Active(asked, weights, self.binding, self.told)

    def without(self, needs: Bools) -> Active:
        """The same with the binding needs of a mask, shape (n,), waived."""
        return Active(self.asked, self.weights, self.binding & ~needs, self.told)


class NeedTable:
    """Every need that the rules of a rulebook can give, and which rule gives which.

    Attributes
    ----------
    rules : ids of the r rules that give needs.
    needs : the n different needs, in the order in which they are reconciled.
    """

    def __init__(self, book: Rulebook, rules: Sequence[str] | None = None) -> None:
        self.book = book
        asking = (rule.id for rule in book.rules if rule.asks)
        self.rules = tuple(asking if rules is None else rules)
        given = [list(rule_needs(book, rule)) for rule in self.rules]
        keyed = {need.key: need for one in given for need in one}
        asked = (replace(need, rules=(), because=()) for need in keyed.values())
        self.needs: tuple[Need, ...] = tuple(sorted(asked, key=need_order))
        index = {need.key: n for n, need in enumerate(self.needs)}
        self.gives = np.zeros((len(self.rules), len(self.needs)), np.bool_)
        self._weights = np.zeros(self.gives.shape)
        for r, one in enumerate(given):
            for need in one:
                n = index[need.key]
                self.gives[r, n] = True
                self._weights[r, n] = max(self._weights[r, n], need.weight)
        self.must = np.array([need.strength == "must" for need in self.needs], np.bool_)
        self.never = np.array([need.strength == "never" for need in self.needs], np.bool_)
        self._wishes = ~(self.must | self.never)
        names = [need.attribute for need in self.needs]
        self.gentle = np.array([_gentle(book, need) for need in self.needs], np.bool_)
        self.fit = np.array([book.attributes[n].about == "fit" for n in names], np.bool_)
        self._of_foot = np.array([_of_foot(book, rule) for rule in self.rules], np.bool_)
        self._strong = book.parameters.rank.weight_strong
        levels = set(self._weights[self._weights > 0].tolist())
        self._levels = sorted(levels)  # ascending: the heaviest stays

    def required(self, holds: Bools) -> Floats:
        """The part of each wish that must be met to serve these customers, 0 for none, (g, n)."""
        from recommend.rulebook.serving import required_wishes  # only here: who counts asks it

        found = np.zeros((len(holds), len(self.needs)))
        for (rule, attribute), part in required_wishes(self.book).items():
            if rule not in self.rules:
                continue
            r = self.rules.index(rule)
            for n in np.flatnonzero(self.gives[r] & self._wishes & self.of(attribute)):
                np.maximum(found[:, n], np.where(holds[:, r], part, 0), out=found[:, n])
        return found

    def kinds(self, *kinds: str) -> Bools:
        """Which needs speak of an attribute of one of `kinds`, shape (n,)."""
        there = [need.attribute.partition(".")[0] in kinds for need in self.needs]
        return np.array(there, np.bool_)

    def of(self, attribute: str) -> Bools:
        """Which needs speak of `attribute`, shape (n,)."""
        return np.array([need.attribute == attribute for need in self.needs], np.bool_)

    def active(self, holds: Bools) -> Active:
        """Needs of customers of whom the given rules hold for one foot or both, reconciled.

        Parameters
        ----------
        holds : which rules hold, shape (g, r).

        Notes
        -----
        Contradicting musts and nevers are looked at in order; a must that gives way becomes a
        strong wish and takes no part in what follows, a never does not give way.
        """
        asked = _given(holds, self.gives)
        weights = np.zeros(asked.shape)
        for weight in self._levels:
            weights[_given(holds, self._weights == weight)] = weight
        eased = np.zeros(asked.shape, np.bool_)
        for one, other, gives_way in self.contradictions:
            if gives_way is not None:
                still = asked & ~eased
                eased[:, gives_way] |= still[:, one] & still[:, other]
        binding = asked & (self.must | self.never) & ~eased
        told = _given(holds & self._of_foot, self.gives)
        return Active(asked, np.where(eased, self._strong, weights), binding, told)

    def asks_more(self, kind: str, active: Active) -> Bools:
        """Whether something measured or told asks more of a kind than having none, (g,).

        Slight wishes that age or purpose bring are for whatever is chosen; they ask for nothing.
        """
        usual = self.book.parameters.rank.weight_usual
        heavy = active.told | active.binding | (active.weights >= usual)
        asked = active.asked & heavy & self._more[kind]
        strong = active.told & (active.weights >= self._strong) & self._roomier[kind]
        return np.asarray((asked | strong).any(axis=1), np.bool_)

    @cached_property
    def _more(self) -> dict[str, Bools]:
        """By kind, the needs that ask for more than is there without it."""
        positive = [
            need.strength != "never"
            and COMPARISONS[need.comparison].lower
            and need.target > (self.book.attributes[need.attribute].level_without or 0.0)
            for need in self.needs
        ]
        function = [self.book.attributes[n.attribute].about == "function" for n in self.needs]
        more = np.array(positive, np.bool_) & np.array(function, np.bool_)
        return {kind: more & self.kinds(kind) for kind in ("shoe", "insole")}

    @cached_property
    def _roomier(self) -> dict[str, Bools]:
        """By kind, the wishes about how it fits the foot; a strong one asks for another product."""
        wishes = np.array([need.strength == "prefer" for need in self.needs], np.bool_)
        return {kind: wishes & self.fit & self.kinds(kind) for kind in ("shoe", "insole")}

    @cached_property
    def contradictions(self) -> tuple[tuple[int, int, int | None], ...]:
        """Pairs of binding needs that no product can meet, and the must that gives way, if any."""
        bound = np.flatnonzero(self.must | self.never).tolist()
        return tuple(
            (i, j, self._gives_way(i, j))
            for place, i in enumerate(bound)
            for j in bound[place + 1 :]
            if contradict(self.needs[i], self.needs[j])
        )

    def _gives_way(self, i: int, j: int) -> int | None:
        _, given_up = gentler(self.needs[i], self.needs[j], self.book)
        if given_up.strength == "never":
            return None
        return i if given_up is self.needs[i] else j

    def of_pair(self, fired: Mapping[Side, Iterable[str]]) -> PairNeeds:
        """Needs of one pair of feet to be read: with feet, rules and reasons.

        Parameters
        ----------
        fired : for each foot, the ids of its need rules that are true.
        """
        true = {side: set(fired.get(side, ())) for side in SIDES}
        holds = np.array([[any(rule in true[s] for s in SIDES) for rule in self.rules]], np.bool_)
        active = self.active(holds)
        asked = np.flatnonzero(active.asked[0]).tolist()
        said = {n: self._said(n, true) for n in asked}
        conflicts = (
            *self._conflicts(active.asked[0], said),
            *_opposed([replace(said[n], weight=active.weights[0, n]) for n in asked], self.book),
        )
        eased = np.flatnonzero(active.asked[0] & self.must & ~active.binding[0]).tolist()
        soft = {n: replace(said[n], strength="prefer") for n in eased}
        weighed = {n: replace(soft.get(n, said[n]), weight=active.weights[0, n]) for n in asked}
        order = sorted(asked, key=lambda n: need_order(weighed[n]))
        return PairNeeds(tuple(weighed[n] for n in order), conflicts, tuple(order))

    def _said(self, n: int, true: Mapping[Side, set[str]]) -> Need:
        """A need with the feet that ask for it, by which rules, for which reasons."""
        giving = [rule for r, rule in enumerate(self.rules) if self.gives[r, n]]
        by_side = {side: sorted(rule for rule in giving if rule in true[side]) for side in SIDES}
        rules = tuple(dict.fromkeys(rule for side in SIDES for rule in by_side[side]))
        because = tuple(dict.fromkeys(self.book.by_id[rule].rule.because for rule in rules))
        sides = tuple(side for side in SIDES if by_side[side])
        return replace(self.needs[n], sides=sides, rules=rules, because=because)

    def _conflicts(self, asked: Bools, said: Mapping[int, Need]) -> Iterator[Conflict]:
        still = asked.copy()
        for one, other, gives_way in self.contradictions:
            if still[one] and still[other]:
                kept, eased = gentler(said[one], said[other], self.book)
                yield Conflict(kept, eased, _conflict_words(kept, eased, self.book))
                if gives_way is not None:
                    still[gives_way] = False


def _gentle(book: Rulebook, need: Need) -> bool:
    """Whether a wish leads to the side of its attribute that does less to a foot."""
    more = COMPARISONS[need.comparison].lower
    return more == (book.attributes[need.attribute].gentler == "high")


def _opposed(asked: Sequence[Need], book: Rulebook) -> Iterator[Conflict]:
    """Wishes of one foot that no pair can meet together with what the other foot asks for.

    Earlier rulebooks told of none.
    """
    if book.parameters.rank.width is None:
        return
    for one, other in combinations(asked, 2):
        wish = "prefer" in (one.strength, other.strength)
        if wish and contradict(one, other) and not set(one.sides) & set(other.sides):
            kept, eased = _first_of(one, other, book)
            yield Conflict(kept, eased, _opposed_words(kept, eased, book))


def _first_of(one: Need, other: Need, book: Rulebook) -> tuple[Need, Need]:
    """Which of two opposed needs comes first: the binding one, the stronger wish, the gentler."""
    if one.strength != "prefer" or (other.strength == "prefer" and one.weight > other.weight):
        return one, other
    if other.strength != "prefer" or other.weight > one.weight:
        return other, one
    return (one, other) if _gentle(book, one) else (other, one)


def _opposed_words(first: Need, other: Need, book: Rulebook) -> str:
    title = book.attributes[first.attribute].short
    clash = f"{title}: {_asks(other, book)}, {_asks(first, book)}; one pair cannot do both. "
    if first.strength != "prefer":
        done = f"What the {_feet(first)} must have holds, the {_feet(other)} gives way"
    elif first.weight > other.weight:
        done = f"The stronger wish, of the {_feet(first)}, comes first"
    else:
        done = f"Both count alike, so what does less comes first: {wanted_words(first, book)}"
    return (
        clash[0].upper()
        + clash[1:]
        + (
            f"{done}; try both feet on, and judge each by itself. A separate insole for each foot, "
            "or a clinician, may do more."
        )
    )


def _asks(need: Need, book: Rulebook) -> str:
    words = need_words(need, book) if need.strength == "never" else wanted_words(need, book)
    verb = {"prefer": "wants", "must": "must have", "never": "bears"}[need.strength]
    return f"the {_feet(need)} {verb} {words}"


def _of_foot(book: Rulebook, rule_id: str) -> bool:
    """Whether a rule reads something of the feet, not age and purpose alone."""
    return bool(book.by_id[rule_id].facts - {*PERSON, "side"})


def _given(holds: Bools, gives: Bools) -> Bools:
    """Which needs the rules that hold give, (g, n), if rule r gives those of row r of `gives`."""
    return np.asarray(holds.astype(np.float32) @ gives.astype(np.float32) > 0)


def need_table(book: Rulebook) -> NeedTable:
    """The table of everything that `book` can ask, made at its first use."""
    if NeedTable not in book.made:
        book.made[NeedTable] = NeedTable(book)
    table: NeedTable = book.made[NeedTable]
    return table


def needs_of(book: Rulebook, fired: Mapping[Side, Iterable[str]]) -> PairNeeds:
    """Needs of a pair of feet, reconciled; see `NeedTable.of_pair`."""
    return need_table(book).of_pair(fired)


def in_steps(part: Floats, book: Rulebook) -> Floats:
    """A part from -1 to 1 rounded down to the steps in which it is told (``rank.met-steps``)."""
    steps = book.parameters.rank.met_steps
    return np.asarray(np.floor(part * steps + 1e-9) / steps) if steps else part


def need_order(need: Need) -> tuple[object, ...]:
    """Nevers first, then musts, then preferences by falling weight; then by name."""
    strength = ("never", "must", "prefer").index(need.strength)
    return (strength, -need.weight, need.attribute, need.comparison, need.target)


def rule_needs(book: Rulebook, rule_id: str) -> Iterator[Need]:
    """The needs that one rule gives to a foot."""
    rule = book.by_id[rule_id]
    for then in rule.asks:
        target, weight = target_of(book, then), _weight(book, then)
        because = (rule.rule.because,)
        yield Need(then.attribute, then.is_, target, then.strength, weight, (), (rule_id,), because)


def target_of(book: Rulebook, then: NeedThen) -> float:
    """The target of a need as a number: the limit's value, or the step of the scale."""
    if then.level is not None:
        return float(list(book.attributes[then.attribute].scale).index(then.level))
    assert then.limit is not None
    return book.limits[then.limit].values[0].value


def _weight(book: Rulebook, then: NeedThen) -> float:
    """Weight in the score: a must and a never are gates, and add nothing to it."""
    return book.parameters.rank[f"weight-{then.weight}"] if then.strength == "prefer" else 0.0


def _bound(need: Need) -> tuple[Comparison, float]:
    """The bound that a need puts on the attribute: a never is its opposite."""
    comparison = opposite(need.comparison) if need.strength == "never" else need.comparison
    return comparison, need.target


def contradict(one: Need, other: Need) -> bool:
    """Whether no level of an attribute can satisfy both of two needs."""
    if one.attribute != other.attribute:
        return False
    (first, low), (second, high) = _bound(one), _bound(other)
    if COMPARISONS[first].lower == COMPARISONS[second].lower:
        return False
    if not COMPARISONS[first].lower:
        (first, low), (second, high) = (second, high), (first, low)
    strict = first == "above" or second == "below"
    return low > high or (low == high and strict)


def gentler(one: Need, other: Need, book: Rulebook) -> tuple[Need, Need]:
    """The need that stays and the one that gives way; a never always stays over a must."""
    if (one.strength == "never") != (other.strength == "never"):
        return (one, other) if one.strength == "never" else (other, one)
    wants_low = book.attributes[one.attribute].gentler == "low"
    one_is_upper = not COMPARISONS[_bound(one)[0]].lower
    return (one, other) if one_is_upper == wants_low else (other, one)


def _conflict_words(kept: Need, eased: Need, book: Rulebook) -> str:
    title = book.attributes[kept.attribute].title
    clash = (
        f"{title}: the {_feet(eased)} asks for {need_words(eased, book)}, "
        f"the {_feet(kept)} for {need_words(kept, book)}; one pair cannot do both."
    )
    if eased.strength == "never":
        return f"{clash} Both are kept, so nothing suits; see a clinician, or fit each foot apart."
    return (
        f"{clash} The gentler is kept; a split pair, a separate insole for each foot or a "
        "clinician may do more."
    )


def _feet(need: Need) -> str:
    return f"{need.sides[0]} foot" if len(need.sides) == 1 else "pair"


def need_words(need: Need, book: Rulebook) -> str:
    """The comparison of a need in words, without the attribute's name."""
    words = COMPARISONS[need.comparison].words
    prefix = "never " if need.strength == "never" else ""
    return f"{prefix}{words} {level_words(need.attribute, need.target, book)}"


def wanted_words(need: Need, book: Rulebook) -> str:
    """What a wish wants, as it is said aloud: ``soft``, ``medium or more``, ``14 mm or more``."""
    return bound_words(need.attribute, need.comparison, need.target, book)


def bound_words(attribute: str, comparison: Comparison, level: float, book: Rulebook) -> str:
    """A bound on an attribute, as it is said aloud; at the end of a scale nothing lies beyond."""
    more = COMPARISONS[comparison].lower
    scale = book.attributes[attribute].scale
    words = level_words(attribute, level, book)
    if scale and round(level) == (len(scale) - 1 if more else 0):
        return words
    return f"{words} or {'more' if more else 'less'}"


def asked_words(need: Need, book: Rulebook) -> str:
    """A need with its strength and attribute: ``must insole.heel-cup at least 12 mm``."""
    words = need_words(need, book).removeprefix("never ")
    return f"{need.strength} {need.attribute} {words}"


def ruling_words(need: Need, book: Rulebook) -> str:
    """A need as it is said aloud: ``insole heel cup must be at least 12 mm``."""
    part = need.attribute.partition(".")[0]
    lead = "" if part == "pair" else f"{part} "
    bound = "must be " if need.strength == "must" else ""
    return f"{lead}{book.attributes[need.attribute].short} {bound}{need_words(need, book)}"


def level_words(attribute: str, level: float, book: Rulebook) -> str:
    """An attribute's level in words: its value and unit, or the word of its scale."""
    definition = book.attributes[attribute]
    if definition.scale:
        return list(definition.scale)[round(level)]
    unit = {"deg": "°"}.get(definition.unit, f" {definition.unit}")
    return f"{level:g}{unit}"
