"""A fitter lifts what did harm, with a reason and a code; both stay in the visit."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from recommend.explain.explaining import Explanation
from recommend.extras import shipped_folder
from recommend.match.out import handed_on, harmful
from recommend.records.documents import forgotten_parts, join, separate
from recommend.visit import Visit, read_visit
from recommend.way import outcome_of
from tests import shipped
from tests.reading.corpus import run_in_process

PRODUCT, OTHER = "ommerstead-firm", "ommerstead-medium"
REASON = "the liner was torn, and is replaced"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A demo visit whose insole hurt when it was tried on today, and before in another way."""
    demo = shipped_folder("catalogue_demo") / "visits" / "plain-neutral.yaml"
    text = demo.read_text(encoding="utf-8")
    out = {"out": [{"product": PRODUCT, "because": "worn, and then: skin trouble"}]}
    path = tmp_path / "visit.yaml"
    path.write_text(text + yaml.safe_dump(out), encoding="utf-8")
    return path


def _read(file: Path) -> Visit:
    return read_visit(file, shipped.book().questions)


def test_a_lift_needs_a_reason_and_a_code_and_stays_in_the_visit(file: Path) -> None:
    """Without either nothing is written; with both it stands again, and why-not says so."""
    before = file.read_text(encoding="utf-8")
    assert run_in_process(["visit", "lift", str(file), PRODUCT, "--by", "F7"]).code == 2
    assert run_in_process(["visit", "lift", str(file), PRODUCT, "--reason", REASON]).code == 2
    assert run_in_process(["visit", "lift", str(file), OTHER, "--by", "F7"]).code == 2
    assert file.read_text(encoding="utf-8") == before
    done = run_in_process(["visit", "lift", str(file), PRODUCT, "--reason", REASON, "--by", "F7"])
    assert done.code == 0
    parameters = shipped.book().parameters
    assert not harmful(_read(file), parameters)
    assert not handed_on(_read(file), parameters)
    why = Explanation(outcome_of(_read(file), shipped.book(), shipped.shop())).why_not(PRODUCT)
    assert any("fitter F7 lifted it" in one.text and REASON in one.text for one in why.children)
    assert "lifted" in run_in_process(["visit", "lift", str(file)]).stdout


def test_what_hurts_again_after_a_lift_is_out_again(file: Path) -> None:
    """A lift is of what was known: tried on afterwards and rated 2 of 10, the insole is out."""
    run_in_process(["visit", "lift", str(file), PRODUCT, "--reason", REASON, "--by", "F7"])
    tried = {"shoe": "own", "insole": PRODUCT, "feet": {"left": {"comfort": {"heel": 2}}}}
    told = _read(file).model_dump(mode="json", by_alias=True, exclude_unset=True)
    again = Visit.model_validate(told | {"trials": [tried]})
    assert "tried on, and hurt" in harmful(again, shipped.book().parameters)[PRODUCT]


def test_a_lift_holds_when_its_reason_is_forgotten(file: Path) -> None:
    """After the free text of a record is gone, the same products stand as before."""
    run_in_process(["visit", "lift", str(file), PRODUCT, "--reason", REASON, "--by", "F7"])
    whole = {"visit": _read(file).model_dump(mode="json", by_alias=True, exclude_unset=True)}
    public, private = separate(whole)
    assert REASON in private.values()
    left = join(public, forgotten_parts(public))
    assert not harmful(Visit.model_validate(left["visit"]), shipped.book().parameters)


def test_what_is_out_is_never_listed_whichever_it_is() -> None:
    """Of every product that did harm, neither it nor a pair with it is listed or said to suit."""
    demo = shipped_folder("catalogue_demo") / "visits" / "plain-neutral.yaml"
    every = [item.id for item in shipped.shop().items]
    for start in range(7):
        some = every[start::7]
        out = [{"product": one, "because": "worn, and it hurt"} for one in some]
        told = _read(demo).model_dump(mode="json", by_alias=True, exclude_unset=True)
        outcome = outcome_of(
            Visit.model_validate(told | {"out": out}), shipped.book(), shipped.shop()
        )
        ranked = outcome.shortlist
        assert ranked is not None
        tables = (ranked.ranked, ranked.missing, ranked.without_place)
        listed = {p.id for t in tables for g in t.values() for one in g for p in one.parts}
        assert listed
        assert not listed & set(some)
