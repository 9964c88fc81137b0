from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest

from recommend.errors import InputError
from recommend.extras import shipped_folder
from recommend.match.shortlist import GROUPS
from recommend.records.keeping import visit_document
from recommend.records.store import Store, ToRecord
from recommend.trial.heeding import _beyond, with_learned
from recommend.trial.kept_trials import ShopTrials, item_of, kept_visits, shop_of
from recommend.visit import Visit, read_visit
from recommend.way import outcome_of
from tests import shipped
from tests.shipped import book, run

DEMO = shipped_folder("catalogue_demo")


@cache
def shop() -> ShopTrials:
    """What the demo shop learned."""
    return shop_of(kept_visits(DEMO / "trials", book()), book(), shipped.shop())


def visit(*steps: dict[str, object], bare: float = 8.0, reference: str = "T-1") -> Visit:
    """A visit with running peaks of the left foot."""
    return Visit.model_validate(
        {
            "reference": reference,
            "feet": {"left": {"rearfoot": [_running(bare)]}},
            "trials": [
                {
                    **{k: v for k, v in step.items() if k != "angle"},
                    "feet": {"left": {"rearfoot": [_running(float(str(step["angle"])))]}},
                }
                for step in steps
            ],
        }
    )


def _running(mean: float) -> dict[str, object]:
    strides = [mean + d for d in (-1.0, 0.5, 0.0, -0.5, 1.0, -0.7, 0.7) * 3]
    return {"gait": "running", "reference": "vertical", "peak": strides}


def test_an_insole_is_credited_with_its_own_part_only() -> None:
    """Shoe then insole: the insole's observation starts at the shoe, not at the bare foot."""
    seen = [
        visit(
            {"shoe": "hasperlow-road", "angle": 6.0},
            {"shoe": "hasperlow-road", "insole": "ommerstead-firm", "angle": 5.5},
            reference=f"T-{i}",
        )
        for i in range(40)
    ]
    learned = shop_of(seen, book(), shipped.shop()).learned["running", "peak"]
    ware = shipped.shop().by_id
    shoe = learned.effect(item_of(ware["hasperlow-road"], book(), "peak"), 0.95)
    insole = learned.effect(item_of(ware["ommerstead-firm"], book(), "peak"), 0.95)
    assert shoe.value == pytest.approx(-2.0, abs=0.15)
    assert insole.value == pytest.approx(-0.5, abs=0.15)


def test_the_own_shoe_is_no_product() -> None:
    """What the customer's own shoe did is nobody's effect, alone or mixed with an insole."""
    alone = visit({"shoe": "own", "angle": 6.0})
    mixed = visit({"shoe": "own", "insole": "ommerstead-firm", "angle": 6.0})
    for one in (alone, mixed):
        assert shop_of([one], book(), shipped.shop()).learned == {}


def test_a_product_that_left_the_catalogue_is_named_and_left_out() -> None:
    """What is not described any more cannot be pooled, and is said."""
    found = shop_of([visit({"shoe": "gone-shoe", "angle": 6.0})], book(), shipped.shop())
    assert found.unknown == {"gone-shoe"}
    assert found.learned == {}


def test_a_change_beyond_belief_teaches_nothing_and_is_said() -> None:
    """A shoe that turns +8 into -8 degrees is a turned sign, not an effect."""
    seen = [
        visit({"shoe": "hasperlow-road", "angle": -8.0}),
        visit({"shoe": "hasperlow-road", "angle": 6.0}),
    ]
    found = shop_of(seen, book(), shipped.shop())
    assert found.doubtful == 1
    effect = found.learned["running", "peak"].effect(
        item_of(shipped.shop().by_id["hasperlow-road"], book(), "peak"), 0.95
    )
    assert -3.0 < effect.value < 0.0


def test_visits_without_a_trial_teach_nothing() -> None:
    """They are not counted among the visits that stand behind an effect."""
    found = shop_of(
        [visit(), visit({"shoe": "hasperlow-road", "angle": 6.0})], book(), shipped.shop()
    )
    assert found.visits == 1


def test_feet_that_landed_and_feet_that_were_over_corrected_are_counted() -> None:
    """One of three feet ended in the band, one below it."""
    seen = [
        visit({"shoe": "hasperlow-road", "angle": angle}, bare=9.5, reference=f"T-{angle}")
        for angle in (9.0, 16.0, 3.5)
    ]
    tally = shop_of(seen, book(), shipped.shop()).tallies["running", "hasperlow-road"]
    assert (tally.feet, tally.landed, tally.over, len(tally.visits)) == (3, 1, 1, 3)


def test_the_demo_effects_hold_what_the_demo_was_made_with() -> None:
    """The invented trials were drawn around these effects at the peak (degrees, running)."""
    made = {"hasperlow-road": -1.3, "rimblebeck-road": -0.2, "lattergarth-road": -2.0,
            "ommerstead-medium": -0.8, "ommerstead-firm": -1.5, "bindlegarth-2-medium": -1.2,
            "bindlegarth-4-firm": -2.3}  # fmt: skip
    learned = shop().learned["running", "peak"]
    for product, truth in made.items():
        effect = learned.effect(item_of(shipped.shop().by_id[product], book(), "peak"), 0.99)
        assert effect.holds(truth), product


