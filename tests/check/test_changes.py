"""The change log leads up to the version, and no stop is weakened in silence."""

from pathlib import Path

import yaml

from recommend.check.changes import change_findings
from recommend.check.finding import Finding
from recommend.extras import shipped_folder
from recommend.infer.assess import assess
from recommend.rulebook import load_rulebook
from recommend.visit.models import Visit
from tests.check.conftest import Changed

WOUND = "when: {answer: open-wound, is: yes}"
ADULT = "when: {all: [{answer: open-wound, is: yes}, {visit: age-band, is: [adult, older]}]}"
ENTRY = """changes:
  - version: 1.2.0
    date: 2026-12-01
    says: [Children with a wound are fitted.]
"""
LEFT = f"    stops:\n      - rule: stop-open-wound\n        {ADULT}\n"
ACCEPTS = """    accepts:
      - {stop: stop-open-wound, reason: a clinician sits in the same room, by: lead fitter}
"""


def found(folder: Path) -> list[Finding]:
    """Findings about the change log."""
    return list(change_findings(load_rulebook(folder)))


def test_the_shipped_log_is_in_order() -> None:
    """It names the version, and writes every stop down."""
    assert found(shipped_folder("rules")) == []


def test_a_weakened_stop_fails_with_a_foot_that_slips_through(changed: Changed) -> None:
    """The visit of the finding is not stopped any more; that it was is what the log says."""
    folder = changed(("screen/health.yaml", WOUND, ADULT))
    (one,) = found(folder)
    assert one.code == "weakened-stop"
    seen = assess(Visit.model_validate(yaml.safe_load(one.visit)), load_rulebook(folder))
    assert seen.visit.answers["open-wound"] == "yes"
    assert not seen.stopped


def test_a_removed_stop_fails(changed: Changed) -> None:
    """A stop that became a see-a-clinician note stops nobody."""
    folder = changed(("screen/health.yaml", "then: {note: stop, say: \"One swollen",
                      "then: {note: see-clinician, say: \"One swollen"))  # fmt: skip
    assert [(f.code, "stop-calf-swelling" in f.found) for f in found(folder)] == [
        ("weakened-stop", True)
    ]


def test_an_accepts_line_with_a_reason_lets_it_pass(changed: Changed) -> None:
    """The loss is accepted by a later version, by name of the stop, with reason and by whom."""
    folder = changed(
        ("screen/health.yaml", WOUND, ADULT),
        ("rulebook.yaml", "version: 2.0.0", "version: 1.2.0"),
        ("changes.yaml", "changes:\n", ENTRY),
    )
    assert [f.code for f in found(folder)] == ["weakened-stop"]
    changed(("changes.yaml", "are fitted.]\n", "are fitted.]\n" + ACCEPTS))
    assert [f.code for f in found(folder)] == ["no-change-entry"]  # what is left of it
    changed(("changes.yaml", "are fitted.]\n", "are fitted.]\n" + LEFT))
    assert found(folder) == []


def test_writing_a_stop_down_weaker_does_not_weaken_it(changed: Changed) -> None:
    """The older, stronger word stands until it is accepted by name."""
    folder = changed(
        ("screen/health.yaml", WOUND, ADULT),
        ("rulebook.yaml", "version: 2.0.0", "version: 1.2.0"),
        ("changes.yaml", "changes:\n", ENTRY + LEFT),
    )
    assert [f.code for f in found(folder)] == ["weakened-stop"]


def test_accepting_in_advance_is_not_possible(changed: Changed) -> None:
    """An `accepts` beside or before the stop it speaks of does not count."""
    folder = changed(
        ("screen/health.yaml", WOUND, ADULT),
        (
            "changes.yaml",
            "    says: [First rulebook.]\n",
            "    says: [First rulebook.]\n" + ACCEPTS,
        ),
    )
    assert [f.code for f in found(folder)] == ["weakened-stop"]


def test_a_stronger_stop_and_a_renamed_one_pass(changed: Changed) -> None:
    """What counts is that the feet are stopped, not by which rule; a new name is written down."""
    folder = changed(("screen/health.yaml", "id: stop-calf-swelling", "id: stop-calf"))
    assert [(f.code, "`stop-calf`" in f.found) for f in found(folder)] == [
        ("no-change-entry", True)
    ]


def test_a_version_without_an_entry_fails(changed: Changed) -> None:
    """The log leads up to the version that rulebook.yaml states."""
    folder = changed(("rulebook.yaml", "version: 2.0.0", "version: 1.1.1"))
    assert [f.code for f in found(folder)] == ["no-change-entry"]
