"""Random feet for the engines: readings exactly on a limit, missing facts, odd qualifiers.

Columns are those of `recommend.infer.many`; `facts_of_row` gives one row as an engine of one
foot reads it.
"""

from __future__ import annotations

import numpy as np

from recommend.infer.many import Column
from recommend.rulebook.book import Rulebook
from recommend.rulebook.naming import DECIMALS
from recommend.rulebook.terms import Number

STEP = 10.0**-DECIMALS


def limits_of(book: Rulebook, measure: str) -> list[float]:
    """Every constant that some rule compares the readings of `measure` with."""
    names = {measure, f"{measure}_low", f"{measure}_high"}
    found = {
        term.value
        for rule in book.rules
        for branch in (*rule.holds, *rule.fails)
        for term in branch
        if isinstance(term, Number) and term.fact in names
    }
    return sorted(found) or [0.0]


def random_columns(
    book: Rulebook, count: int, rng: np.random.Generator, *, missing: float = 0.3
) -> dict[str, Column]:
    """Facts of `count` feet; measures, answers and words are missing with chance `missing`.

    Every other foot is measured well, so that what rests on many measures is reached as well.

    Of the readings, and of the readings less and plus their error, about half lie exactly on a
    limit or one step of the last decimal beside it.
    """
    columns: dict[str, Column] = {"side": rng.integers(0, 2, count).astype(np.int8)}
    for measure, one in book.measures.items():
        there = rng.random(count) >= missing * (np.arange(count) % 2)
        columns[f"known_{measure}"] = there.astype(np.int8)
        if one.values:
            columns[measure] = _words(len(one.values), there, rng)
            continue
        value, *beside = (_near(limits_of(book, measure), count, rng) for _ in range(3))
        for name, column in (
            (measure, value),
            (f"{measure}_low", np.minimum(value, beside[0])),
            (f"{measure}_high", np.maximum(value, beside[1])),
        ):
            columns[name] = np.where(there, column, np.nan)
        for qualifier, words in one.qualifiers.items():
            told = there & (rng.random(count) >= missing / 3)
            usual = rng.random(count) < 0.7  # the first word is the way most visits are taken
            column = _words(len(words), told, rng)
            columns[f"{measure}_{qualifier}"] = np.where(told & usual, 0, column).astype(np.int8)
    for fact, words in book.vocabulary.words.items():
        if fact.startswith(("answer_", "pain_", "visit_")):
            columns[fact] = _words(len(words), rng.random(count) >= missing, rng)
    for question, fact in book.open_questions.items():
        columns[fact] = (columns[f"answer_{question}"] >= 0).astype(np.int8)
    return columns


def _words(size: int, there: np.ndarray, rng: np.random.Generator) -> Column:
    return np.where(there, rng.integers(0, size, len(there)), -1).astype(np.int8)


def _near(limits: list[float], count: int, rng: np.random.Generator) -> np.ndarray:
    """Readings around `limits`, half of them on one or one step beside it."""
    span = (limits[-1] - limits[0]) or max(1.0, abs(limits[0]))
    wide = rng.uniform(limits[0] - span, limits[-1] + span, count)
    beside = rng.choice([-STEP, 0.0, 0.0, STEP], count)
    on = rng.choice(limits, count) + beside
    return np.round(np.where(rng.random(count) < 0.5, on, wide), DECIMALS) + 0.0


def facts_of_row(columns: dict[str, Column], row: int, book: Rulebook) -> dict[str, float | str]:
    """The facts of one row; what is missing there gives no fact."""
    facts: dict[str, float | str] = {}
    for name, column in columns.items():
        value = column[row].item()
        words = book.vocabulary.words.get(name)
        if words is None:
            if value == value:
                facts[name] = value
        elif value >= 0:
            facts[name] = words[value]
    return facts
