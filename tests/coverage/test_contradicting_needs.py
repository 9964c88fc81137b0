"""Contradicting needs are reconciled over arrays as they are for one customer."""

import shutil
from itertools import product

import numpy as np
import pytest

from recommend.catalogue import Catalogue
from recommend.coverage.evaluate import Stand, judged_alone, needs_of_rules
from recommend.coverage.report import holds_for_anyone
from recommend.coverage.tally import Layout, layout_of
from recommend.extras import shipped_folder
from recommend.match.judge import judge
from recommend.match.needs import NeedTable, needs_of
from recommend.rulebook import load_rulebook
from recommend.rulebook.book import Rulebook

CONTRADICTING = """
title: Rules that contradict each other
rules:
  - id: wants-firm
    title: wants firm
    when: {visit: purpose, is: walking}
    then: {needs: [{attribute: insole.arch-firmness, is: at-least, level: firm, strength: must}]}
    because: of this
    basis: {kind: assumption}
  - id: wants-soft
    title: wants soft
    when: {visit: purpose, is: running}
    then: {needs: [{attribute: insole.arch-firmness, is: at-most, level: soft, strength: must}]}
    because: of that
    basis: {kind: assumption}
  - id: wants-no-firm
    title: wants no firm
    when: {visit: purpose, is: standing-work}
    then: {needs: [{attribute: insole.arch-firmness, is: above, level: medium, strength: never}]}
    because: of the other
    basis: {kind: assumption}
  - id: wants-medium
    title: wants medium
    when: {visit: age-band, is: adult}
    then: {needs: [{attribute: insole.arch-firmness, is: at-least, level: medium, strength: must}]}
    because: of all
    basis: {kind: assumption}
  - id: prefers-firm
    title: prefers firm
    when: {visit: age-band, is: older}
    then:
      needs:
        - {attribute: insole.arch-firmness, is: at-least, level: firm, strength: prefer}
    because: of none
    basis: {kind: assumption}
"""
RULES = ("wants-firm", "wants-soft", "wants-no-firm", "wants-medium", "prefers-firm")


@pytest.fixture(scope="module")
def contradicting(tmp_path_factory: pytest.TempPathFactory) -> Rulebook:
    """The shipped rulebook and five rules that contradict each other."""
    folder = tmp_path_factory.mktemp("book") / "rules"
    shutil.copytree(shipped_folder("rules"), folder)
    (folder / "need" / "contradicting.yaml").write_text(CONTRADICTING, encoding="utf-8")
    return load_rulebook(folder)


def test_every_combination_of_contradicting_rules_is_judged_alike(
    contradicting: Rulebook, catalogue: Catalogue
) -> None:
    """All 32 sets of rules: each insole gets the verdict of the counter."""
    table = NeedTable(contradicting, RULES)
    insoles = catalogue.insoles[::3]
    sets = np.array(list(product([False, True], repeat=len(RULES))))
    binding, required, _ = needs_of_rules(table, sets)
    stand = Stand(judged_alone(table, insoles), table.kinds("insole"))
    fits = stand.fits("harmless", binding, required)
    eased = 0
    for row, found in zip(sets, fits, strict=True):
        fired = [rule for rule, holds in zip(RULES, row, strict=True) if holds]
        needs = needs_of(contradicting, {"left": fired, "right": ()})
        eased += bool(needs.conflicts)
        for insole, fit in zip(insoles, found, strict=True):
            assert fit == judge((insole,), needs, contradicting).suitable
    assert eased > 10


def test_rules_survive_being_packed_into_bits() -> None:
    """Seventy rules take two words of bits and come out as they went in."""
    layout = Layout(tuple(f"r{n}" for n in range(70)), ())
    holds = np.random.default_rng(1).random((50, 70)) < 0.5
    assert layout.words == 2
    assert np.array_equal(layout.unpack(layout.pack(holds)), holds)


def test_feet_spread_over_all_limits_fire_every_need_rule(book: Rulebook) -> None:
    """No need rule that ships is out of reach of the search."""
    rules = layout_of(book).needs
    holds = holds_for_anyone(book, rules, 5000, seed=0)
    assert [rule for rule, fires in zip(rules, holds.any(axis=0), strict=True) if not fires] == []
