"""Products side by side for one customer, without keeping anything."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from typer.testing import CliRunner

from recommend.cli import app

VISIT = "catalogue_demo/visits/pronated.yaml"


@pytest.fixture(autouse=True)
def _own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RECOMMEND_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("RECOMMEND_STORE", str(tmp_path / "store.sqlite"))


def _run(*args: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["compare", *args])
    return done.exit_code, done.output


def test_two_products_stand_side_by_side_and_nothing_is_kept(tmp_path: Path) -> None:
    """What tells them apart in a screen of 80 columns, `--full` every wish; no store is made."""
    code, text = _run(VISIT, "mimberlow-walk", "ebbenholt-walk")
    assert code == 0
    assert max(map(len, text.splitlines())) <= 80
    assert len(text.splitlines()) <= 24
    everything = _run(VISIT, "mimberlow-walk", "ebbenholt-walk", "--full")[1]
    assert len(everything.splitlines()) > len(text.splitlines())
    for words in ("place", "price", "fit", "against it", "group 1 of"):
        assert words in text
    assert not os.path.exists(tmp_path / "store.sqlite")


def test_one_product_is_looked_up_with_its_reason() -> None:
    """Of one alone its place stands first, and at the end whether it is listed and why."""
    code, text = _run(VISIT, "ebbenholt-walk")
    assert code == 0
    assert any(line.startswith("place") for line in text.splitlines()[:3])
    assert "it is listed" in text


def test_what_the_shortlist_calls_a_is_compared_as_a() -> None:
    """A letter of the first screen stands for the same pair here, by its titles."""
    with_letters, text = _run(VISIT, "a", "b")
    ids = json.loads(_run(VISIT, "a", "b", "--json")[1])
    assert with_letters == 0
    assert all("+" in one["id"] for one in ids)
    assert ids[0]["place"].startswith("group 1 of")
    assert "mimberlow-walk" not in text


def test_programs_get_the_same() -> None:
    """As JSON, each with its place, fit and verdicts."""
    code, text = _run(VISIT, "mimberlow-walk", "ebbenholt-walk", "--json")
    assert code == 0
    data = json.loads(text)
    assert [one["id"] for one in data] == ["mimberlow-walk", "ebbenholt-walk"]
    assert all(one["fit"]["lines"] and one["members"][0]["verdicts"] for one in data)


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (["a", "b", "c", "d", "e"], 2, "at most 4"),
        (["mimberlow-wlak"], 2, "mimberlow-walk"),
    ],
)
def test_what_cannot_be_compared_is_one_sentence(args: list[str], code: int, words: str) -> None:
    """Too many products, and a misspelt one, are told."""
    done = CliRunner().invoke(app, ["compare", VISIT, *args])
    assert words in (str(done.exception) + done.output)
    assert done.exit_code in (1, code)


def test_a_stop_compares_nothing() -> None:
    """Where a stop withholds the shortlist no product is named, and the exit code says why."""
    code, text = _run(
        "catalogue_demo/visits/red-flag-stop.yaml", "mimberlow-walk", "ebbenholt-walk"
    )
    assert code == 3
    assert "A stop withholds the shortlist" in text
    assert "Mimberlow" not in text
