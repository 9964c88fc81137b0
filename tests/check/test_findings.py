"""Every fault seeded into a copy of the shipped rulebook is found, at its place."""

import re
from pathlib import Path

import pytest
import yaml

from recommend.catalogue.loading import read_catalogue
from recommend.check.finding import Finding
from recommend.check.logic import logic_findings
from recommend.check.reach import reach_findings
from recommend.check.unanswered import unused_findings
from recommend.check.whole import check
from recommend.extras import shipped_folder
from recommend.infer.conclusions import ContradictionError
from recommend.infer.engine import engine_of
from recommend.infer.facts import facts_of
from recommend.measure.observed import observe
from recommend.rulebook import Rulebook, load_rulebook
from recommend.rulebook.loading import read_rulebook
from recommend.visit.models import Visit
from tests.check.conftest import Changed

MOTION, POSTURE = "classify/motion.yaml", "classify/posture-and-arch.yaml"


def test_shipped_rules_hold_no_fault_of_logic(book: Rulebook) -> None:
    """The rules that ship contradict nowhere, leave no gap, and none is idle."""
    assert list(logic_findings(book)) == []


def test_everything_wrong_is_reported_at_once(changed: Changed) -> None:
    """Schema, names, units and ids in one run, each at its line; none hides another."""
    folder = changed(
        (MOTION, "limit: peak-upper}", "limit: peak-uper}"),
        (MOTION, "then: {axis: timing, value: delayed}", "then: {axis: timin, value: delayed}"),
        (MOTION, "title: Stays rolled in longer\n", "titel: Stays rolled in longer\n"),
        (POSTURE, "limit: fpi-highly-pronated}", "limit: heel-cup-deep}"),
        (POSTURE, "id: posture-pronated", "id: posture-neutral"),
        ("screen/health.yaml", "{note: stop, say", "{note: stopp, say"),
        ("need/structure.yaml", "attribute: insole.heel-cup", "attribute: insole.heel-kup"),
    )
    _, problems = read_rulebook(folder)
    found = {(Path(p.place.file).name, p.found, p.mend) for p in problems}
    assert len(problems) == 7
    for name, word, mend in (
        ("motion.yaml", "peak-uper", "did you mean `peak-upper`?"),
        ("motion.yaml", "timin`", "did you mean `timing`?"),
        ("motion.yaml", "titel", "did you mean `title`?"),
        ("posture-and-arch.yaml", "in mm but `fpi` is in score", ""),
        ("posture-and-arch.yaml", "`posture-neutral` stands twice", "rename one of the two"),
        ("health.yaml", "stopp", ""),
        ("structure.yaml", "insole.heel-kup", "did you mean `insole.heel-cup`?"),
    ):
        assert any(name == n and word in f and mend in m for n, f, m in found), word
    assert all(problem.place.line and problem.place.column for problem in problems)


def findings(folder: Path, code: str) -> list[Finding]:
    """Findings of one code in the rulebook at `folder`."""
    return [f for f in logic_findings(load_rulebook(folder)) if f.code == code]


def test_contradiction_comes_with_a_foot_that_the_engine_trips_over(changed: Changed) -> None:
    """The visit file of a contradiction makes the forward-chaining engine contradict itself."""
    folder = changed(
        (POSTURE, "is: below, limit: fpi-pronated}", "is: at-most, limit: fpi-pronated}")
    )
    (finding,) = findings(folder, "contradiction")
    assert "`posture-neutral`" in finding.found
    assert "`posture-pronated`" in finding.found
    assert finding.foot == "fpi 6 (grown)"
    with pytest.raises(ContradictionError):
        concluded(finding, load_rulebook(folder))


def test_gap_comes_with_a_foot_that_gets_no_value(changed: Changed) -> None:
    """The visit file of a gap, run through the engine, leaves the axis undetermined."""
    folder = changed(
        (POSTURE, "is: above, limit: fpi-supinated}", "is: above, limit: fpi-pronated}")
    )
    gaps = findings(folder, "gap")
    assert [g.found for g in gaps if "`posture`" in g.found]
    assert concluded(gaps[0], load_rulebook(folder)).axes["posture"] is None


