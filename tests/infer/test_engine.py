"""Two engines conclude one visit: which one is chosen, and that nothing depends on it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from recommend.catalogue.loading import load_catalogue
from recommend.errors import InputError
from recommend.explain.node import Node
from recommend.extras import shipped_folder
from recommend.infer import building, engine
from recommend.infer.derivation import derivations
from recommend.infer.engine import ARRAYS, REFERENCE, engine_name, new_engine
from recommend.match.outcome import as_document
from recommend.measure.named import read_measured_visit
from recommend.records.keeping import Archive, entry_of
from recommend.records.replay import Replayer
from recommend.records.store import Store
from recommend.rulebook.book import Rulebook
from recommend.rulebook.opened import load_rulebook
from recommend.show.explain import Explained, explain_data, head_lines
from recommend.way import outcome_of
from tests.infer.feet import facts_of_row, random_columns
from tests.infer.folders import add_rules, add_to, copied, note_rule, score_limits

DEMO = shipped_folder("catalogue_demo")
VISITS = sorted([*DEMO.glob("visits/*.yaml"), *DEMO.glob("trials/*.yaml")])
FEET = 500  # the script tests/bench/agreement.py does any number

needs_both = pytest.mark.skipif(not engine.is_built(), reason="durable-rules is not installed")


@needs_both
def test_one_foot_is_concluded_alike_by_both(book: Rulebook) -> None:
    """On 500 random feet both engines give the same verdicts, facts, axes and derivations."""
    one, other = new_engine(book, REFERENCE), new_engine(book, ARRAYS)
    columns = random_columns(book, FEET, np.random.default_rng(20260303))
    for row in range(FEET):
        facts = facts_of_row(columns, row, book)
        first, second = one.conclude(facts), other.conclude(facts)
        assert first == second, row
        assert derivations(book, first, "left") == derivations(book, second, "left"), row


@needs_both
@pytest.mark.parametrize("path", VISITS, ids=lambda path: path.stem)
def test_a_demo_visit_comes_out_alike(path: Path, book: Rulebook) -> None:
    """Every demo visit has the same outcome by both engines, but for the engine's name."""
    visit = read_measured_visit(path, book.questions, book.parameters, book.measures, book.purposes)
    catalogue = load_catalogue(DEMO, book.attributes)
    made = {
        name: as_document(outcome_of(visit, book, catalogue, new_engine(book, name)))
        for name in (REFERENCE, ARRAYS)
    }
    assert {name: document.pop("engine") for name, document in made.items()} == {
        REFERENCE: REFERENCE,
        ARRAYS: ARRAYS,
    }
    assert json.dumps(made[REFERENCE]) == json.dumps(made[ARRAYS])


@needs_both
@pytest.mark.parametrize(("then", "now"), [(REFERENCE, ARRAYS), (ARRAYS, REFERENCE)])
def test_a_record_replays_with_the_other_engine(
    then: str, now: str, book: Rulebook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A record kept with one engine replays byte for byte with the other; both are named."""
    visit = read_measured_visit(
        VISITS[0], book.questions, book.parameters, book.measures, book.purposes
    )
    catalogue = load_catalogue(DEMO, book.attributes)
    with Store(tmp_path / "kept.sqlite", write=True) as store:
        kept = store.append(entry_of(outcome_of(visit, book, catalogue, new_engine(book, then))))
        monkeypatch.setenv("RECOMMEND_ENGINE", now)
        replayed = Replayer(Archive(store)).replay(kept)
    assert replayed.identical
    assert replayed.outcome.assessment.engine == now
    assert f"concluded by the engine {then}, just now by {now}" in list(head_lines(replayed))
    assert explain_data(Explained(replayed, Node("remark", "")))["record"]["engine"] == then


@needs_both
def test_the_engine_is_in_no_hash_of_what_was_concluded(book: Rulebook) -> None:
    """Both engines give one outcome document; the head of the record names the engine."""
    visit = read_measured_visit(
        VISITS[0], book.questions, book.parameters, book.measures, book.purposes
    )
    catalogue = load_catalogue(DEMO, book.attributes)
    one, other = (
        entry_of(outcome_of(visit, book, catalogue, new_engine(book, name)))
        for name in (REFERENCE, ARRAYS)
    )
    assert one.documents == other.documents
    assert (one.facts["engine"], other.facts["engine"]) == (REFERENCE, ARRAYS)


def test_without_the_reference_the_arrays_conclude(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where durable-rules does not load, numpy is chosen; asking for durable-rules is refused."""
    monkeypatch.setattr(engine, "is_built", lambda: False)
    assert engine_name() == ARRAYS
    monkeypatch.setenv("RECOMMEND_ENGINE", REFERENCE)
    with pytest.raises(InputError, match="recommend setup engine"):
        engine_name()


def test_the_engine_that_is_set_concludes(monkeypatch: pytest.MonkeyPatch) -> None:
    """The setting chooses numpy also where durable-rules is installed."""
    monkeypatch.setattr(engine, "is_built", lambda: True)
    assert engine_name() == REFERENCE
    monkeypatch.setenv("RECOMMEND_ENGINE", ARRAYS)
    assert engine_name() == ARRAYS


def test_no_engine_takes_what_the_reference_cannot_bear(tmp_path: Path) -> None:
    """A rule that is too large for durable-rules is refused where numpy would conclude."""
    folder = copied(tmp_path)
    add_to(folder / "limits.yaml", "limits", score_limits(range(70)))
    parts = [
        {"all": [{"measure": "fpi", "is": "at-least", "limit": f"at-{n}"},
                 {"measure": "fpi", "is": "below", "limit": f"at-{n + 1}"}]}
        for n in range(0, 68, 2)
    ]  # fmt: skip
    add_rules(folder, "screen", [note_rule("much-too-large", {"any": parts})])
    with pytest.raises(InputError, match="`much-too-large` makes 136 different comparisons"):
        new_engine(load_rulebook(folder), ARRAYS)


def test_the_flag_that_newer_pythons_need(monkeypatch: pytest.MonkeyPatch) -> None:
    """From Python 3.13 on the build gets the flag, beside what the user set; before, it does not.

    Source: Python 3.13 removed PyEval_CallObject ("What's New In Python 3.13", C API, Removed).
    """
    monkeypatch.setattr(building.sys, "version_info", (3, 13, 0))
    flags = building._environment({"CPPFLAGS": "-I/opt/include"})["CPPFLAGS"]
    assert flags == "-I/opt/include -DPyEval_CallObject=PyObject_CallObject"
    monkeypatch.setattr(building.sys, "version_info", (3, 12, 9))
    assert building._environment({}) == {}


def test_arrays_load_no_other_engine() -> None:
    """A shortlist concluded by the arrays imports neither durable-rules nor a pager nor trials."""
    visit = DEMO / "visits" / "pronated-high-arch-late-medial.yaml"
    code = (
        "import sys; from recommend.cli import main\n"
        f"try: main(['shortlist', {str(visit)!r}])\n"
        "except SystemExit as end: assert end.code == 0, end\n"
        "print(*sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | {"RECOMMEND_ENGINE": "numpy"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    loaded = set(done.stdout.split())
    assert "recommend.infer.many" in loaded
    assert not loaded & {"durable_rules_engine", "pydoc", "recommend.trial", "ruamel.yaml", "scipy"}
