"""Judging a shoe, an insole or a pair of both, need by need."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from recommend.catalogue.loading import Item
from recommend.match.needs import Need, PairNeeds
from recommend.rulebook.book import Rulebook


@dataclass(frozen=True, slots=True)
class Verdict:
    """How one product (or pair) stands to one need.

    Attributes
    ----------
    need : the need.
    level : the product's level, or None when it is not stated.
    shortfall : how far it is from meeting the need, in the attribute's unit or steps; None
        when the level is not stated.
    satisfaction : 0 to 1; 1 when met, falling to 0 at the attribute's tolerance.
    """

    need: Need
    level: float | None
    shortfall: float | None
    satisfaction: float

    @property
    def broken(self) -> bool:
        """Whether this alone rules the product out: an unmet must or a never that holds.

        An attribute that is not stated cannot be shown to be safe, so it rules out as well.
        """
        if self.need.strength == "prefer":
            return False
        if self.level is None:
            return True
        return self.need.met(self.level) == (self.need.strength == "never")


@dataclass(frozen=True, slots=True)
class Judgement:
    """All verdicts of one product or pair.

    `weight` and `gained` are the sums of weights asked and satisfied; `suitable` is whether
    every must is met and no never is broken.
    """

    verdicts: tuple[Verdict, ...]
    weight: float
    gained: float
    suitable: bool

    @property
    def score(self) -> float | None:
        """Weighted mean of satisfaction, of 100; None when nothing that counts was asked."""
        return 100 * self.gained / self.weight if self.weight else None


def judge(parts: tuple[Item, ...], needs: PairNeeds, book: Rulebook) -> Judgement:
    """Judge a shoe, an insole, or a shoe with an insole.

    Only needs that speak of these parts are judged; a need of the pair is judged on what is
    there (a shoe alone has no insole wedge to add).
    """
    own = [judge_alone(part, needs, book) for part in parts]
    return joined(*own, judge_together(parts, needs, book))


def judge_alone(part: Item, needs: PairNeeds, book: Rulebook) -> Judgement:
    """Verdicts on the needs that speak of a product's own attributes."""
    kind = f"{part.product.kind}."
    own = [need for need in needs.needs if need.attribute.startswith(kind)]
    return _judged(verdict_on(need, part.levels.get(need.attribute), book) for need in own)


def judge_together(parts: tuple[Item, ...], needs: PairNeeds, book: Rulebook) -> Judgement:
    """Verdicts on the needs that speak of what the parts add up to."""
    levels = pair_levels(parts, book)
    return _judged(verdict_on(n, levels.get(n.attribute), book) for n in needs.of_pair)


def joined(*judgements: Judgement) -> Judgement:
    """One judgement of several that share no verdict."""
    return Judgement(
        tuple(verdict for one in judgements for verdict in one.verdicts),
        sum(one.weight for one in judgements),
        sum(one.gained for one in judgements),
        all(one.suitable for one in judgements),
    )


def _judged(given: Iterable[Verdict]) -> Judgement:
    verdicts = tuple(given)
    weight = sum(verdict.need.weight for verdict in verdicts)
    gained = sum(verdict.need.weight * verdict.satisfaction for verdict in verdicts)
    return Judgement(verdicts, weight, gained, not any(verdict.broken for verdict in verdicts))


def pair_levels(parts: tuple[Item, ...], book: Rulebook) -> dict[str, float]:
    """Levels of the attributes that are sums over the parts; absent when a part is not stated."""
    levels: dict[str, float] = {}
    for name, sums in book.sums.items():
        found = [
            part.levels.get(one)
            for part in parts
            for one in sums
            if one.partition(".")[0] == part.product.kind
        ]
        known = [level for level in found if level is not None]
        if found and len(known) == len(found):
            levels[name] = sum(known)
    return levels


def verdict_on(need: Need, level: float | None, book: Rulebook) -> Verdict:
    """The verdict of one need on an attribute at `level`."""
    if level is None:
        return Verdict(need, None, None, 0.0)
    if need.strength == "never":
        return Verdict(need, level, 0.0, 0.0 if need.met(level) else 1.0)
    shortfall = need.shortfall(level)
    tolerance = book.attributes[need.attribute].tolerance
    satisfied = 1.0 if need.met(level) else max(0.0, 1.0 - shortfall / tolerance)
    return Verdict(need, level, shortfall, satisfied)
