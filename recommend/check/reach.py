"""Whom a rule touches, and products that no foot can be offered, whatever is measured."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.check.cells import base_facts, below, comparable, space_of, truths
from recommend.check.examples import Case, concluded, load_examples
from recommend.check.feet import MOVING
from recommend.check.finding import Finding
from recommend.check.people import People
from recommend.errors import InputError, Place
from recommend.match.judge import Judged
from recommend.match.needs import level_words, need_table
from recommend.rulebook.book import CompiledRule, Rulebook

_ADULTS = 2000
_SHOWN = 3  # rules named in one finding
_ROWS = (20_000, 200_000)  # feet looked at: most products suit some foot that is soon found


def reach_findings(book: Rulebook, catalogue: Catalogue) -> Iterator[Finding]:
    """Products that a must or a never rules out for every foot with everything known."""

    @cache
    def avoidable(ids: frozenset[str]) -> bool | None:
        return _some_foot_without(book, tuple(r for r in book.rules if r.id in ids))

    places = places_of(catalogue)
    adults = People.of(book, _ADULTS)
    for item, against in broken_by_rules(book, catalogue):
        if adults is not None and adults.spared(against):
            continue  # most products are found so
        for group in _independent(book, [book.by_id[one] for one in against]):
            verdict = avoidable(frozenset(rule.id for rule in group))
            if verdict is not True:
                broken = [words for rule in group for words in against[rule.id]]
                yield _finding(item, places[item.id], group, broken, verdict is False, book)


def _finding(
    item: Item,
    place: Place,
    rules: list[CompiledRule],
    broken: list[str],
    certain: bool,
    book: Rulebook,
) -> Finding:
    names = [f"`{rule.id}`" for rule in rules[:_SHOWN]]
    more = f" and {len(rules) - _SHOWN} more" if len(rules) > _SHOWN else ""
    what = sorted(set(broken))
    return Finding(
        "suits-nobody", "warning" if certain else "note", place,
        f"product `{item.id}` is ruled out for every foot{'' if certain else ' that was drawn'}: "
        f"{'; '.join(what)} (rules {', '.join(names)}{more})",
        mend="correct or state these attributes, or take the product out of the catalogue",
        related=tuple(rule.place for rule in rules[:_SHOWN]),
    )  # fmt: skip


def broken_by_rules(
    book: Rulebook, catalogue: Catalogue
) -> Iterator[tuple[Item, dict[str, list[str]]]]:
    """Every product with the rules that rule it out when they fire, and by which attributes."""
    table = need_table(book)
    binding = table.active(np.eye(len(table.rules), dtype=np.bool_)).binding
    judged = Judged(book, table.needs, [(item,) for item in catalogue.items])
    for row, item in enumerate(catalogue.items):
        out = binding & (judged.broken[row] & judged.concerns[row])
        words = {
            n: _words(table.needs[n].attribute, float(judged.level[row, n]), book)
            for n in np.flatnonzero(out.any(axis=0))
        }
        yield (
            item,
            {
                table.rules[r]: [words[n] for n in np.flatnonzero(out[r])]
                for r in np.flatnonzero(out.any(axis=1))
            },
        )


def _words(name: str, level: float, book: Rulebook) -> str:
    return f"{name} is {'not stated' if np.isnan(level) else level_words(name, level, book)}"


def _independent(book: Rulebook, rules: Iterable[CompiledRule]) -> list[list[CompiledRule]]:
    """Rules grouped so that no two groups read a common fact: each is looked at by itself."""
    groups: list[tuple[set[str], list[CompiledRule]]] = []
    for rule in rules:
        facts = set(base_facts(book, [rule]))
        if facts & set(MOVING):
            facts |= set(MOVING)  # phases of one film go together
        mine = [rule]
        for other in [g for g in groups if g[0] & facts]:
            groups.remove(other)
            facts |= other[0]
            mine = other[1] + mine
        groups.append((facts, mine))
    return [members for _, members in groups]


def _some_foot_without(book: Rulebook, rules: tuple[CompiledRule, ...]) -> bool | None:
    """Whether some foot, all known, makes none of `rules` fire; None when too many to look at."""
    for most in _ROWS:
        space = space_of(book, rules, most)
        done = truths(book, rules, space)
        free = comparable(space, below(book, rules))
        free &= ~np.logical_or.reduce([done.holds[rule.id] for rule in rules])
        if free.any():
            return True
        if space.exhausted:
            return False
    return None


def places_of(catalogue: Catalogue) -> dict[str, Place]:
    """Where each product stands, by id."""
    places: dict[str, Place] = {}
    for name in catalogue.texts:
        document = catalogue.texts.document(name)
        for index, product in enumerate(document.data["products"]):
            places[product["id"]] = document.place(("products", index, "id"))
    return places


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
        holds for, and the share of a shop's that they stand for (`check/people`).
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
    met, customers = People.mixed(book, _CUSTOMERS, seed).touched(rule.id)
    cases, _ = load_examples(book)
    firing = [bool(one) for one in concluded(book, cases).holds[rule.id]] if cases else []
    return Touched(
        rule=rule,
        share=float(mine.mean()),
        feet=count,
        adults=people.touched(rule.id)[1],
        drawn=(met, _CUSTOMERS),
        customers=customers,
        beside={name: share for name, share in near if share > 0},
        examples=tuple(case for case, fires in zip(cases, firing, strict=True) if fires),
    )
