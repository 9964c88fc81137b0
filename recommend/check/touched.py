"""One rule among the others: how many feet it touches, and which rules fire beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from recommend.check.examples import Case, concluded, load_examples
from recommend.check.mixture import Crowd
from recommend.check.people import People
from recommend.errors import InputError, Place
from recommend.rulebook.book import CompiledRule, Rulebook

_NEIGHBOURS = 5
_CUSTOMERS = 5000


@dataclass(frozen=True, slots=True)
class Touched:
    """A rule with what is known of its reach.

    Attributes
    ----------
    share : share of the feet of the population for which it holds.
    feet : how many feet were drawn.
    adults : share of the healthy adults one of whose feet it holds for.
    drawn, customers : of so many customers with children, pain and answers among them, how many it
        holds for, and the share of a shop's that they stand for (`check/mixture`).
    beside : rules of its stage that hold for the same feet, with the share of its feet.
    examples : worked examples in which it holds.
    """

    rule: CompiledRule
    share: float
    feet: int
    adults: float
    drawn: tuple[int, int]
    customers: float
    beside: Mapping[str, float]
    examples: tuple[Case, ...]


def touched(book: Rulebook, rule: CompiledRule, count: int = 20000, seed: int = 1) -> Touched:
    """Draw `count` feet of the modelled population and see for which `rule` holds."""
    people = People.of(book, count, seed)
    if people is None:
        raise InputError(Place(book.folder), "no population.yaml is here, so no feet can be drawn")
    holds = people.feet["left"].holds
    mine = holds[rule.id]
    beside = {
        other.id: float(np.mean(holds[other.id][mine])) if mine.any() else 0.0
        for other in book.rules
        if other.stage == rule.stage and other.id != rule.id
    }
    near = sorted(beside.items(), key=lambda pair: (-pair[1], pair[0]))[:_NEIGHBOURS]
    crowd = Crowd.of(book, _CUSTOMERS, seed)
    met, customers = crowd.touched(rule.id)
    cases, _ = load_examples(book)
    firing = [bool(one) for one in concluded(book, cases).holds[rule.id]] if cases else []
    return Touched(
        rule=rule,
        share=float(mine.mean()),
        feet=count,
        adults=people.share_noted(rule.id),
        drawn=(met, _CUSTOMERS),
        customers=customers,
        beside={name: share for name, share in near if share > 0},
        examples=tuple(case for case, fires in zip(cases, firing, strict=True) if fires),
    )
