"""One option name, one meaning, whichever command takes it."""

from __future__ import annotations

from collections import defaultdict

from tests.command_lines import every_option


def test_an_option_of_one_name_takes_the_same_kind_of_thing_everywhere() -> None:
    """A flag is never elsewhere a number, a file never a word."""
    kinds: dict[str, set[str]] = defaultdict(set)
    for _, name, kind in every_option():
        kinds[name].add(kind)
    assert len(kinds) > 50
    assert {name: found for name, found in kinds.items() if len(found) > 1} == {}


def test_a_budget_is_money_and_a_mark_is_a_point() -> None:
    """No command gives the two words another meaning."""
    commands = defaultdict(set)
    for command, name, _ in every_option():
        commands[name].add(command)
    assert commands["--budget"] == {"gaps", "order"}
    assert commands["--mark"] <= {"measure", "trial"}