def test_gap_between_foot_types_is_found_through_all_axes(changed: Changed) -> None:
    """A combination of axis values that belongs to no type comes with readings for all of them."""
    folder = changed(
        (
            "types.yaml",
            "is: high}\n        - {axis: amount, is: [usual, much]}",
            "is: high}\n        - {axis: amount, is: usual}",
        )
    )
    (gap,) = findings(folder, "gap")
    made = concluded(gap, load_rulebook(folder))
    assert made.axes["foot-type"] is None
    assert made.axes["amount"] == "much"
    assert made.axes["arch"] == "high"


def concluded(finding: Finding, book: Rulebook):
    """What the engine for one visit makes of the visit file that a finding carries."""
    visit = Visit.model_validate(yaml.safe_load(finding.visit))
    used = observe(visit, book.measures, book.parameters).used["left"]
    return engine_of(book).conclude(facts_of(visit, "left", used, book))


def test_rule_that_can_never_fire_is_found(changed: Changed) -> None:
    """Comparisons that exclude each other are found, also through an axis."""
    folder = changed(
        ("screen/posture-and-motion.yaml",
         "when: {measure: fpi, is: at-least, limit: fpi-pathological-high}",
         "when: {all: [{measure: fpi, is: at-least, limit: fpi-pathological-high}, "
         "{axis: posture, is: neutral}]}"),
    )  # fmt: skip
    (finding,) = findings(folder, "never-fires")
    assert "`see-posture-far-inwards`" in finding.found


def test_rule_that_another_always_shadows_is_found(changed: Changed) -> None:
    """A note that a graver one always accompanies adds nothing, and is named with the other."""
    folder = changed(
        ("screen/health.yaml", "{note: see-clinician, say: \"An arch that has changed",
         "{note: stop, say: \"An arch that has changed"),
    )  # fmt: skip
    (finding,) = findings(folder, "says-nothing-new")
    assert "`stop-sudden-arch-collapse`" in finding.found
    assert "`see-sudden-arch-collapse`" in finding.found


def test_what_nothing_reads_is_found(changed: Changed) -> None:
    """Limits, sources, questions and axis values that nothing uses are named."""
    folder = changed(
        ("limits.yaml", "limits:\n", "limits:\n  idle-limit:\n    title: idle\n    unit: deg\n"
         "    population: adults\n    values: [{value: 1, kind: assumption}]\n"),
        ("sources.yaml", "sources:\n", "sources:\n  idle: {cite: C, seen: in-source, says: s}\n"),
        ("questions.yaml", "questions:\n", "questions:\n  idle: {ask: A?, why: w}\n"),
        ("axes.yaml", "      low: low arch\n", "      low: low arch\n      flat: flat\n"),
    )  # fmt: skip
    found = [f.found for f in unused_findings(load_rulebook(folder))]
    for name in ("`idle-limit`", "source `idle`", "question `idle`", "`flat`"):
        assert any(name in text for text in found), name


def test_source_missing_anywhere_in_the_folder_is_found(changed: Changed) -> None:
    """Also where loading does not look: norms of measures, parameters, the population."""
    folder = changed(("measures.yaml", "source: nielsen-2014", "source: nielson-2014"))
    found = [f for f in unused_findings(load_rulebook(folder)) if f.code == "missing-source"]
    assert "did you mean `nielsen-2014`?" in [f.mend for f in found]


