"""Needs that cannot be met together, and what they come to; reckoned by hand."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from recommend.extras import shipped_folder
from recommend.match.needs import NeedTable
from recommend.rulebook import load_rulebook

RULES = """
title: Three bounds of the depth of the heel cup, of which the gentler side is the deep one
rules:
  - {id: never-deep, title: t, when: {visit: purpose, is: walking}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.heel-cup, is: at-least, limit: heel-cup-deep, strength: never}]}}
  - {id: deep, title: t, when: {visit: purpose, is: walking}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.heel-cup, is: at-least, limit: heel-cup-deep, strength: must}]}}
  - {id: flat, title: t, when: {visit: purpose, is: walking}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.heel-cup, is: at-most, limit: heel-cup-usual, strength: must}]}}
"""  # noqa: E501


WISHES = """
title: Wishes for the depth of the heel cup
rules:
  - {id: deep-usual, title: t, when: {visit: purpose, is: walking}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.heel-cup, is: at-least, limit: heel-cup-deep, strength: prefer, weight: usual}]}}
  - {id: deep-slight, title: t, when: {visit: purpose, is: walking}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.heel-cup, is: at-least, limit: heel-cup-deep, strength: prefer, weight: slight}]}}
  - {id: deep-read, title: t, when: {axis: posture, is: pronated}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.heel-cup, is: at-least, limit: heel-cup-deep, strength: prefer, weight: slight}]}}
  - {id: flat-usual, title: t, when: {visit: purpose, is: walking}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.heel-cup, is: at-most, limit: heel-cup-usual, strength: prefer, weight: usual}]}}
  - {id: flat-strong, title: t, when: {visit: purpose, is: walking}, because: x, basis: {kind: assumption},
     then: {needs: [{attribute: insole.heel-cup, is: at-most, limit: heel-cup-usual, strength: prefer, weight: strong}]}}
"""  # noqa: E501


@pytest.fixture
def wishes(tmp_path: Path) -> NeedTable:
    """The five wishes as a table of needs."""
    shutil.copytree(shipped_folder("rules"), tmp_path / "rules")
    (tmp_path / "rules" / "need" / "wishes.yaml").write_text(WISHES, "utf-8")
    ids = ("deep-usual", "deep-slight", "deep-read", "flat-usual", "flat-strong")
    return NeedTable(load_rulebook(tmp_path / "rules"), ids)


@pytest.mark.parametrize(
    ("left", "right", "first"),
    [
        ("deep-usual", "flat-usual", [14]),  # alike: the deep side is the gentler one
        ("flat-usual", "deep-usual", [14]),
        ("deep-usual", "flat-strong", [10]),  # the stronger wish
        ("deep-usual flat-usual", "", []),  # of one foot alone it is no matter of two feet
        ("deep-usual flat-usual", "flat-usual", []),
    ],
)
def test_of_opposed_wishes_of_two_feet_one_comes_first(
    wishes: NeedTable, left: str, right: str, first: list[float]
) -> None:
    """The stronger wish, of two alike the gentler; nothing is said of wishes of one foot."""
    pair = wishes.of_pair({"left": left.split(), "right": right.split()})
    assert [one.kept.target for one in pair.conflicts] == first


def test_of_a_wish_that_two_rules_give_the_heavier_weight_counts(wishes: NeedTable) -> None:
    """A slight and a usual wish for the same are one usual wish, whichever foot gives which."""
    usual = wishes.book.parameters.rank.weight_usual
    for left, right in (("deep-slight", "deep-usual"), ("deep-usual", "deep-slight")):
        (need,) = wishes.of_pair({"left": [left], "right": [right]}).needs
        assert (need.weight, need.rules) == (usual, (left, right))


@pytest.mark.parametrize(
    ("rule", "more"),
    [("deep-slight", False), ("deep-usual", True), ("deep-read", True), ("flat-strong", False)],
)
def test_what_asks_for_an_insole(wishes: NeedTable, rule: str, more: bool) -> None:
    """A usual wish, or a slight one that rests on the foot, asks for more than no insole has.

    A slight one that age or purpose brings is for whatever is chosen; at most 10 mm asks nothing.
    """
    holds = np.array([[one == rule for one in wishes.rules]])
    assert wishes.asks_more("insole", wishes.active(holds)).tolist() == [more]


def test_what_gave_way_makes_nothing_else_give_way(tmp_path: Path) -> None:
    """By hand: never 14 mm beats must 14 mm; so at most 10 mm, which 14 mm beats, stays a must.

    Without the never, 14 mm beats 10 mm, for the deep side is the gentler one.
    """
    folder = tmp_path / "rules"
    shutil.copytree(shipped_folder("rules"), folder)
    (folder / "need" / "cups.yaml").write_text(RULES, "utf-8")
    book = load_rulebook(folder)
    table = NeedTable(book, ("never-deep", "deep", "flat"))
    whole = table.of_pair({"left": ["never-deep", "deep", "flat"]})
    assert [(n.strength, n.comparison, n.target) for n in whole.needs] == [
        ("never", "at-least", 14), ("must", "at-most", 10), ("prefer", "at-least", 14),
    ]  # fmt: skip
    assert [(c.kept.strength, c.eased.strength) for c in whole.conflicts] == [("never", "must")]
    two = table.of_pair({"left": ["deep"], "right": ["flat"]})
    assert [(n.strength, n.comparison, n.target) for n in two.needs] == [
        ("must", "at-least", 14), ("prefer", "at-most", 10),
    ]  # fmt: skip
    assert [(c.kept.target, c.eased.target) for c in two.conflicts] == [(14, 10)]
