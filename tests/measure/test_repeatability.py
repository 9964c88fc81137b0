"""A lab's own errors, from repeated visits."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from typer.testing import CliRunner

from recommend.catalogue.shop import with_errors
from recommend.cli import app
from recommend.extras import shipped_folder
from recommend.measure.repeated import repeatability
from recommend.reading.texts import Texts
from recommend.rulebook import load_rulebook
from recommend.settings import lab_errors
from recommend.visit.models import Visit


def _visits(people: int, times: int, between: float, strides: float, seed: int) -> list[Visit]:
    """Visits whose contact angle scatters by `between` from visit to visit."""
    dice = random.Random(seed)
    true = [dice.gauss(4, 2) for _ in range(people)]
    made = []
    for _ in range(times):
        for person, angle in enumerate(true):
            here = angle + dice.gauss(0, between)
            taken = [round(here + dice.gauss(0, strides), 3) for _ in range(10)]
            entry = {"gait": "walking", "reference": "vertical", "contact": taken}
            foot = {"rearfoot": [entry], "foot-length-mm": 260}
            made.append(Visit.model_validate({"reference": f"p{person}", "feet": {"left": foot}}))
    return made


def test_scatter_of_strides_and_of_visits_are_told_apart() -> None:
    """Known truth: strides scatter by 1.2, visits by 0.9; both are found within a tenth."""
    book = load_rulebook(shipped_folder("rules"))
    visits = _visits(200, 3, 0.9, 1.2, seed=4)
    found = {one.measure: one for one in repeatability(visits, book.measures, book.parameters)}
    angle = found["contact-angle"]
    assert angle.single == pytest.approx(1.2, rel=0.1)
    assert angle.floor == pytest.approx(0.9, rel=0.1)
    assert angle.sem_low < (0.9**2 + 1.2**2 / 10) ** 0.5 < angle.sem_high


def test_angles_with_different_zeros_are_never_repeats_of_each_other() -> None:
    """One reading from the vertical and one from standing are not two readings."""
    book = load_rulebook(shipped_folder("rules"))
    visits = _visits(4, 2, 0.5, 1, seed=1)
    changed = [v.model_copy(deep=True) for v in visits[:4]] + [
        Visit.model_validate(
            v.model_dump(by_alias=True, exclude_unset=True)
            | {
                "feet": {
                    "left": {
                        "rearfoot": [
                            {
                                "gait": "walking",
                                "reference": "relaxed-standing",
                                "contact": v.feet.left.rearfoot[0].contact,
                            }
                        ]
                    }
                }
            }
        )
        for v in visits[4:]
    ]
    assert repeatability(changed, book.measures, book.parameters) == []


def test_errors_are_written_only_when_asked_and_only_on_enough_repeats(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`--use` puts the estimates into the settings; without it nothing is written."""
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))
    files = sorted(map(str, Path("catalogue_demo/repeats").glob("*.yaml")))
    shown = CliRunner().invoke(app, ["visit", "repeatability", *files])
    assert shown.exit_code == 0
    table = shown.output.partition("\n\n")[0].splitlines()
    assert "ICC" in table[0]
    assert len({len(line) for line in table}) == 1  # every row ends in the same column
    assert len(table[0]) <= 80
    assert lab_errors() == {}
    CliRunner().invoke(app, ["visit", "repeatability", *files[:6], "--use"])
    assert lab_errors() == {}  # two people: too few degrees of freedom
    CliRunner().invoke(app, ["visit", "repeatability", *files, "--use"])
    assert {"fpi", "peak-angle"} <= set(lab_errors())


def test_what_errs_too_much_for_rules_is_repeated_all_the_same() -> None:
    """One pair of heights is read by no rule; its repeats still tell how much it errs."""
    book = load_rulebook(shipped_folder("rules"))
    visits = [
        Visit.model_validate(
            {
                "reference": name,
                "feet": {"left": {"dorsum-height-mm": {"sitting": sitting, "standing": 64.6}}},
            }
        )
        for name, sitting in (("a", 68.0), ("a", 69.0), ("b", 70.0), ("b", 71.0))
    ]
    found = repeatability(visits, book.measures, book.parameters)
    assert "arch-rigidity" in {one.measure for one in found}


def test_the_errors_of_a_lab_stay_out_of_the_rulebook_that_ships() -> None:
    """Texts with a lab's errors are others; those they were made of read as before."""
    texts = Texts.of_folder(shipped_folder("rules"))
    before = load_rulebook(texts).measures["fpi"].error
    of_lab = load_rulebook(with_errors(texts, {"fpi": {"single": 0.1, "floor": 0.1}}, "settings"))
    assert of_lab.measures["fpi"].error != before
    assert load_rulebook(texts).measures["fpi"].error == before
