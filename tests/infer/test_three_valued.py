"""The shipped rulebook by three ways of running it: as written, forward chaining, columns."""

from __future__ import annotations

import numpy as np
import pytest

from recommend.infer.engine import REFERENCE, Engine, is_built, new_engine
from recommend.infer.many import columns_of, conclude_many
from recommend.rulebook.book import Rulebook
from tests.infer.feet import facts_of_row, random_columns
from tests.infer.kleene import PlainFoot


def test_every_rule_is_as_true_as_it_is_written(book: Rulebook) -> None:
    """On 2,500 random feet the compiled rules are true, false and unknown as the raw ones are."""
    count = 2500
    columns = random_columns(book, count, np.random.default_rng(45))
    many = conclude_many(book, columns, count, fails=True)
    met: dict[str, set[bool | None]] = {rule.id: set() for rule in book.rules}
    for row in range(count):
        foot = PlainFoot(book, facts_of_row(columns, row, book))
        for rule in book.rules:
            truth = foot.truth(rule.id)
            met[rule.id].add(truth)
            assert (truth is True) == many.holds[rule.id][row], (rule.id, row)
            assert (truth is False) == many.fails[rule.id][row], (rule.id, row)
        for axis, codes in many.axes.items():
            value = foot.axis(axis)
            words = list(book.axes[axis].values)
            assert codes[row] == (-1 if value is None else words.index(value)), (axis, row)
    # The comparison means something only where rules come out both ways.
    assert all({True, False} <= one for name, one in met.items() if name != "need-usual-basics")


@pytest.mark.skipif(not is_built(), reason="durable-rules is not installed")
def test_both_engines_conclude_the_same(book: Rulebook) -> None:
    """On 400 random feet durable-rules and numpy agree on every rule and every axis."""
    count, engine = 400, new_engine(book, REFERENCE)
    columns = random_columns(book, count, np.random.default_rng(43))
    many = conclude_many(book, columns, count, fails=True)
    for row in range(count):
        one = engine.conclude(facts_of_row(columns, row, book))
        for rule in book.rules:
            truth = (
                True if many.holds[rule.id][row] else False if many.fails[rule.id][row] else None
            )
            assert one.truth[rule.id] is truth, (rule.id, row)
        for axis, value in one.axes.items():
            words = list(book.axes[axis].values)
            assert many.axes[axis][row] == (-1 if value is None else words.index(value))


def test_a_foot_without_facts_is_undetermined(book: Rulebook, engine: Engine) -> None:
    """With nothing measured no axis has a value, and no rule that reads a measure is decided."""
    facts: dict[str, float | str] = {"side": "left"}
    facts |= {f"known_{measure}": "no" for measure in book.measures}
    one = engine.conclude(facts)
    assert set(one.axes.values()) == {None}
    for rule in book.rules:
        if not any(f.startswith(("known_", "decided_")) for f in rule.facts):
            assert one.truth[rule.id] is None, rule.id
    many = conclude_many(book, columns_of([facts], book.vocabulary), 1, fails=True)
    for rule in book.rules:
        assert bool(many.holds[rule.id][0]) == (one.truth[rule.id] is True)
        assert bool(many.fails[rule.id][0]) == (one.truth[rule.id] is False)


def test_a_column_left_out_is_missing_for_every_foot(book: Rulebook) -> None:
    """Leaving a column out, and giving it as missing for everyone, conclude the same."""
    columns = random_columns(book, 500, np.random.default_rng(47))
    dropped = ("fpi", "peak-angle_low", "cop-pattern", "visit_age-band")
    missing = {
        name: np.full_like(column, np.nan if column.dtype == np.float64 else -1)
        for name, column in columns.items()
        if name in dropped
    }
    without = {name: column for name, column in columns.items() if name not in dropped}
    one = conclude_many(book, without, 500, fails=True)
    other = conclude_many(book, columns | missing, 500, fails=True)
    _same(one, other)


def test_a_column_of_length_one_is_the_same_for_every_foot(book: Rulebook) -> None:
    """A fact given once, and given for each foot, conclude the same; also for one foot."""
    columns = random_columns(book, 500, np.random.default_rng(53))
    for count in (1, 500):
        for row in range(5):
            once = {name: columns[name][row : row + 1] for name in ("visit_purpose", "fpi", "side")}
            long = {name: np.repeat(column, count) for name, column in once.items()}
            rest = {name: column[:count] for name, column in columns.items()}
            one = conclude_many(book, rest | once, count, fails=True)
            _same(one, conclude_many(book, rest | long, count, fails=True))


def test_only_the_rules_asked_for(book: Rulebook) -> None:
    """Asking for some rules gives them, and the axes behind them, as asking for all does."""
    columns = random_columns(book, 500, np.random.default_rng(59))
    every = conclude_many(book, columns, 500, fails=True)
    asked = ["type-pronated-much", "need-much-support", "see-diabetes"]
    some = conclude_many(book, columns, 500, fails=True, only=asked)
    assert list(some.holds) == list(some.fails) == asked
    assert set(some.axes) >= {"posture", "arch", "amount", "timing"}
    assert not set(some.axes) & {"width", "standing", "foot-type"}
    for name in asked:
        assert np.array_equal(some.holds[name], every.holds[name])
        assert np.array_equal(some.fails[name], every.fails[name])
    for axis in some.axes:
        assert np.array_equal(some.axes[axis], every.axes[axis])


def test_blocks_do_not_show(book: Rulebook, monkeypatch) -> None:
    """How many rows are run at a time changes nothing."""
    columns = random_columns(book, 1000, np.random.default_rng(61))
    whole = conclude_many(book, columns, 1000, fails=True)
    monkeypatch.setattr("recommend.infer.many.CHUNK", 77)
    _same(whole, conclude_many(book, columns, 1000, fails=True))


def _same(one, other) -> None:
    for part in ("holds", "fails", "axes"):
        first, second = getattr(one, part), getattr(other, part)
        assert first.keys() == second.keys()
        assert all(np.array_equal(first[name], second[name]) for name in first), part
