"""Worked examples pin every rule, limit and condition of the shipped rulebook."""

from html import escape

import pytest
import yaml

from recommend.check.examples import Case, load_examples, outcomes, pin_findings, run_examples
from recommend.check.mutants import MutantTrial, Mutation, mutants, mutate, mutation_findings
from recommend.extras import shipped_folder
from recommend.infer.engine import Engine, engine_of
from recommend.rulebook import load_rulebook
from recommend.rulebook.conditions import UNDETERMINED
from recommend.show.manual import LISTS
from recommend.show.rulebook import came_words, told_list
from tests.check.conftest import Changed

BOOK_FOLDER = shipped_folder("rules")
BOOK = load_rulebook(BOOK_FOLDER)
CASES, PROBLEMS = load_examples(BOOK)


@pytest.fixture(scope="module")
def engine() -> Engine:
    """The forward-chaining engine over the shipped rulebook."""
    return engine_of(BOOK)


def test_every_example_can_be_read() -> None:
    """No name in an example is unknown, and none stands twice."""
    assert PROBLEMS == ()
    assert len(CASES) > 300


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.example.name)
def test_example(case: Case, engine: Engine) -> None:
    """The engine for one visit concludes what the example says."""
    done, expect = engine.conclude(case.facts), case.example.expect
    for axis, value in expect.axes.items():
        assert (done.axes[axis] or UNDETERMINED) == value
    if expect.type is not None:
        assert (done.axes["foot-type"] or UNDETERMINED) == expect.type
    holding = {rule for rule, truth in done.truth.items() if truth} & case.speaks_of
    if expect.notes is not None:
        assert {r for r in holding if BOOK.by_id[r].stage == "screen"} == set(expect.notes)
    if expect.asks is not None:
        assert {r for r in holding if BOOK.by_id[r].stage == "need"} == set(expect.asks)


def test_the_vectorised_run_agrees_on_every_example() -> None:
    """All examples at once come out as one by one; every rule fires in some example."""
    assert [said for said in outcomes(BOOK, CASES) if said] == []
    assert list(pin_findings(BOOK, CASES)) == []


def test_no_mutant_of_the_shipped_rulebook_lives() -> None:
    """Every limit shifted, comparison flipped, condition dropped or conclusion weakened shows."""
    found = mutate(BOOK, CASES)
    assert found.made > 1000
    assert [mutant.words for mutant in found.alive] == []


def test_mutants_are_told_from_equals_by_the_full_run() -> None:
    """The short cut of the mutation check and a full run of each mutant agree, on a sample."""
    sample = list(mutants(BOOK))[::61]
    few = CASES[::7]
    trial = MutantTrial(BOOK, few)
    for mutant in sample:
        assert trial.notices(mutant) == any(outcomes(mutant.applied(BOOK), few)), mutant.words


def test_a_mutant_that_no_example_notices_is_named(changed: Changed) -> None:
    """Take one pin away, and the shift that it held in place is listed with its rule."""
    folder = changed(("examples/posture.yaml", "      - [9, pronated]\n", ""))
    (folder / "examples" / "screening.yaml").unlink()
    book = load_rulebook(folder)
    cases, _ = load_examples(book)
    trial = MutantTrial(book, cases)
    tried = [m for m in mutants(book) if m.words.startswith("limit fpi-highly-pronated")]
    alive = tuple(mutant for mutant in tried if not trial.notices(mutant))
    (finding,) = mutation_findings(book, Mutation(len(tried), alive))
    assert "limit fpi-highly-pronated, grown: 10 becomes 9" in finding.found


def test_listed_survivor_needs_no_pin_and_a_needless_listing_is_said(changed: Changed) -> None:
    """A survivor with its reason passes; a listing of something that is noticed does not."""
    folder = changed()
    (folder / "survivors.yaml").write_text(
        "title: S\nsurvivors:\n  - {change: nothing of the kind, reason: none}\n"
    )
    book = load_rulebook(folder)
    (finding,) = mutation_findings(book, Mutation(0, ()))
    assert finding.level == "warning"
    assert finding.place.line == 3


def test_an_example_that_fails_says_what_came_out(changed: Changed) -> None:
    """Name of the example, what came, what is written, and where."""
    folder = changed(
        ("limits.yaml", "value: 6, where: {age: grown}", "value: 7, where: {age: grown}")
    )
    book = load_rulebook(folder)
    cases, _ = load_examples(book)
    name = "Posture: standing posture: 6"
    found = [f for f in run_examples(book, cases) if f"`{name}`" in f.found]
    assert [f.found for f in found] == [
        f"example `{name}`: axis `posture` is `neutral`, not `pronated`"
    ]
    assert found[0].place.line


def test_a_name_an_example_misspells_is_refused_with_the_nearest(changed: Changed) -> None:
    """Measures, axes, rules, parts and questions are all looked up."""
    folder = changed(
        ("examples/told.yaml", "given: {fpi: 10}", "given: {fpy: 10}"),
        ("examples/told.yaml", "axes: {posture:", "axes: {postur:"),
        ("examples/types.yaml", "[neutral,          arch-low,", "[neutral, arch-lwo,"),
        ("examples/needs.yaml", "[need-usual-basics,", "[need-kurious, need-usual-basics,"),
    )
    _, problems = load_examples(load_rulebook(folder))
    said = [problem.mend for problem in problems]
    assert "did you mean `posture`?" in said
    assert "did you mean `fpi`?" in said
    assert "did you mean `arch-low`?" in said
    assert len(problems) == 4


def test_told_cases_say_why_and_are_read_as_a_handbook() -> None:
    """Each told case has a sentence why; manual and page of the rulebook show it with its end.

    Whatever only pins a limit is a row of a table.
    """
    told = [case.example for case in CASES if case.example.why]
    assert len(told) >= 40
    files = (BOOK_FOLDER / "examples").glob("*.yaml")
    written = [yaml.safe_load(file.read_text("utf-8")).get("examples", []) for file in files]
    assert [one["name"] for many in written for one in many if not one.get("why")] == []
    in_manual = " ".join(LISTS["told-cases"](BOOK))
    on_page = told_list(BOOK)
    for one in told:
        assert one.why.endswith(".")
        assert one.why in in_manual
        assert escape(one.why) in on_page
    open_wound = next(one for one in told if one.name == "An open wound")
    assert came_words(open_wound, BOOK) == "stop: Open wound or ulcer"
