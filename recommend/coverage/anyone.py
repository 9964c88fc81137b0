"""Feet spread over everything the rules can tell apart, likely or not.

A population draws the likely. To find a product that no rule can ever list, one needs feet on
both sides of every limit in every combination that chance finds, missing readings, all ages and
all answers included.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from recommend.coverage.columns import error_of_mean
from recommend.coverage.numbers import Array
from recommend.infer.many import Column, conclude_many
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import Number
from recommend.rulebook.vocabulary import about

MISSING = 0.1  # share of readings left out
ENDS = ("_low", "_high")


def holds_for_anyone(book: Rulebook, rules: tuple[str, ...], count: int, seed: int) -> Array:
    """Which of `rules` hold for `count` feet spread over all limits and words, (n, rules).

    Sets that repeat are given once.
    """
    columns = dict(_columns(book, count, np.random.default_rng(seed)))
    holds = conclude_many(book, columns, count).holds
    return np.unique(np.column_stack([holds[rule] for rule in rules]), axis=0)


def _columns(book: Rulebook, count: int, rng: np.random.Generator) -> Iterator[tuple[str, Column]]:
    limits = _limits(book)
    known = {name: rng.random(count) >= MISSING for name in book.measures}
    for name, definition in book.measures.items():
        yield f"known_{name}", known[name].astype(np.int8)
        if definition.values:
            continue
        values = _around(limits.get(name, []), count, rng)
        margin = book.parameters.noise.clearly * error_of_mean(definition, 1)
        for fact, shift in ((name, 0.0), (f"{name}_low", -margin), (f"{name}_high", margin)):
            yield fact, np.where(known[name], values + shift, np.nan)
    for fact, words in book.vocabulary.words.items():
        one = about(fact)
        if one.concluded or one.kind in ("known", "asked"):
            continue
        codes = rng.integers(0, len(words), count)
        here = known[one.of] if one.kind == "measure" else rng.random(count) >= MISSING
        yield fact, np.where(here | (fact == "side"), codes, -1).astype(np.int8)
        if one.kind == "answer":
            yield f"asked_{one.of}", here.astype(np.int8)


def _limits(book: Rulebook) -> dict[str, list[float]]:
    """Constants that each measure is compared with by some rule."""
    found: dict[str, set[float]] = {}
    for rule in book.rules:
        for form in (rule.holds, rule.fails):
            for term in (term for conjunction in form for term in conjunction):
                if isinstance(term, Number):
                    name = term.fact
                    for end in ENDS:
                        name = name.removesuffix(end)
                    found.setdefault(name, set()).add(term.value)
    return {name: sorted(values) for name, values in found.items()}


def _around(limits: list[float], count: int, rng: np.random.Generator) -> Array:
    """Values in every gap between the limits and beyond both ends, all gaps alike."""
    if not limits:
        return np.zeros(count)
    width = max(limits[-1] - limits[0], abs(limits[0]), 1.0)
    edges = np.array([limits[0] - width, *limits, limits[-1] + width])
    gap = rng.integers(0, len(edges) - 1, count)
    return np.asarray(edges[gap] + rng.random(count) * (edges[gap + 1] - edges[gap]))
