"""What the feet of one pair need: needs of both feet gathered, reconciled, contradictions told.

'Never' of either foot binds the pair; 'must' of both feet add up. Where two musts contradict,
or a must asks for what a never forbids, the side that does less to a foot wins and the other
becomes a strong wish; the contradiction is said in words.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import Comparison, NeedsThen, NeedThen, Strength

_OPPOSITE: dict[Comparison, Comparison] = {
    "above": "at-most",
    "at-least": "below",
    "below": "at-least",
    "at-most": "above",
}
_LOWER = ("at-least", "above")


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

    def met(self, level: float) -> bool:
        """Whether the comparison holds for an attribute at `level`."""
        return {
            "at-least": level >= self.target,
            "at-most": level <= self.target,
            "above": level > self.target,
            "below": level < self.target,
        }[self.comparison]

    def shortfall(self, level: float) -> float:
        """How far `level` is from meeting the comparison, in its unit; 0 when it is met."""
        if self.met(level):
            return 0.0
        return abs(level - self.target)


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two needs that no pair can meet together, and what was done about it."""

    kept: Need
    eased: Need
    text: str


@dataclass(frozen=True, slots=True)
class PairNeeds:
    """Everything one pair should be: needs in a fixed order, and contradictions."""

    needs: tuple[Need, ...]
    conflicts: tuple[Conflict, ...]

    @property
    def of_pair(self) -> tuple[Need, ...]:
        """Needs that speak of shoe and insole together."""
        return tuple(need for need in self.needs if need.attribute.startswith("pair."))

    def of(self, strength: Strength) -> tuple[Need, ...]:
        """Needs of one strength."""
        return tuple(need for need in self.needs if need.strength == strength)


def needs_of(book: Rulebook, fired: Mapping[Side, Iterable[str]]) -> PairNeeds:
    """Needs of a pair of feet, reconciled.

    Parameters
    ----------
    book : the rulebook.
    fired : for each foot, the ids of its need rules that are true.
    """
    merged: dict[tuple[object, ...], Need] = {}
    for side in SIDES:
        for rule_id in sorted(fired.get(side, ())):
            for need in rule_needs(book, rule_id, side):
                key = (need.attribute, need.comparison, need.target, need.strength)
                merged[key] = _joined(merged.get(key), need)
    ordered = sorted(merged.values(), key=need_order)
    return _reconciled(ordered, book)


def need_order(need: Need) -> tuple[object, ...]:
    """Nevers first, then musts, then preferences by falling weight; then by name."""
    strength = ("never", "must", "prefer").index(need.strength)
    return (strength, -need.weight, need.attribute, need.comparison, need.target)


def rule_needs(book: Rulebook, rule_id: str, side: Side) -> Iterator[Need]:
    """The needs that one rule gives to one foot."""
    rule = book.by_id[rule_id].rule
    if not isinstance(rule.then, NeedsThen):
        return
    for then in rule.then.needs:
        yield Need(
            attribute=then.attribute,
            comparison=then.is_,
            target=target_of(book, then),
            strength=then.strength,
            weight=_weight(book, then),
            sides=(side,),
            rules=(rule_id,),
            because=(rule.because,),
        )


def target_of(book: Rulebook, then: NeedThen) -> float:
    """The target of a need as a number: the limit's value, or the step of the scale."""
    if then.level is not None:
        return float(list(book.attributes[then.attribute].scale).index(then.level))
    assert then.limit is not None
    return book.limits[then.limit].values[0].value


def _weight(book: Rulebook, then: NeedThen) -> float:
    """Weight in the score: a must and a never are gates, and add nothing to it."""
    return book.parameters[f"rank.weight-{then.weight}"] if then.strength == "prefer" else 0.0


def _joined(before: Need | None, need: Need) -> Need:
    """The same need of another foot or rule, said once."""
    if before is None:
        return need
    return replace(
        before,
        weight=max(before.weight, need.weight),
        sides=tuple(s for s in SIDES if s in {*before.sides, *need.sides}),
        rules=tuple(dict.fromkeys((*before.rules, *need.rules))),
        because=tuple(dict.fromkeys((*before.because, *need.because))),
    )


def _reconciled(needs: list[Need], book: Rulebook) -> PairNeeds:
    binding = [need for need in needs if need.strength != "prefer"]
    conflicts: list[Conflict] = []
    eased: set[Need] = set()
    for index, one in enumerate(binding):
        for other in binding[index + 1 :]:
            if {one, other} & eased or not contradict(one, other):
                continue
            kept, given_up = gentler(one, other, book)
            conflicts.append(Conflict(kept, given_up, _conflict_words(kept, given_up, book)))
            if given_up.strength == "must":  # a never is never given up
                eased.add(given_up)
    strong = book.parameters["rank.weight-strong"]
    softened = [replace(n, strength="prefer", weight=strong) if n in eased else n for n in needs]
    return PairNeeds(tuple(sorted(softened, key=need_order)), tuple(conflicts))


def _bound(need: Need) -> tuple[Comparison, float]:
    """The bound that a binding need puts on the attribute: a never is its opposite."""
    comparison = need.comparison if need.strength == "must" else _OPPOSITE[need.comparison]
    return comparison, need.target


def contradict(one: Need, other: Need) -> bool:
    """Whether no level of an attribute can satisfy both of two binding needs."""
    if one.attribute != other.attribute:
        return False
    (first, low), (second, high) = _bound(one), _bound(other)
    if (first in _LOWER) == (second in _LOWER):
        return False
    if first not in _LOWER:
        (first, low), (second, high) = (second, high), (first, low)
    strict = first == "above" or second == "below"
    return low > high or (low == high and strict)


def gentler(one: Need, other: Need, book: Rulebook) -> tuple[Need, Need]:
    """The need that stays and the one that gives way; a never always stays over a must."""
    if (one.strength == "never") != (other.strength == "never"):
        return (one, other) if one.strength == "never" else (other, one)
    wants_low = book.attributes[one.attribute].gentler == "low"
    one_is_upper = _bound(one)[0] not in _LOWER
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
    words = {
        "at-least": "at least", "at-most": "at most", "above": "more than", "below": "less than",
    }[need.comparison]  # fmt: skip
    prefix = "never " if need.strength == "never" else ""
    return f"{prefix}{words} {level_words(need.attribute, need.target, book)}"


def asked_words(need: Need, book: Rulebook) -> str:
    """A need with its strength and attribute: ``must insole.heel-cup at least 12 mm``."""
    words = need_words(need, book).removeprefix("never ")
    return f"{need.strength} {need.attribute} {words}"


def level_words(attribute: str, level: float, book: Rulebook) -> str:
    """An attribute's level in words: its value and unit, or the word of its scale."""
    definition = book.attributes[attribute]
    if definition.scale:
        return list(definition.scale)[round(level)]
    unit = {"deg": "°"}.get(definition.unit, f" {definition.unit}")
    return f"{level:g}{unit}"
