"""Products that no foot can be offered, whatever is measured."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.check.cells import MAX_ROWS, base_facts, below, comparable, space_of, truths
from recommend.check.feet import MOVING
from recommend.check.finding import Finding
from recommend.errors import Place
from recommend.match.judge import Verdict, judge
from recommend.match.needs import level_words, needs_of
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import NeedsThen

_SHOWN = 3  # rules named in one finding
_FEW_ROWS = 20_000


def reach_findings(book: Rulebook, catalogue: Catalogue) -> Iterator[Finding]:
    """Products that a must or a never rules out for every foot with everything known."""

    @cache
    def avoidable(ids: frozenset[str]) -> bool | None:
        return _some_foot_without(book, tuple(r for r in book.rules if r.id in ids))

    places = places_of(catalogue)
    for item in catalogue.items:
        against = {r.id: broken for r in book.rules if (broken := _broken(r, item, book))}
        for group in _independent(book, [book.by_id[one] for one in against]):
            verdict = avoidable(frozenset(rule.id for rule in group))
            if verdict is not True:
                broken = [v for rule in group for v in against[rule.id]]
                yield _finding(item, places[item.id], group, broken, verdict is False, book)


def _finding(
    item: Item,
    place: Place,
    rules: list[CompiledRule],
    broken: list[Verdict],
    certain: bool,
    book: Rulebook,
) -> Finding:
    names = [f"`{rule.id}`" for rule in rules[:_SHOWN]]
    more = f" and {len(rules) - _SHOWN} more" if len(rules) > _SHOWN else ""
    what = sorted({_level_words(verdict, book) for verdict in broken})
    return Finding(
        "unreachable-product", "warning" if certain else "note", place,
        f"product `{item.id}` is ruled out for every foot{'' if certain else ' that was drawn'}: "
        f"{'; '.join(what)} (rules {', '.join(names)}{more})",
        mend="correct or state these attributes, or take the product out of the catalogue",
        related=tuple(rule.place for rule in rules[:_SHOWN]),
    )  # fmt: skip


def _level_words(verdict: Verdict, book: Rulebook) -> str:
    name = verdict.need.attribute
    if verdict.level is None:
        return f"{name} is not stated"
    return f"{name} is {level_words(name, verdict.level, book)}"


def _broken(rule: CompiledRule, item: Item, book: Rulebook) -> list[Verdict]:
    """Verdicts by which `rule`, when it fires, rules the product out."""
    if not isinstance(rule.rule.then, NeedsThen):
        return []
    judged = judge((item,), needs_of(book, {"left": [rule.id]}), book)
    return [verdict for verdict in judged.verdicts if verdict.broken]


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
    for most in (_FEW_ROWS, MAX_ROWS):  # most products suit some foot that is soon found
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