def test_learned_effects_move_no_product_on_or_off_the_list() -> None:
    """The switch changes the order only; excluded, missing, needs and notes are untouched."""
    seen = read_visit(DEMO / "trials" / "kept-03.yaml")
    outcome = outcome_of(seen, book(), shipped.shop())
    sure = {kind: replace(check, better=True) for kind, check in shop().checks.items()}
    heeded = with_learned(outcome, replace(shop(), checks=sure))
    assert heeded is not None
    assert heeded.heeded
    assert outcome.shortlist is not None
    for group in GROUPS:
        before, after = outcome.shortlist.ranked[group], heeded.shortlist.ranked[group]
        assert {c.id for c in before} == {c.id for c in after}
        assert heeded.shortlist.excluded[group] == outcome.shortlist.excluded[group]
    assert heeded.shortlist.needs == outcome.shortlist.needs
    assert heeded.shortlist.ranked != outcome.shortlist.ranked


def test_what_foretells_no_better_in_a_reading_with_a_band_moves_nothing() -> None:
    """In the demo shop the means foretell better, and have no band; the peak does not yet."""
    assert not shop().checks["running", "peak"].better
    assert shop().checks["running", "midstance"].better
    outcome = outcome_of(read_visit(DEMO / "trials" / "kept-03.yaml"), book(), shipped.shop())
    learned = with_learned(outcome, shop())
    assert learned is not None
    assert not learned.heeded
    assert outcome.shortlist is not None
    for group in GROUPS:
        before, after = outcome.shortlist.ranked[group], learned.shortlist.ranked[group]
        assert [c.id for c in before] == [c.id for c in after]


def test_a_stop_is_not_lifted_by_what_was_learned() -> None:
    """A visit that must stop has no list to order."""
    seen = read_visit(DEMO / "visits" / "red-flag-stop.yaml")
    assert with_learned(outcome_of(seen, book(), shipped.shop()), shop()) is None


def test_the_mean_excess_is_that_of_a_simulation() -> None:
    """E[max(X, 0)] in closed form agrees with a million draws."""
    rng = np.random.default_rng(6)
    for mean, sd in ((0.5, 1.0), (-1.0, 2.0), (3.0, 0.5)):
        draws = rng.normal(mean, sd, 1_000_000)
        assert _beyond(mean, sd) == pytest.approx(np.maximum(draws, 0).mean(), abs=0.005)
    assert _beyond(-math.inf, 1.0) == 0.0
    assert _beyond(0.0, 1.0) == pytest.approx(NormalDist().pdf(0))


def test_a_folder_without_visits_is_refused(tmp_path: Path) -> None:
    """Nothing to learn from is an error, and so is a file that does not fit."""
    with pytest.raises(InputError, match="no visit files"):
        kept_visits(tmp_path, book())
    with pytest.raises(InputError, match="none"):
        kept_visits(tmp_path / "none", book())
    (tmp_path / "bad.yaml").write_text("reference: T-1\nfet: {}\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"bad\.yaml"):
        kept_visits(tmp_path, book())


def test_records_teach_what_their_visits_do(tmp_path: Path) -> None:
    """A store of records gives the same effects as the folder; a visit kept twice counts once."""
    path = tmp_path / "records.sqlite"
    seen = kept_visits(DEMO / "trials", book())
    with Store(path, write=True) as store:
        for one in (*seen[:3], *seen):
            store.append(ToRecord({"visit": visit_document(one)}))
    found = shop_of(kept_visits(path, book()), book(), shipped.shop())
    assert found.visits == shop().visits
    item = item_of(shipped.shop().by_id["hasperlow-road"], book(), "peak")
    effects = [one.learned["running", "peak"].effect(item, 0.95) for one in (found, shop())]
    assert effects[0].low == pytest.approx(effects[1].low)


@pytest.mark.parametrize("columns", ["80", "120"])
def test_effects_fit_the_terminal_and_promise_nothing(
    columns: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The table is whole at 80 and 120 columns and says 'on average ... try it'."""
    monkeypatch.setenv("COLUMNS", columns)
    assert run("effects", DEMO / "trials") == 0
    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= int(columns)
    assert "…" not in out
    assert "try it" in " ".join(out.split())


def test_the_switch_is_off_unless_asked_for_and_said_when_on(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without the switch nothing of it shows; with it the first line says so."""
    monkeypatch.setenv("COLUMNS", "80")
    one = DEMO / "trials" / "kept-03.yaml"
    assert run("shortlist", one) == 0
    assert "Learned" not in capsys.readouterr().out
    assert run("shortlist", one, "--learned", DEMO / "trials") == 0
    out = capsys.readouterr().out
    assert out.startswith("Learned effects are ON")
    assert max(map(len, out.splitlines())) <= 80
    assert run("shortlist", one, "--learned", DEMO / "trials", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["learned"]["visits"] == shop().visits
    assert said["learned"]["expected"]


def test_what_can_be_no_path_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """A name longer than a file can have is one sentence."""
    assert run("effects", "é" * 300) == 2
    assert "File name too long" in capsys.readouterr().err


def test_the_check_says_what_is_used(capsys: pytest.CaptureFixture[str]) -> None:
    """Each gait and reading with its errors; what few visits taught is not used."""
    assert run("effects", DEMO / "trials", "--check") == 0
    out = capsys.readouterr().out
    rows = [line for line in out.splitlines() if line.startswith(("running", "walking"))]
    assert any(row.rstrip().endswith("not used") for row in rows if row.startswith("walking"))
    assert any("used" in row and "not used" not in row for row in rows)
