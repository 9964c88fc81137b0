"""Rule impact: what other rules change over past visits, the same as one by one."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from recommend.catalogue import Catalogue
from recommend.commands import replay as replay_command
from recommend.infer.engine import Engine
from recommend.records.impact import PastVisits, compared, disagreements, impact_of
from recommend.records.keeping import Archive, entry_of
from recommend.records.store import Store
from recommend.rulebook import Rulebook, load_rulebook
from recommend.show.records import impact_lines
from recommend.visit import read_visit
from recommend.way import outcome_of
from tests.shipped import run
from tests.trail.conftest import DEMO, TOP
from tests.trail.random_visits import random_visit

RANDOM = 25


@pytest.fixture(scope="module")
def kept(
    tmp_path_factory: pytest.TempPathFactory, book: Rulebook, catalogue: Catalogue, engine: Engine
) -> Path:
    """A store with the demo visits and some random ones."""
    path = tmp_path_factory.mktemp("kept") / "records.sqlite"
    visits = [read_visit(file) for file in DEMO]
    visits += [random_visit(book, seed) for seed in range(RANDOM)]
    with Store(path, write=True) as store:
        store.append_all([entry_of(outcome_of(visit, book, catalogue, engine)) for visit in visits])
    return path


@pytest.fixture
def rules(tmp_path: Path) -> Callable[[str, str, str], Path]:
    """Makes a copy of the shipped rules with one text in one file replaced by another."""

    def changed(file: str, was: str, now: str) -> Path:
        folder = tmp_path / "rules"
        shutil.copytree(TOP / "rules", folder)
        text = (folder / file).read_text("utf-8")
        assert was in text
        (folder / file).write_text(text.replace(was, now, 1), "utf-8")
        return folder

    return changed


def test_the_same_rules_change_nothing_on_either_path(kept: Path) -> None:
    """Under their own rules no visit changes, and both paths agree on every record."""
    with Store(kept) as store:
        past = PastVisits(Archive(store), None)
        impact = impact_of(past, store.records(), 5)
        assert (impact.records, impact.changed) == (len(DEMO) + RANDOM, 0)
        assert disagreements(past, store.records()) == []


def test_a_moved_limit_is_counted_as_one_by_one(
    kept: Path, rules: Callable[[str, str, str], Path]
) -> None:
    """Counts and the sample are those of deriving every visit by the reference engine."""
    folder = rules(
        "limits.yaml",
        "{value: 6, where: {age: grown}, system: manual",
        "{value: 5, where: {age: grown}, system: manual",
    )
    with Store(kept) as store:
        past = PastVisits(Archive(store), load_rulebook(folder))
        impact = impact_of(past, store.records(), 100)
        expected = [
            changed
            for record in store.records()
            if (changed := compared(record, past.one_by_one(record))) is not None
        ]
    assert impact.changed == len(expected) > 0
    assert impact.remeasured == 0
    held = (*impact.lost, *impact.unbound, *impact.sample)
    assert sorted(one.seq for one in held) == [e.seq for e in expected]
    assert impact.types == sum(bool(one.types) for one in expected) > 0


def test_rules_that_measure_otherwise_measure_anew(
    kept: Path, rules: Callable[[str, str, str], Path]
) -> None:
    """When an error of measurement changes, visits are measured again; both paths still agree."""
    folder = rules("measures.yaml", "error: {single: 0.85", "error: {single: 1.85")
    with Store(kept) as store:
        past = PastVisits(Archive(store), load_rulebook(folder))
        assert disagreements(past, store.records()) == []
        assert past.remeasured == len(DEMO) + RANDOM


def test_a_question_that_other_rules_do_not_ask_is_left_out(
    kept: Path, rules: Callable[[str, str, str], Path]
) -> None:
    """Rules without a screening question still run over visits that answered it."""
    folder = rules("rulebook.yaml", "name: ", "name: Shorter ")
    questions = folder / "questions.yaml"
    text = questions.read_text("utf-8")
    at = text.index("  pregnancy:")
    rest = text[at:].split("\n", 1)[1].splitlines(keepends=True)
    after = next((i for i, line in enumerate(rest) if line[:3].strip()), len(rest))
    questions.write_text(text[:at] + "".join(rest[after:]), "utf-8")
    for file in (*folder.glob("screen/*.yaml"), *folder.glob("need/*.yaml")):
        parts = file.read_text("utf-8").split("  - id: ")
        kept_parts = [part for part in parts if "answer: pregnancy" not in part]
        file.write_text("  - id: ".join(kept_parts), "utf-8")
    with Store(kept) as store:
        past = PastVisits(Archive(store), load_rulebook(folder))
        records = list(store.records())[:8]
        assert disagreements(past, records) == []
        assert past.remeasured == 8


def test_a_lost_clinical_note_comes_first_and_sets_the_exit_code(
    kept: Path, rules: Callable[[str, str, str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Weakening a see-a-clinician note to a caution is a loss: exit code 3, said first."""
    was = 'then: {note: see-clinician, say: "The two feet stand very differently'
    folder = rules("screen/posture-and-motion.yaml", was, was.replace("see-clinician", "caution"))
    assert run("replay", "--all", "--with", str(folder), "--store", str(kept)) == 3
    said = capsys.readouterr().out
    assert said.startswith("LOST: ")
    assert "loses see-clinician see-severely-uneven-posture" in said
    assert "0 disagree" in said


