"""CLIPS, an engine from elsewhere, runs the same compiled rulebook and concludes the same.

Source: CLIPS 6.4 (Riley and others, NASA Johnson Space Center, 1985 to 2021; public domain)
through clipspy. Feet are random: a third of the facts of every other foot is missing, and half
of the readings lie exactly on a limit or one last decimal beside it.
"""

from __future__ import annotations

import numpy as np
import pytest

from recommend.infer.engine import REFERENCE, is_built, new_engine
from recommend.infer.many import conclude_many
from recommend.rulebook.book import Rulebook
from tests.bench.by_hand import classify
from tests.infer.feet import facts_of_row, random_columns
from tests.outside.clips_rules import Clips

FEET_IN_CLIPS = 4_000
FEET_AT_THE_COUNTER = 1_000


def test_clips_concludes_the_same(book: Rulebook) -> None:
    """On 4,000 random feet every rule and axis is in CLIPS what it is in numpy."""
    columns = random_columns(book, FEET_IN_CLIPS, np.random.default_rng(20260101))
    many = conclude_many(book, columns, FEET_IN_CLIPS, fails=True)
    true, false, axes = Clips(book).conclude(columns, FEET_IN_CLIPS)
    for number, rule in enumerate(book.rules):
        assert np.array_equal(true[number], many.holds[rule.id]), rule.id
        assert np.array_equal(false[number], many.fails[rule.id]), rule.id
    for number, axis in enumerate(book.axes):
        assert np.array_equal(axes[number], many.axes[axis]), axis
    # The feet are worth comparing: every value of every axis occurs, and so does undetermined.
    for axis, codes in many.axes.items():
        assert set(np.unique(codes)) == set(range(-1, len(book.axes[axis].values))), axis


@pytest.mark.skipif(not is_built(), reason="durable-rules is not installed")
def test_the_counter_concludes_the_same(book: Rulebook) -> None:
    """On 1,000 random feet every rule and axis is in durable-rules what it is in numpy.

    The script tests/bench/agreement.py does 200,000.
    """
    count, engine = FEET_AT_THE_COUNTER, new_engine(book, REFERENCE)
    columns = random_columns(book, count, np.random.default_rng(20260202))
    many = conclude_many(book, columns, count, fails=True)
    for row in range(count):
        one = engine.conclude(facts_of_row(columns, row, book))
        for rule in book.rules:
            assert (one.truth[rule.id] is True) == many.holds[rule.id][row], (rule.id, row)
            assert (one.truth[rule.id] is False) == many.fails[rule.id][row], (rule.id, row)
        for axis, value in one.axes.items():
            words = [None, *book.axes[axis].values]
            assert words[many.axes[axis][row] + 1] == value, (axis, row)


def test_the_classify_stage_by_hand_concludes_the_same(book: Rulebook) -> None:
    """On 4,000 random feet every axis is in numpy what the same limits give written by hand.

    The hand-written stage knows no rule language; it is also the yardstick of tests/bench/engines.
    """
    columns = random_columns(book, FEET_IN_CLIPS, np.random.default_rng(20260303))
    stage = [rule.id for rule in book.rules if rule.stage == "classify"]
    axes = conclude_many(book, columns, FEET_IN_CLIPS, only=stage).axes
    by_hand = classify(book, columns)
    assert by_hand.keys() == axes.keys()
    for axis, codes in by_hand.items():
        assert np.array_equal(codes, axes[axis]), axis
