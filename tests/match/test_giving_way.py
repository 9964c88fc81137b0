"""A need that gave way asks nothing more of others, reckoned by hand."""

from __future__ import annotations

import shutil
from pathlib import Path

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
