"""Judging a shoe, an insole or a pair of both, need by need."""

from __future__ import annotations

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
    """All verdicts of one product or pair, and its score of 100."""

    verdicts: tuple[Verdict, ...]
    score: float | None

    @property
    def suitable(self) -> bool:
        """Whether every must is met and no never is broken."""
        return not any(verdict.broken for verdict in self.verdicts)


def judge(parts: tuple[Item, ...], needs: PairNeeds, book: Rulebook) -> Judgement:
    """Judge a shoe, an insole, or a shoe with an insole.

    Only needs that speak of these parts are judged; a need of the pair is judged on what is
    there (a shoe alone has no insole wedge to add).
    """
    levels = levels_of(parts, book)
    kinds = {part.product.kind for part in parts} | {"pair"}
    verdicts = tuple(
        verdict_on(need, levels.get(need.attribute), book)
        for need in needs.needs
        if need.attribute.partition(".")[0] in kinds
    )
    return Judgement(verdicts, score_of(verdicts))


def judge_pair(
    shoe: Judgement, insole: Judgement, parts: tuple[Item, Item], needs: PairNeeds, book: Rulebook
) -> Judgement:
    """The same as `judge` of both parts, from the judgements of each by itself."""
    together = PairNeeds(tuple(n for n in needs.needs if _is_of_pair(n)), ())
    own = [v for one in (shoe, insole) for v in one.verdicts if not _is_of_pair(v.need)]
    verdicts = (*own, *judge(parts, together, book).verdicts)
    return Judgement(verdicts, score_of(verdicts))


def _is_of_pair(need: Need) -> bool:
    return need.attribute.startswith("pair.")


def levels_of(parts: tuple[Item, ...], book: Rulebook) -> dict[str, float]:
    """Levels of all attributes of the parts, and those of the pair they make."""
    levels = {name: level for part in parts for name, level in part.levels.items()}
    kinds = {part.product.kind for part in parts}
    for name, attribute in book.attributes.items():
        parts_of = [one for one in attribute.sum_of if one.partition(".")[0] in kinds]
        if parts_of and all(one in levels for one in parts_of):
            levels[name] = sum(levels[one] for one in parts_of)
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


def score_of(verdicts: tuple[Verdict, ...]) -> float | None:
    """Weighted mean of satisfaction, of 100; None when nothing that counts was asked."""
    total = sum(verdict.need.weight for verdict in verdicts)
    if total == 0:
        return None
    return 100 * sum(v.need.weight * v.satisfaction for v in verdicts) / total
