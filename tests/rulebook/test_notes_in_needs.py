"""A rule of needs may ask whether a note is due: the condition of that rule stands in its place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from recommend.errors import InputError
from recommend.rulebook import load_rulebook
from tests import shipped
from tests.check.conftest import changed as changed

Changed = Callable[..., Path]


def test_a_need_follows_its_note() -> None:
    """The rule holds for the same feet as the note that it asks about."""
    book = shipped.book()
    need, note = book.by_id["care-two-lengths"], book.by_id["see-very-uneven-length"]
    assert need.rule.when == note.rule.when
    assert (need.holds, need.fails) == (note.holds, note.fails)


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("need/care.yaml", "{note: see-diabetes}", "{note: see-diabtes}", "`see-diabetes`"),
        (
            "screen/health.yaml", "when: {answer: pregnancy, is: yes}",
            "when: {note: see-diabetes}", "no note is called `see-diabetes`",
        ),
    ],
)  # fmt: skip
def test_a_note_that_cannot_be_asked_is_named(
    changed: Changed, file: str, old: str, new: str, says: str
) -> None:
    """A misspelt note, or one asked outside the needs, is an error with its place."""
    with pytest.raises(InputError) as caught:
        load_rulebook(changed((file, old, new)))
    assert says in str(caught.value)
    assert file in str(caught.value)