NEVER = "never shoe.wedge less than 0°"


def test_a_lost_never_is_counted_as_the_kept_outcomes_say(
    kept: Path, rules: Callable[[str, str, str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """A never that only one rule gives is lost at every visit where that rule gave it, and said.

    Which visits those are is read off the outcomes as they were kept.
    """
    rule = "need-no-lateral-wedge-without-reason"
    gone = "        - {attribute: shoe.wedge, is: below, limit: wedge-none, strength: never}\n"
    because = "    because: nothing measured calls for a wedge on the outer side"
    folder = rules("need/motion.yaml", gone + because, because)
    with Store(kept) as store:
        expected = [
            record.seq
            for record in store.records()
            for need in store.body(record.bodies["outcome"])["needs"] or ()
            if (need["attribute"], need["strength"], need["comparison"])
            == ("shoe.wedge", "never", "below")
            and need["rules"] == [rule]
        ]
    args = ["replay", "--all", "--with", str(folder), "--store", str(kept), "--listed", "100"]
    assert run(*args) == 5
    said = " ".join(capsys.readouterr().out.split())
    assert f"{len(expected)} visits would lose a never or a must" in said
    assert f"lost, {NEVER}: {len(expected)}" in said
    assert f"{len(expected)} would come out otherwise in foot type, notes, nevers and musts" in said
    assert "0 disagree" in said
    assert run(*args, "--json") == 5
    data = json.loads(capsys.readouterr().out)
    assert data["losing-a-never-or-must"] == len(expected) > 0
    assert sorted(one["number"] for one in data["lost-nevers-and-musts"]) == expected
    assert data["nevers-and-musts-lost"] == [{"need": NEVER, "count": len(expected)}]


def test_another_wording_of_a_note_shows(
    kept: Path, rules: Callable[[str, str, str], Path]
) -> None:
    """A note said in other words is counted at every visit that was given it."""
    was = 'say: "The two feet stand very'
    folder = rules("screen/posture-and-motion.yaml", was, 'say: "Your two feet stand very')
    rule = "see-severely-uneven-posture"
    with Store(kept) as store:
        past = PastVisits(Archive(store), load_rulebook(folder))
        impact = impact_of(past, store.records(), 5)
        given = sum(rule in record.head["summary"]["notes"] for record in store.records())
        assert disagreements(past, store.records()) == []
    assert impact.reworded == {rule: given}
    assert impact.changed == given > 0


def test_a_sentence_that_customers_read_is_told_with_the_visits_that_read_it(
    kept: Path, rules: Callable[[str, str, str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """A foot type's sentence counts where a foot had that type, a standing caution everywhere."""
    with Store(kept) as store:
        kinds = [list(r.head["summary"]["types"].values()) for r in store.records()]
    kind = next(one for types in kinds for one in types if one)
    had, every = sum(kind in types for types in kinds), len(kinds)
    shipped = (TOP / "rules/types.yaml").read_text("utf-8")
    at = shipped.index("Your foot", shipped.index(f"id: {kind}\n"))
    folder = rules("types.yaml", shipped[:at], shipped[:at] + "Now: ")
    heading = folder / "rulebook.yaml"
    text = heading.read_text("utf-8").replace(
        "  - Effects are small and differ", "  - Effects differ"
    )
    heading.write_text(text, "utf-8")
    args = ("replay", "--all", "--with", str(folder), "--store", str(kept), "--sample", "0")
    assert run(*args, "--json") == 5
    told = json.loads(capsys.readouterr().out)["read-otherwise"]
    counts = {words.split(",")[0]: count for words, count in told.items()}
    assert counts[f"type {kind}"] == had
    assert [n for words, n in told.items() if "Effects differ" in words] == [every]


def test_a_question_asked_otherwise_is_told_where_it_was_answered(
    kept: Path, rules: Callable[[str, str, str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """The answers of then may mean another thing now, though no condition has changed."""
    folder = rules("questions.yaml", "Do you have diabetes?", "Is your sugar well?")
    assert run("replay", "--all", "--with", str(folder), "--store", str(kept), "--sample", "0") == 5
    said = " ".join(capsys.readouterr().out.split())
    assert "A question is asked otherwise" in said
    assert "question diabetes, ask: Do you have diabetes? becomes Is your sugar well?" in said


def test_products_below_the_first_are_compared(
    kept: Path, rules: Callable[[str, str, str], Path]
) -> None:
    """With one product fewer on the screen, every visit that listed a full list changes."""
    folder = rules("parameters/rank.yaml", "    value: 5\n", "    value: 4\n")
    with Store(kept) as store:
        past = PastVisits(Archive(store), load_rulebook(folder))
        impact = impact_of(past, store.records(), 5)
        full = sum(
            any(len(ids) == 5 for ids in record.head["summary"]["listed"].values())
            for record in store.records()
        )
        assert disagreements(past, store.records()) == []
    assert impact.changed == full > 0
    assert not impact.firsts


def test_records_of_an_early_version_are_compared_in_what_they_hold(kept: Path) -> None:
    """A summary without nevers, wordings and lists is no change by itself, and is counted."""
    with Store(kept) as store:
        past = PastVisits(Archive(store), None)
        early = [
            replace(record, head=record.head | {"summary": _early(record.head["summary"])})
            for record in store.records()
        ]
        impact = impact_of(past, early, 5)
    assert (impact.changed, impact.older) == (0, len(early))
    said = " ".join(" ".join(impact_lines(impact, 5, 80)).split())
    assert "No never and no must would be lost at the 0 visits whose record holds them." in said
    assert f"({len(early)} kept by an earlier version" in said


def _early(summary: dict[str, Any]) -> dict[str, Any]:
    return {key: summary[key] for key in ("stopped", "types", "notes", "first")}


def test_a_note_made_stronger_is_no_loss(
    kept: Path, rules: Callable[[str, str, str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """A see-a-clinician note that becomes a stop is gained, not lost: to be seen, exit code 5."""
    was = 'then: {note: see-clinician, say: "The two feet stand very differently'
    folder = rules("screen/posture-and-motion.yaml", was, was.replace("see-clinician", "stop"))
    args = ["replay", "--all", "--with", str(folder), "--json", "--sample", "5"]
    assert run(*args, "--store", str(kept)) == 5
    data = json.loads(capsys.readouterr().out)
    assert data["lost-clinical"] == []
    assert {"level": "stop", "rule": "see-severely-uneven-posture"}.items() <= {
        **data["notes-gained"][0]
    }.items()


def test_replay_names_the_records_and_says_identical(
    kept: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Records named by number and reference replay; both said identical."""
    reference = read_visit(DEMO[3]).reference
    assert run("replay", "2", reference, "--store", str(kept)) == 0
    assert capsys.readouterr().out.count("identical, byte for byte") == 2


@pytest.mark.parametrize("args", [[], ["1", "--all"], ["--all", "--with", "nowhere"]])
def test_replay_asks_for_records_and_rules_that_are_there(
    kept: Path, args: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """No records, both ways at once, or a folder without rules: exit code 2, one sentence."""
    assert run("replay", *args, "--store", str(kept)) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_many_records_are_replayed_by_what_is_compared(
    kept: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Beyond so many records, `--all` compares summaries, says in what, and derives a sample."""
    monkeypatch.setattr(replay_command, "ONE_BY_ONE", 3)
    assert run("replay", "--all", "--sample", "4", "--store", str(kept)) == 0
    said = capsys.readouterr().out
    count = len(DEMO) + RANDOM
    compared_in = "foot type, notes, nevers and musts, listed products"
    assert f"{count} records: {compared_in} are the same in {count}." in said
    assert "4 of them derived in full, byte for byte: 0 differ." in said
