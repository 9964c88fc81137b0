"""What shoes are for is the rulebook's word: read, asked, and binding shoes and insoles."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from recommend.errors import InputError
from recommend.extras import shipped_folder
from recommend.rulebook import load_rulebook
from recommend.visit import Visit, read_visit
from recommend.visit.intake import intake
from recommend.way import outcome_of
from tests import shipped

FOOT = {"foot-length-mm": 265, "forefoot-width-mm": 100, "heel-width-mm": 71}
RUNS = ("running", "court")


def _visit(purpose: str) -> Visit:
    told = {"reference": "P-1", "purpose": purpose, "age-band": "adult", "pain": []}
    return Visit.model_validate(
        {**told, "answers": shipped.calm(), "feet": {"left": FOOT, "right": FOOT}}
    )


@pytest.mark.parametrize("purpose", list(shipped.book().purposes))
def test_the_demo_shop_has_pairs_for_every_purpose(purpose: str) -> None:
    """Shoes made for it and, where nobody runs, no insole made for running."""
    ranked = outcome_of(_visit(purpose), shipped.book(), shipped.shop()).shortlist
    assert ranked is not None
    shoes = [c.parts[0] for c in ranked.ranked["shoe"] if c.parts[0].offered == "shop"]
    assert len(shoes) >= 3
    assert all(shoe.levels[f"shoe.for-{purpose}"] == 1 for shoe in shoes)
    insoles = [c.parts[0] for c in ranked.ranked["insole"] if c.parts[0].offered == "shop"]
    assert insoles
    if purpose not in RUNS:
        assert not any(one.levels["insole.for-running"] for one in insoles)
    if purpose == "safety-work":
        assert all(one.levels["insole.for-safety-work"] for one in insoles)


def test_a_purpose_is_added_in_yaml_alone(tmp_path: Path) -> None:
    """Two lines of YAML: it is read, asked by its key, bound by a rule; others are refused."""
    rules = tmp_path / "rules"
    shutil.copytree(shipped_folder("rules"), rules)
    file = rules / "purposes.yaml"
    file.write_text(file.read_text("utf-8") + "  dancing: {title: dancing, key: k}\n", "utf-8")
    need = rules / "need" / "dancing.yaml"
    need.write_text(
        "title: d\nrules:\n  - {id: dances, title: d, when: {visit: purpose, is: dancing},"
        " because: d, basis: {kind: assumption},"
        " then: {needs: [{attribute: shoe.torsion, is: at-most,"
        " level: flexible, strength: must}]}}\n",
        "utf-8",
    )
    book = load_rulebook(rules)
    step = next(
        s for s in intake(book.questions, book.purposes, "eu", "vertical") if s.id == "purpose"
    )
    assert step.kind.parse("k") == "dancing"
    visit = tmp_path / "visit.yaml"
    visit.write_text("reference: D-1\npurpose: dancing\n", "utf-8")
    seen = read_visit(visit, book.questions, book.purposes)
    ranked = outcome_of(seen, book, shipped.shop()).shortlist
    assert ranked is not None
    assert "dances" in {rule for need in ranked.needs.needs for rule in need.rules}
    visit.write_text("reference: D-1\npurpose: dancin\n", "utf-8")
    with pytest.raises(InputError, match=r"visit\.yaml:2:10: `dancin`.*Did you mean `dancing`"):
        read_visit(visit, book.questions, book.purposes)