def test_files_that_cannot_be_read_hide_nothing_else(changed: Changed) -> None:
    """Each is one finding with a place, and a fault elsewhere is told beside it."""
    folder = changed(
        ("population.yaml", "mean: {value: 0, kind: assumption, range: [0, 0],",
         "mean: {value: 9, kind: assumption, range: [0, 0],"),
        ("examples/careful-screen.yaml", "      - [{pain: [ankle-inner], heel-rise: no},",
         "      - [{pain: [ankle-inner, heel-rise: no},"),
        ("measures.yaml", "source: nielsen-2014", "source: nielson-2014"),
    )  # fmt: skip
    found = check(folder, [shipped_folder("catalogue_demo")]).findings
    codes = sorted(f.code for f in found if f.level == "error")
    assert codes == ["missing-source", "not-readable", "not-readable"]


def test_product_no_foot_can_reach_is_found(tmp_path: Path, book: Rulebook) -> None:
    """A wedge beyond every bound is out of reach; one within the bound of some foot is not."""
    (tmp_path / "one.yaml").write_text(
        "title: Two\nproducts:\n"
        "  - {id: far, kind: insole, title: Far, attributes: {wedge: 9}, stock: {260: 1}}\n"
        "  - {id: near, kind: insole, title: Near, attributes: {wedge: 2}, stock: {260: 1}}\n"
        "  - {id: silent, kind: insole, title: Silent, attributes: {}, stock: {260: 1}}\n"
    )
    catalogue, problems = read_catalogue(tmp_path, book.attributes)
    assert problems == ()
    found = {f.place.line: f.found for f in reach_findings(book, catalogue)}
    assert set(found) == {3, 5}
    assert "insole.wedge is 9°" in found[3]
    assert "insole.wedge is not stated" in found[5]


def test_catalogue_reports_every_product_that_does_not_fit(tmp_path: Path, book: Rulebook) -> None:
    """Two faults in two products are two findings."""
    (tmp_path / "one.yaml").write_text(
        "title: Two\nproducts:\n"
        "  - {id: a, kind: insole, title: A, attributes: {wegde: 9}, stock: {260: 1}}\n"
        "  - {id: b, kind: insole, title: B, attributes: {wedge: 99}, stock: {260: 1}}\n"
    )
    report = check(shipped_folder("rules"), [tmp_path])
    found = [f for f in report.findings if f.place.file.endswith("one.yaml")]
    assert [f.place.line for f in found] == [3, 4]
    assert found[0].mend == "did you mean `wedge`?"


def test_a_contradiction_is_told_once_and_hides_nothing(changed: Changed) -> None:
    """One finding with a foot and the number of examples that fall; no example is blamed."""
    folder = changed(
        (POSTURE, "is: below, limit: fpi-pronated}", "is: at-most, limit: fpi-pronated}"),
        ("screen/health.yaml", "One swollen or tender calf: no fitting today;", "A calf:"),
    )
    report = check(folder, [shipped_folder("catalogue_demo")])
    errors = [f for f in report.findings if f.level == "error"]
    assert {f.code for f in errors} == {"contradiction", "stale-translation", "weak-words"}
    (one,) = [f for f in errors if f.code == "contradiction"]
    assert "`posture-neutral`" in one.found
    assert re.search(r"; \d+ examples? falls? with it", one.found)
    assert one.foot


def test_overlapping_foot_types_are_one_fault_for_each_pair(changed: Changed) -> None:
    """Not one for each example whose foot they share."""
    folder = changed(("types.yaml", "        - {axis: posture, is: neutral}\n", ""))
    report = check(folder, [])
    errors = [f for f in report.findings if f.level == "error"]
    told = [f.found for f in errors if f.code == "contradiction"]
    fallen = sum(int(n) for text in told for n in re.findall(r"; (\d+) example", text))
    assert len(told) < 10
    assert fallen > 5
    assert not any("contradict" in f.found for f in errors if f.code == "example-fails")


def test_an_example_that_cannot_be_read_is_the_only_fault(changed: Changed) -> None:
    """The rules that it holds in place are not called unheld meanwhile."""
    folder = changed(("examples/load.yaml", "given:", "gven:"))
    errors = [f for f in check(folder, []).findings if f.level == "error"]
    assert {f.code for f in errors} == {"not-readable"}
    assert {Path(f.place.file).name for f in errors} == {"load.yaml"}
